"""Evidence, AICc and words of evidence against published or analytic values."""

import numpy as np
import pytest
from whichsun.sim.compare.bestfit import aicc
from whichsun.sim.compare.likelihood import offset_density, tangent_offsets
from whichsun.sim.compare.words import bayes_factor_words


@pytest.mark.parametrize(
    ("two_ln_b", "words"),
    [
        (1.0, "not worth more than a bare mention"),
        (3.0, "positive"),
        (8.0, "strong"),
        (11.0, "very strong"),
    ],
)
def test_words_of_kass_and_raftery(two_ln_b, words):
    # Kass & Raftery 1995, J. Am. Stat. Assoc. 90, 773, section 3.2: 2 ln B 0-2, 2-6, 6-10, > 10
    assert bayes_factor_words(two_ln_b / 2) == words
    assert bayes_factor_words(-two_ln_b / 2) == words


def test_aicc_of_hurvich_and_tsai():
    # AICc = AIC + 2k(k+1)/(n-k-1), Hurvich & Tsai 1989, Biometrika 76, 297 (formula from memory).
    # A worked case by hand: ln L = -10, k = 3, n = 12: 20 + 6 + 24/8 = 29.
    assert aicc(-10.0, 3, 12) == pytest.approx(29.0)
    assert aicc(-10.0, 3, 4) is None


def test_bayes_factor_of_matched_places():
    # Budavari & Szalay 2008, ApJ 679, 301, eq. 16 (from memory): two places on the sphere with errors s1, s2
    # at a separation psi: B = 2/(s1^2 + s2^2) exp(-psi^2 / (2 (s1^2 + s2^2))). Against it 4 pi times the
    # density of the offset, without drift.
    s1, s2, psi = 0.004, 0.007, 0.011
    first = np.array([[1.0, 0.0, 0.0]])
    second = np.array([[np.cos(psi), np.sin(psi), 0.0]])
    spread = [np.array([[[0, s, 0], [0, 0, s]]]) for s in (s1, s2)]
    delta, cov = tangent_offsets(first, second, spread[0], spread[1])
    ln_density, _ = offset_density(delta, cov, np.zeros((1, 2)))
    expected = np.log(2 / (s1**2 + s2**2)) - psi**2 / (2 * (s1**2 + s2**2))
    # 1e-3: the tangent plane against the sphere at 0.6 degrees
    np.testing.assert_allclose(ln_density + np.log(4 * np.pi), expected, atol=1e-3)

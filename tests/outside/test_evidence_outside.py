"""The integration of evidences, AICc and the words for them against published worked examples.

The package's own importance sampling is given stand-ins for a Problem: regressions whose evidence is published. What
a scan leaves (cells with their modes) is written down here, because a scan asks for spots.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from whichsun.sim.compare.bestfit import aicc
from whichsun.sim.compare.cells import Cells
from whichsun.sim.compare.importance import importance
from whichsun.sim.compare.modes import Modes
from whichsun.sim.compare.nested import nested
from whichsun.sim.compare.problem import Nuisances
from whichsun.sim.compare.verdict import FAVOURS
from whichsun.sim.compare.words import bayes_factor_words, odds_words

DATA = Path(__file__).parents[1] / "data" / "evidence"
SCALES = np.array([0.06, 6.0])  # prior precisions of intercept and slope in units of the noise's
MEANS = np.array([3000.0, 185.0])
SHAPE, RATE = 3.0, 2 * 300.0**2  # of the gamma prior of the noise's precision
# Friel & Wyse 2012, Statistica Neerlandica 66, 288, section on radiata pine: exact ln evidences of the two
# regressions (values from memory). The closed form of the conjugate model, worked out by hand, gives
# -310.12829 and -301.70460, ln Bayes factor 8.42368.
EXACT = {"density": -310.1283, "resin-adjusted density": -301.7046}


def normal_nuisances(k):
    return Nuisances(np.ones(k), np.zeros(k), np.zeros(k), np.zeros(k, dtype=bool), 0)


@dataclass
class Pine:
    """Strength = a + b (x - mean) + noise; scan place: prior quantile of the noise's precision."""

    column: int

    def __post_init__(self):
        table = np.loadtxt(DATA / "radiata_pine.csv", delimiter=",", skiprows=1)
        self.y, x = table[:, 0], table[:, self.column]
        self.design = np.stack([np.ones(len(x)), x - x.mean()], axis=1)
        self.nuisances = normal_nuisances(2)
        self.axes = ("precision",)

    def poses(self, u, eta):
        return None

    def ln_whole(self, u, eta, poses=None):
        tau = stats.gamma.ppf(u, SHAPE, scale=1 / RATE)
        values = MEANS + eta / np.sqrt(tau[:, None] * SCALES)
        residual = self.y - values @ self.design.T
        return 0.5 * len(self.y) * np.log(tau / (2 * np.pi)) - 0.5 * tau * (residual**2).sum(1)

    def cells(self, count=64):
        """Per cell the one mode of intercept and slope, its Laplace integral exact."""
        edges = np.linspace(0, 1, count + 1)
        u = (edges[1:] + edges[:-1]) / 2
        tau = stats.gamma.ppf(u, SHAPE, scale=1 / RATE)
        scaled = self.design / np.sqrt(SCALES)
        covariance = np.linalg.inv(np.eye(2) + scaled.T @ scaled)
        pull = scaled.T @ (self.y - self.design @ MEANS)
        eta = np.sqrt(tau)[:, None] * (covariance @ pull)
        root = np.linalg.cholesky(covariance)
        ln_prior = stats.norm.logpdf(eta).sum(1)
        ln_mass = self.ln_whole(u, eta) + ln_prior + np.log(2 * np.pi) + np.log(np.diag(root)).sum()
        modes = Modes(np.arange(count), eta, np.tile(root, (count, 1, 1)), ln_mass)
        return Cells(edges[:-1], edges[1:], np.full(count, ln_mass.min() - 30), modes)


@pytest.mark.parametrize(("name", "column"), [("density", 1), ("resin-adjusted density", 2)])
def test_radiata_pine_evidence(name, column):
    pine = Pine(column)
    cells = pine.cells()
    # The scan alone: exact but for the middle rule over 64 cells.
    assert cells.ln_evidence == pytest.approx(EXACT[name], abs=0.02)
    found = importance(pine, cells, 2048, np.random.default_rng(1))
    assert found.error < 0.03
    # four stated errors, and no more than the 0.05 that a score asks for
    assert found.ln_evidence == pytest.approx(EXACT[name], abs=min(4 * found.error, 0.05))
    assert found.effective > 1000


def test_radiata_pine_bayes_factor():
    one, two = (
        importance(Pine(column), Pine(column).cells(), 4096, np.random.default_rng(2)) for column in (1, 2)
    )
    error = np.hypot(one.error, two.error)
    assert error < 0.03
    assert two.ln_evidence - one.ln_evidence == pytest.approx(8.42368, abs=4 * error)
    assert bayes_factor_words(two.ln_evidence - one.ln_evidence) == "very strong"


def test_radiata_pine_by_nested_sampling():
    # 100 live points state about 0.2 here; the draws' slope must be the textbook's 185 psi per lb/cu ft.
    pine = Pine(2)
    found = nested(pine, np.random.default_rng(3), live_points=100)
    assert found.error < 0.4
    assert found.ln_evidence == pytest.approx(EXACT["resin-adjusted density"], abs=3 * found.error)
    tau = stats.gamma.ppf(found.u, SHAPE, scale=1 / RATE)
    slope = (found.weight * (MEANS[1] + found.eta[:, 1] / np.sqrt(tau * SCALES[1]))).sum()
    least_squares = np.linalg.lstsq(pine.design, pine.y, rcond=None)[0][1]
    assert slope == pytest.approx(least_squares, rel=0.02)


class TwoPeaks:
    """Two normal peaks in two nuisances: Z is the peaks' shares times N(centre; 0, 1 + width^2), exact."""

    axes = ()
    centres = np.array([[0.8, -0.4], [-1.1, 0.7]])
    shares = np.array([0.7, 0.3])
    width = 0.1

    def __init__(self):
        self.nuisances = normal_nuisances(2)

    @property
    def ln_evidence(self):
        spread = np.sqrt(1 + self.width**2)
        return float(np.log(self.shares @ stats.norm.pdf(self.centres, scale=spread).prod(1)))

    def poses(self, u, eta):
        return None

    def ln_whole(self, u, eta, poses=None):
        peaks = stats.norm.pdf(eta[:, None], self.centres, self.width).prod(-1)
        return np.log(peaks @ self.shares + 1e-300)

    def cells(self, known):
        centre, share = self.centres[known], self.shares[known]
        variance = self.width**2 / (1 + self.width**2)
        ln_mass = np.log(share) + stats.norm.logpdf(centre, scale=np.sqrt(1 + self.width**2)).sum(1)
        root = np.tile(np.eye(2) * np.sqrt(variance), (len(known), 1, 1))
        modes = Modes(np.zeros(len(known), dtype=int), centre / (1 + self.width**2), root, ln_mass)
        return Cells(np.zeros(1), np.ones(1), np.full(1, ln_mass.min() - 2), modes)


def test_two_normal_peaks_exactly():
    peaks = TwoPeaks()
    found = importance(peaks, peaks.cells([0, 1]), 2048, np.random.default_rng(4))
    assert found.ln_evidence == pytest.approx(peaks.ln_evidence, abs=4 * found.error)
    assert found.error < 0.03


def test_a_peak_that_the_scan_missed_is_found_or_told():
    # the lighter peak is left out of the mixture: the prior's share of the draws has to find it
    peaks = TwoPeaks()
    for seed in range(5):
        found = importance(peaks, peaks.cells([0]), 8192, np.random.default_rng(seed))
        assert found.ln_evidence == pytest.approx(peaks.ln_evidence, abs=4 * found.error)
        if found.error < 0.05:  # then the missed peak must be in: without it ln Z is 0.3 lower
            assert found.ln_evidence > peaks.ln_evidence - 0.15


def regression_aicc(columns):
    table = np.loadtxt(DATA / "portland_cement.csv", delimiter=",", skiprows=1)
    y, n = table[:, -1], len(table)
    design = np.column_stack([np.ones(n), table[:, columns]])
    residual = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    ln_like = stats.norm.logpdf(residual, scale=np.sqrt(np.mean(residual**2))).sum()
    return aicc(float(ln_like), len(columns) + 2, n), n


def test_aicc_of_burnham_and_anderson():
    # Burnham & Anderson 2002, Model Selection and Multimodel Inference, section 3.2, hardening of Portland cement:
    # AICc = n ln(sigma^2) + 2 K + 2 K (K + 1)/(n - K - 1), best model {1, 2} with sigma^2 4.45, K 4, AICc 32.41
    # (from memory). They leave out n (ln 2 pi + 1); 0.02 is what rounding sigma^2 to 4.45 does.
    ours, n = regression_aicc([0, 1])
    assert ours - n * (np.log(2 * np.pi) + 1) == pytest.approx(32.41, abs=0.02)
    others = [
        regression_aicc(columns)[0] for columns in ([0, 1, 3], [0, 1, 2], [0, 3], [0, 2, 3], [0, 1, 2, 3])
    ]
    assert others == sorted(others)  # their order in that table
    assert ours < others[0]
    assert others[0] - ours == pytest.approx(3.13, abs=0.03)


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (2.0, "not worth more than a bare mention"),
        (10.0, "positive"),
        (100.0, "strong"),
        (200.0, "very strong"),
    ],
)
def test_words_by_the_factor_itself(factor, words):
    # Kass & Raftery 1995, section 3.2: B from 1 to 3, 3 to 20, 20 to 150, above 150; the values stand well inside.
    assert bayes_factor_words(np.log(factor)) == words


def test_what_a_verdict_asks_for_is_where_strong_begins():
    assert bayes_factor_words(FAVOURS - 1e-9) == "positive"
    assert bayes_factor_words(FAVOURS + 1e-9) == "strong"
    assert odds_words(FAVOURS) == "about 20 to 1"

"""The camera's side: tone curve, blur, noise, haze, vignetting."""

from __future__ import annotations

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.render.disc import PictureFrame, render_disc, to_picture
from whichsun.render.tone import srgb_decode, srgb_encode


def test_tone_curve():
    """IEC 61966-2-1 (sRGB): the line 12.92 x up to 0.0031308, then 1.055 x^(1/2.4) - 0.055."""
    np.testing.assert_allclose(srgb_encode([0.0, 0.002, 1.0]), [0, 0.02584, 1], atol=1e-6)
    assert float(srgb_encode(0.5)) * 255 == pytest.approx(187.5, abs=0.1)  # 1.055 x 0.5^(1/2.4) - 0.055
    values = np.linspace(0, 1, 101)
    np.testing.assert_allclose(srgb_decode(srgb_encode(values)), values, atol=2e-6)


def test_exposure_and_tint():
    picture = to_picture(np.ones((4, 5, 3), np.float32), exposure=0.5, tint_rgb=(1.0, 0.5, 0.0))
    assert picture.dtype == np.uint8
    assert picture[0, 0].tolist() == [188, 137, 0]  # coded 0.5, 0.25 and 0 of full scale


def test_noise_has_the_width_asked_for_and_repeats():
    grey = np.full((200, 200, 3), 0.3, np.float32)
    first = to_picture(grey, noise_dn=3.0, rng=np.random.default_rng(4))
    again = to_picture(grey, noise_dn=3.0, rng=np.random.default_rng(4))
    assert np.array_equal(first, again)
    # 120,000 values: the width is known to 0.2 %; rounding adds 1/12 to the variance.
    assert np.std(first.astype(float)) == pytest.approx(np.sqrt(9 + 1 / 12), rel=0.01)


def test_blur_keeps_the_light_and_spreads_a_point():
    point = np.zeros((61, 61, 3), np.float32)
    point[30, 30] = 1.0
    coded = to_picture(point * 20, blur_px=2.0, exposure=1.0)[..., 1]
    light = srgb_decode(coded / 255.0)
    rows = np.arange(61) - 30.0
    weight = light.sum(axis=1)
    # 8-bit rounding cuts the far wings: 2 % of the light.
    assert light.sum() == pytest.approx(20, rel=0.02)
    assert np.sqrt((weight * rows**2).sum() / weight.sum()) == pytest.approx(2.0, abs=0.05)


def test_haze_glow_and_vignetting(make_view):
    frame = PictureFrame.centred(200, fill=0.4)
    disc = render_disc(make_view(), frame)
    plain = to_picture(disc)
    hazy, glowing = to_picture(disc, haze=0.02), to_picture(disc, glow=0.2)
    assert plain[0, 0, 1] == 0
    assert hazy[0, 0, 1] == round(float(srgb_encode(0.02 * 0.85)) * 255)
    assert 0 < glowing[0, 0, 1] < glowing[50, 50, 1]
    even = to_picture(np.ones((101, 101, 3), np.float32), exposure=0.8, vignetting=0.3)
    assert even[50, 50, 0] == round(float(srgb_encode(0.8)) * 255)
    assert even[0, 0, 0] == round(float(srgb_encode(0.8 * 0.7)) * 255)


@pytest.mark.parametrize(
    ("keywords", "words"),
    [
        ({"noise_dn": 2.0}, "'rng' must be given"),
        ({"blur_px": -1.0}, "'blur_px' must be a number of 0 or more, got -1.0"),
        ({"exposure": float("nan")}, "'exposure' must be"),
        ({"glow": 2.0}, "'glow' must be between 0 and 1"),
    ],
)
def test_bad_input(keywords, words):
    with pytest.raises(InputError, match=words):
        to_picture(np.ones((4, 4, 3), np.float32), **keywords)


def test_shape_is_checked():
    with pytest.raises(InputError, match="must have the shape"):
        to_picture(np.ones((4, 4), np.float32))


def test_picture_style_comes_after_the_tone_curve_and_before_the_noise():
    linear = np.full((4, 4, 3), 0.5, np.float32)
    plain = to_picture(linear, exposure=1.0)
    squared = to_picture(linear, exposure=1.0, style=lambda coded: coded**2)
    assert squared[0, 0, 0] == pytest.approx(255 * (plain[0, 0, 0] / 255) ** 2, abs=1.5)
    noisy = to_picture(
        np.full((200, 200, 3), 0.5, np.float32),
        exposure=1.0,
        style=lambda coded: 0 * coded + 0.4,
        noise_dn=2.0,
        rng=np.random.default_rng(1),
    )
    assert noisy.std() == pytest.approx(2.0, rel=0.05)


def test_bands_make_the_same_picture_as_one_piece(make_view, monkeypatch):
    """The bands overlap by the reach of the blur, and the noise is drawn row after row: equal to the bit."""
    disc = render_disc(make_view(), PictureFrame(90, 131, (44.0, 70.0), 40.0))
    keywords = {"blur_px": 1.3, "glow": 0.1, "haze": 0.01, "vignetting": 0.2, "noise_dn": 2.0}
    pictures = []
    for band_px in (1 << 20, 90 * 7):
        monkeypatch.setattr("whichsun.render.picture._BAND_PX", band_px)
        pictures.append(to_picture(disc, rng=np.random.default_rng(5), **keywords))
    assert np.array_equal(*pictures)

"""What the limb cannot know, weather and the camera's picture style, and what the squash does to its edge."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.geometry import SunView
from whichsun.render.disc import PictureFrame, render_disc, to_picture
from whichsun.sim.atmosphere import refraction_of_apparent_rad, vertical_table
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.limb_fit import prior_c
from whichsun.sim.photo.load import Photo

SEMIDIAMETER_RAD = np.deg2rad(16 / 60)


@pytest.fixture(scope="module")
def weather():
    """The ray integration of the validation, which no part of the measurement uses."""
    path = Path(__file__).parents[2] / "validation" / "weather.py"
    spec = importlib.util.spec_from_file_location("weather", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["weather"] = module
    spec.loader.exec_module(module)
    return module


def taken(radius, altitude_deg, blur, *, style=None, seed=0, dimmed_by=0.0):
    """A steady spotless photo in luma, dimmer below by a share per limb radius; roll 7 deg."""
    a = np.deg2rad(altitude_deg)
    view = SunView(
        np.array([np.cos(a), 0, np.sin(a)]),
        np.array(214.9),
        np.eye(3),
        np.full(3, np.nan),
        np.array(695700.0),
    )
    side = int(2.3 * radius) + 24
    frame = PictureFrame(side, side, (side / 2 - 0.3, side / 2 - 0.1), radius, 7.0)
    linear = render_disc(view, frame, vertical_table=vertical_table(a, SEMIDIAMETER_RAD), sky=0.01)
    _, high = frame.to_disc(*np.meshgrid(np.arange(side), np.arange(side)))
    linear = linear * np.exp(dimmed_by * np.minimum(high - 1, 0.0)).astype(np.float32)[..., None]
    rgb = to_picture(
        linear, exposure=0.8, blur_px=blur, noise_dn=0.5, rng=np.random.default_rng(seed), style=style
    )
    luma = np.rint(rgb @ np.array([0.299, 0.587, 0.114])).astype(np.uint8)
    return Photo(Path("invented.png"), luma)


@pytest.mark.parametrize(("apparent_deg", "within"), [(1.0, 0.5), (5.0, 0.1), (10.0, 0.07), (45.0, 0.07)])
def test_ray_integration_against_bennett(weather, apparent_deg, within):
    """Bennett 1982 with his correction (Meeus ch. 16), 10 C and 1010 hPa; arcmin.

    His formula without the correction is good to 0.07; another ray integration (Hohenkerk & Sinclair) gives 2 %
    less near the horizon.
    """
    ray = weather.refraction_rad(weather.Air(283.15, 1010.0), np.array([np.deg2rad(apparent_deg)]))[0]
    plain = np.rad2deg(float(refraction_of_apparent_rad(np.deg2rad(apparent_deg)))) * 60
    published = plain - 0.06 * np.sin(np.deg2rad(14.7 * plain + 13))
    assert np.rad2deg(ray) * 60 == pytest.approx(published, abs=within)


def test_ray_integration_high_up(weather):
    """alpha tan z - alpha (s - alpha / 2) tan^3 z, alpha = n - 1 and s = height of the even air / Earth's radius.

    The two terms of the textbooks (Smart, Spherical Astronomy, from memory), good to 1e-4 at 45 degrees.
    """
    alpha, s = 2.77e-4, 287.05 * 288.15 / 9.80665 / 6371000
    expected = alpha * (1 - s) - alpha * (s - alpha / 2)
    ray = weather.refraction_rad(weather.Air(), np.array([np.pi / 4]))[0]
    assert ray == pytest.approx(expected, rel=3e-4)


@pytest.mark.parametrize("apparent_deg", [0.6, 1.0, 2.0, 3.5, 6.0, 12.0, 25.0])
def test_refraction_term_s_prior_holds_weather(weather, apparent_deg):
    """Rays through 60 invented airs: the prior's spread is neither too narrow by a third nor three times too wide."""
    rng = np.random.default_rng(3)
    ratios = []
    for _ in range(60):
        _, table = weather.warped_heights(weather.random_air(rng), np.deg2rad(apparent_deg), SEMIDIAMETER_RAD)
        q, c = weather.refraction_term(table)
        expected, spread = prior_c(1.0, q)
        ratios.append((c - expected) / spread)
    assert 0.3 < 1.4826 * np.median(np.abs(ratios)) < 1.3


@pytest.mark.parametrize(("radius", "blur"), [(160, 1.3), (350, 1.9)])
def test_squash_of_a_low_blurred_sun(radius, blur):
    """At 1 degree the inflection lies further inside above and below than at the sides: unmended 0.008 and 0.014 px."""
    truth = vertical_table(np.deg2rad(1.0), SEMIDIAMETER_RAD)
    low, high = np.interp([-1, 1], truth[1], truth[0]) * radius
    errors = []
    for seed in range(2):
        disc = measure_limb(taken(radius, 1.0, blur, seed=seed), roll_deg=7.0).disc
        errors.append(disc.a - disc.b - radius + (high - low) / 2)
    assert abs(np.mean(errors)) < 0.005


def test_a_disc_dimmer_below_keeps_its_centre():
    """Hazy air takes three quarters of the light at a low Sun's lower limb: unmended, 0.04 px too high."""
    photo = taken(250, 3.0, 1.9, dimmed_by=0.7)
    side = photo.luma.shape[0]
    right, up = measure_limb(photo, roll_deg=7.0).disc.along_axes(
        np.array(side / 2 - 0.3), np.array(side / 2 - 0.1)
    )
    assert abs(right) < 0.012
    assert abs(up) < 0.012


@pytest.mark.parametrize(
    ("gamma", "contrast"), [(1.0, 0.0), (0.92, 0.0), (1.08, 0.0), (1.0, 0.2), (1.05, 0.25)]
)
def test_radius_sigma_holds_picture_styles(gamma, contrast):
    """Exponents and contrasts of picture styles move the radius; the sigma says so, and neither squash nor centre care.

    Size of the styles: common practice, no source.
    """

    def style(coded):
        bent = coded**gamma
        return bent - contrast * np.sin(2 * np.pi * bent) / (2 * np.pi)

    plain, bent = (measure_limb(taken(200, 30.0, 1.3, style=one), roll_deg=7.0) for one in (None, style))
    sigma = np.sqrt(bent.covariance[2, 2])
    assert abs(bent.disc.a - 200) < 2.5 * sigma
    assert 0.05 < sigma < 0.3
    assert bent.disc.a - bent.disc.b == pytest.approx(plain.disc.a - plain.disc.b, abs=0.02)
    assert bent.disc.column == pytest.approx(plain.disc.column, abs=0.01)
    assert bent.disc.row == pytest.approx(plain.disc.row, abs=0.01)

"""Image sizes, pixel scale and exposure against worked examples of handbooks."""

from __future__ import annotations

import math

import pytest
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.plan.camera_numbers import Aim, camera_numbers
from whichsun.sim.plan.optics import optics_of

ECLIPSE_2001 = Instants.from_utc(["2001-06-21T10:00:00Z", "2001-06-21T15:00:00Z"])
LUSAKA = Site(-15.4, 28.3)
UM_PX = 1.0  # a pixel of a micrometre, so that pixels read as image sizes


def camera(**kwargs):
    models = [(get_model("distant-sphere"), {})]
    return camera_numbers(optics_of(**kwargs), Aim(), LUSAKA, ECLIPSE_2001, models)


@pytest.mark.parametrize(
    ("lens", "image_mm"),
    [
        ({"focal_length_mm": 50.0}, 0.5),
        ({"focal_length_mm": 200.0}, 1.9),
        ({"focal_length_mm": 500.0}, 4.6),
        ({"focal_length_mm": 500.0, "teleconverter": 2.0}, 9.2),
    ],
)
def test_image_of_the_sun(lens, image_mm):
    # NASA/TP-1999-209484, "Total Solar Eclipse of 2001 June 21", Eclipse Photography: 50 mm lens 0.5 mm image, 200 mm
    # 1.9, 500 mm 4.6, with a 2x teleconverter 9.2 mm. Printed to 0.1 mm, of the mean Sun: on the day 1.6 % smaller.
    got = camera(**lens, pixel_pitch_um=UM_PX).diameter_px[0] * UM_PX / 1000
    assert got == pytest.approx(image_mm, abs=0.05 + 0.016 * image_mm)


def test_one_part_in_109():
    # The same source: "the diameter of the Sun's image is approximately equal to the focal length divided by 109",
    # rounded to three digits for a Sun that goes from 105.7 to 109.3 through the year; in June 109.2.
    got = camera(focal_length_mm=1000.0, pixel_pitch_um=UM_PX).diameter_px[0] * UM_PX / 1000
    assert 1000 / got == pytest.approx(109, abs=0.5)


def test_pixel_scale():
    # J. Lodriguss, "A Guide to Astrophotography with Digital SLR Cameras", formula 12: P = 8 S / FL with S in
    # micrometres and FL in inches; pixels of 6.4 um on 40 inches give 1.28" a pixel. The formula's 8 is
    # 206.265/25.4 = 8.12 rounded: 1.5 % low.
    got = optics_of(focal_length_mm=40 * 25.4, pixel_pitch_um=6.4).arcsec_per_px
    assert got == pytest.approx(1.28 * 206.265 / 25.4 / 8, rel=1e-3)
    # The formula as it is usually written, 206.265 pitch / focal length (common practice, no source).
    assert got == pytest.approx(206.265 * 6.4 / (40 * 25.4), rel=1e-5)


def test_longest_exposure():
    # Half a pixel at 15" a second times cos(declination) (common practice, no source; the Earth turns by 15.041" a
    # second against the stars, by 15" against the mean Sun). Declination 23.44 deg on the day; the Sun's own motion is
    # within 0.02 %, parallax below 0.01 %.
    got = camera(focal_length_mm=1000.0, pixel_pitch_um=5.0)
    expected = 0.5 * 206.265 * 5 / 1000 / (15.0 * math.cos(math.radians(23.44)))
    assert got.longest_exposure_s == pytest.approx(expected, rel=2e-3)

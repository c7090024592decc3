"""Camera numbers: several ways to say one sensor, sizes, exposures, uncertainties that go the right way."""

import math
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.daylight import rise_set
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.spots import find_spots
from whichsun.sim.plan.camera_numbers import (
    FOUND_SHARES,
    FOUND_WIDTHS_PX,
    Aim,
    camera_numbers,
    chance_found,
    expected_errors,
    latitude_per_turn,
    roll_sigmas_deg,
    width_px,
)
from whichsun.sim.plan.optics import optics_of

DATA = Path(__file__).parents[2] / "data" / "photo"
SITE = Site(60.0, 10.75)
INSTANTS = Instants.from_utc(["2027-03-20T06:00:00Z", "2027-03-20T17:00:00Z"])
MODELS = [(get_model("distant-sphere"), {})]
PICTURE = (6000, 4000)
FULL = {"focal_length_mm": 400.0, "pixel_pitch_um": 6.0, "picture_px": PICTURE}


def numbers(aim=None, **kwargs):
    return camera_numbers(optics_of(**(kwargs or FULL)), aim or Aim(), SITE, INSTANTS, MODELS)


@pytest.mark.parametrize(
    "same",
    [
        {"focal_length_mm": 400.0, "sensor_width_mm": 36.0, "picture_px": PICTURE},
        {"focal_length_mm": 400.0, "crop_factor": 1.0, "picture_px": PICTURE},
        {"focal_35mm": 400.0, "picture_px": PICTURE},
        {"focal_35mm": 200.0, "picture_px": PICTURE, "teleconverter": 2.0},
        {"focal_length_mm": 250.0, "crop_factor": 1.6, "picture_px": PICTURE},  # 250 mm x 1.6
        {"focal_length_mm": 400.0, "sensor_width_mm": 36.0, "picture_px": PICTURE[::-1]},  # held upright
    ],
)
def test_ways_to_say_one_camera(same):
    assert optics_of(**same).arcsec_per_px == pytest.approx(optics_of(**FULL).arcsec_per_px, rel=1e-9)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"focal_length_mm": 400.0}, "pixel-pitch-um"),
        ({"pixel_pitch_um": 6.0}, "focal-length-mm"),
        ({"picture_px": PICTURE}, "focal-length-mm"),
        ({"teleconverter": 2.0}, "focal-length-mm"),
        ({"focal_length_mm": 400.0, "focal_35mm": 400.0, "picture_px": PICTURE}, "focal-length-mm"),
        ({"focal_length_mm": 400.0, "pixel_pitch_um": 6.0, "crop_factor": 1.0}, "one of the three"),
        ({"focal_length_mm": 400.0, "sensor_width_mm": 36.0}, "picture"),
        ({"focal_35mm": 400.0}, "picture"),
        ({"focal_35mm": 400.0, "picture_px": PICTURE, "crop_factor": 1.5}, "without anything of the sensor"),
        ({"focal_length_mm": 0.0, "pixel_pitch_um": 6.0}, "focal-length-mm"),
        ({"focal_length_mm": math.nan, "pixel_pitch_um": 6.0}, "focal-length-mm"),
        ({"focal_length_mm": 400.0, "pixel_pitch_um": 6.0, "picture_px": (0, 10)}, "picture"),
    ],
)
def test_what_does_not_fit_together_is_refused(wrong, words):
    with pytest.raises(InputError, match=words):
        optics_of(**wrong)


def test_nothing_given():
    assert optics_of() is None


def test_sizes_of_the_day():
    got = numbers()
    for arcmin, px in zip(got.diameter_arcmin, got.diameter_px, strict=True):
        assert px == pytest.approx(2 * 400 / 0.006 * math.tan(math.radians(arcmin / 120)), rel=1e-12)
    assert got.share_of_picture == pytest.approx(got.diameter_px[0] / 4000, rel=1e-3)
    assert numbers(focal_length_mm=400.0, pixel_pitch_um=6.0).share_of_picture is None


def test_exposure_follows_the_drift():
    # 15.0 arcsec a second on the celestial equator (a turn in a solar day); declination -0.2 deg on that day.
    got = numbers()
    assert got.longest_exposure_s == pytest.approx(0.5 * got.optics.arcsec_per_px / 15.0, rel=2e-3)
    june = Instants.from_utc(["2027-06-21T04:00:00Z", "2027-06-21T19:00:00Z"])
    later = camera_numbers(optics_of(**FULL), Aim(), SITE, june, MODELS)
    ratio = later.longest_exposure_s / got.longest_exposure_s
    assert ratio == pytest.approx(1 / math.cos(math.radians(23.43)), rel=2e-3)


@pytest.mark.parametrize(
    ("date", "latitude", "expected"),
    [("2027-03-20", 60.0, 0.5), ("2027-06-21", 52.0, 0.655), ("2026-12-21", -35.0, 0.572)],
)
def test_latitude_for_a_turn(date, latitude, expected):
    # A step of the zenith along the meridian turns the vertical at the Sun by sin A / cos a of it (spherical
    # triangle); on the horizon cos A = sin(declination)/cos(latitude), at rise and at set. 1/(2 sin A): the rule of
    # thumb's half only at an equinox. Printed to three digits; the declination changes by 0.01 deg through the day.
    site = Site(latitude, 0.0)
    day = rise_set(date, site, "geometric")
    instants = Instants.from_utc_days(np.array([day.rise_utc_days, day.set_utc_days]))
    declination = 0.0 if expected == 0.5 else math.radians(23.436)
    by_hand = 0.5 / math.sqrt(1 - (math.sin(declination) / math.cos(math.radians(latitude))) ** 2)
    assert by_hand == pytest.approx(expected, abs=6e-4)
    assert latitude_per_turn(site, instants) == pytest.approx(by_hand, rel=2e-3)


def test_uncertainties_go_the_right_way():
    plain = numbers()
    assert numbers(Aim(frames=20)).without_level.sigma_deg < plain.without_level.sigma_deg
    assert numbers(Aim(seeing_arcsec=6.0)).one_spot.sigma_deg > plain.one_spot.sigma_deg
    assert numbers(Aim(level_sigma_deg=0.1)).one_spot.sigma_deg < 0.6 * plain.one_spot.sigma_deg
    assert plain.more_spots.sigma_deg < plain.one_spot.sigma_deg
    # Two levels of 0.7 degrees are 0.99 together, and nothing else makes the turn better than that.
    assert plain.more_spots.sigma_deg > 0.99
    assert numbers(Aim(level_sigma_deg=0.01, seeing_arcsec=6.0)).useful_frames > 5


def test_frames_and_level_are_checked():
    for wrong in (
        {"frames": 0},
        {"level_sigma_deg": 0.0},
        {"seeing_arcsec": -1.0},
        {"seeing_arcsec": math.nan},
    ):
        with pytest.raises(InputError):
            Aim(**wrong)


def test_a_level_counts_more_for_a_high_sun():
    noon = Instants.from_utc(["2027-06-21T11:17:00Z", "2027-06-21T19:00:00Z"])
    high, low = roll_sigmas_deg(SITE, noon, Aim())
    # The Sun's altitude at noon is 90 - 60 + 23.43 degrees.
    assert high == pytest.approx(0.7 / math.cos(math.radians(53.43)), rel=1e-3)
    assert low == pytest.approx(0.7, rel=0.02)
    assert roll_sigmas_deg(SITE, noon, Aim(mount="equatorial")) == (0.7, 0.7)
    assert min(roll_sigmas_deg(SITE, noon, Aim(mount="hand-held"))) > 45


def test_a_hand_held_camera_tells_no_turn():
    got = numbers(Aim(mount="hand-held"))
    assert got.one_spot.sigma_deg > 45
    assert got.without_level.sigma_deg == numbers().without_level.sigma_deg


def test_a_spot_in_pixels():
    # 100 msh: radius acos(1 - 1e-4) = 0.8103 deg, 27" wide at the middle of a disc of 959.6" (checks: 27").
    assert width_px(100.0, 959.63) == pytest.approx(27.14, abs=0.01)
    assert width_px(100.0, 959.63, 0.25) == pytest.approx(27.14 / 2, abs=0.01)
    assert chance_found(FOUND_WIDTHS_PX[0]) == 0
    assert chance_found(FOUND_WIDTHS_PX[-1]) == FOUND_SHARES[-1] == 1


def test_what_measuring_states_on_a_photo():
    # A photo-like picture in steady air, its disc 839 px wide. The expectation is one number for all spots;
    # the stated ones go from 0.09 px (large) to 0.24 px.
    photo = load_photo(DATA / "pair-1" / "sunrise.jpg")
    limb = measure_limb(photo)
    spots = find_spots(photo, limb).spots
    stated = np.median([math.sqrt(np.trace(spot.covariance) / 2) for spot in spots])
    place, centre = expected_errors(limb.disc.a, Aim(seeing_arcsec=0.0), 2.25)
    assert place == pytest.approx(stated, rel=0.3)
    assert centre * limb.disc.a == pytest.approx(math.sqrt(limb.covariance[0, 0]), rel=0.3)

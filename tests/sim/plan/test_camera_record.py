"""What is said of a camera: too small, too large, held by hand."""

import datetime as dt
import math

import pytest
from whichsun.models.place import Site
from whichsun.models.registry import get_model
from whichsun.sim.plan.camera_numbers import Aim
from whichsun.sim.plan.camera_record import camera_json
from whichsun.sim.plan.optics import optics_of
from whichsun.sim.plan.plan import make_plan
from whichsun.sim.plan.zones import zone_named
from whichsun.sim.rotation import rotation_law


@pytest.fixture(scope="module")
def plan():
    models = [(get_model("distant-sphere"), {})]
    date = dt.date(2027, 3, 20)
    return make_plan(Site(60.0, 10.75), [date], zone_named("UTC"), models, law=rotation_law("howard-1984"))


def told(plan, focal_length_mm, picture_px=(6000, 4000), **aim):
    optics = optics_of(focal_length_mm=focal_length_mm, pixel_pitch_um=6.0, picture_px=picture_px)
    return camera_json(plan, optics, Aim(**aim))


def test_sizes_that_measuring_refuses_or_that_are_advised_against(plan):
    assert "`measure` finds none below 24 px" in told(plan, 12)["notes"][0]
    assert "less than the 300 px advised" in told(plan, 100)["notes"][0]
    assert told(plan, 400)["notes"][0].startswith("Expose")


def test_a_disc_that_does_not_fit(plan):
    # The image of the Sun is 1/107.06 of the focal length on that day; 24 mm of sensor hold one of 2570 mm.
    fits, tight, large = (told(plan, mm) for mm in (2400, 2560, 2600))
    assert (fits["fits"], tight["fits"], large["fits"]) == (True, False, False)
    assert "leaves hardly any room" in tight["notes"][0]
    assert "does not fit into the picture" in large["notes"][0]
    assert "at most 2441 mm" in large["notes"][0]  # 0.95 x 24 mm
    assert told(plan, 2600, None)["fits"] is None


def test_hand_held(plan):
    got = told(plan, 400, mount="hand-held")
    assert got["level_sigma_deg"] is None
    assert any("Held by hand" in note for note in got["notes"])
    assert not any("level error" in note for note in got["notes"])


def test_what_a_level_error_costs(plan):
    got = told(plan, 400)
    # On a tripod a lean shows 1/cos(altitude) times in the picture; the Sun stands at 6 to 7 degrees.
    ratio = got["latitude_deg_per_level_deg"] / got["latitude_deg_per_turn_deg"]
    assert 1 / math.cos(math.radians(6)) < ratio < 1 / math.cos(math.radians(7))
    cost = got["latitude_deg_per_level_deg"]
    assert any(f"costs {cost:.2f} degrees of latitude" in note for note in got["notes"])


def test_smallest_spot(plan):
    got = told(plan, 400)
    # A cap of chord width w: area 1 - sqrt(1 - (w/2R)^2), about half of (w/2R)^2.
    ratio = got["smallest_spot_px"] / got["disc_diameter_px"][0]
    assert got["smallest_spot_msh"] == pytest.approx(1e6 * ratio**2 / 2, rel=1e-3)


def test_frames(plan):
    worse = told(plan, 400, level_sigma_deg=0.05, seeing_arcsec=6.0)
    assert worse["frames_useful"] > 3
    assert any(note.startswith(f"Take {worse['frames_useful']} photos") for note in worse["notes"])

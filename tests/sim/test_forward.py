"""Forward observation: what is drawn and written is what the geometry says."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import InputError, OutputExistsError
from whichsun.sim.forward import draw, observe, photograph, truth
from whichsun.sim.rotation import rotation_law
from whichsun.sim.scenario import Air, PlannedShot, read_scenario
from whichsun.sim.surface import SunSpot, Surface

FOLDER = Path(__file__).parents[2] / "scenarios"
SPHERE, PLANE = (read_scenario(FOLDER / f"{name}-pair.toml") for name in ("distant-sphere", "nearby-plane"))


def small(scenario, **changes):
    camera = scenario.camera
    camera = replace(camera, width_px=400, height_px=300, focal_length_mm=camera.focal_length_mm / 4)
    shots = tuple(replace(shot, centre_px=None) for shot in scenario.shots)
    return replace(scenario, **{"camera": camera, "shots": shots, **changes})


def darkest(picture, near, reach=8):
    """Centroid [column, row] of the darkness about a pixel."""
    column, row = (round(float(value)) for value in near)
    rows, columns = np.mgrid[row - reach : row + reach + 1, column - reach : column + reach + 1]
    light = picture[rows, columns].astype(float).sum(axis=2)
    depth = np.maximum(np.median(light) - light, 0)
    depth[depth < 0.3 * depth.max()] = 0
    return np.array([np.sum(columns * depth), np.sum(rows * depth)]) / np.sum(depth)


@pytest.mark.parametrize("scenario", [SPHERE, PLANE], ids=["sphere", "plane"])
def test_the_bundled_pairs_hold_several_spots_that_both_shots_show(scenario):
    first, last = observe(scenario)
    assert 6 <= len(scenario.surface.spots) <= 9
    assert np.sum(first.visible & last.visible) >= 5
    for one in (first, last):
        assert 380 < one.frame.radius_px < 420
        assert np.max(np.hypot(one.x, one.y)[one.visible]) < 0.95
    known = truth(scenario, [first, last])
    assert abs(known["turn"]["pattern_deg"]) > 20
    both = first.visible & last.visible
    one, other = ((shot.x + 1j * shot.y)[both] for shot in (first, last))
    angle = np.angle(np.sum(other * np.conj(one)), deg=True)
    assert known["turn_of_these_spots"]["pattern_deg"] == pytest.approx(angle)
    assert known["turn_of_these_spots"]["spots_visible_in_both"] == np.sum(both)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("scenario", [SPHERE, PLANE], ids=["sphere", "plane"])
def test_spots_are_drawn_where_the_truth_says(scenario, mirrored):
    shots = tuple(replace(shot, mirrored=mirrored, roll_deg=25.0) for shot in scenario.shots[:1])
    scenario = replace(scenario, shots=shots)
    one = observe(scenario)[0]
    picture = draw(scenario, one)
    pixels = one.pixels[one.visible]
    for near in pixels:
        # The outlines are irregular and foreshortened: half a pixel at a radius of 400 px.
        assert np.hypot(*(darkest(picture, near) - near)) < 0.6


def test_the_disc_is_squashed_as_the_truth_says():
    scenario = replace(SPHERE, shots=(PlannedShot("low.jpg", "2027-04-18T07:14:00Z"),), surface=Surface())
    one = observe(scenario)[0]
    ratio = truth(scenario, [one])["shots"][0]["axis_ratio"]
    assert ratio < 0.9
    sky_free = replace(scenario, air=Air(refraction=False))
    # Without the ground: a site in the clear would show it below the lower limb.
    light = draw(scenario, one).astype(float).sum(axis=2) > 60
    rows, columns = np.flatnonzero(light.any(axis=1)), np.flatnonzero(light.any(axis=0))
    assert len(columns) / (2 * one.frame.radius_px) == pytest.approx(1, abs=0.01)
    above_horizon = len(rows) / len(columns)
    assert above_horizon == pytest.approx(ratio, abs=0.02)
    round_one = observe(sky_free)[0]
    assert round_one.vertical_table is None
    assert truth(sky_free, [round_one])["shots"][0]["axis_ratio"] == 1


def test_low_light_is_red_and_darker_below():
    one = observe(SPHERE)[0]
    picture = draw(replace(SPHERE, surface=Surface()), one)
    column, row = (round(value) for value in one.frame.centre_px)
    red, _, blue = picture[row, column].astype(int)
    assert red > blue + 30
    assert picture[row - 200, column].sum() > picture[row + 200, column].sum() + 5


def test_photographs_carry_time_place_and_lens(tmp_path):
    scenario = small(SPHERE)
    shots = (replace(scenario.shots[0], utc_offset_h=5.75), replace(scenario.shots[1], utc_offset_h=-3.5))
    scenario = replace(scenario, shots=shots)
    paths = photograph(scenario, tmp_path, np.random.default_rng(1), seed=1)
    assert [path.name for path in paths] == ["sunrise.jpg", "sunset.jpg"]
    for path, stamp, offset in zip(
        paths, ("2027:04:18 13:25:00", "2027:04:18 16:50:00"), ("+05:45", "-03:30"), strict=True
    ):
        with Image.open(path) as image:
            assert image.size == (400, 300)
            exif = image.getexif()
        details, place = exif.get_ifd(0x8769), exif.get_ifd(0x8825)
        assert (details[0x9003], details[0x9011]) == (stamp, offset)
        assert details[0x920A] == pytest.approx(99.25)
        assert 10000 / details[0xA20E] == pytest.approx(4.6)
        assert (place[1], place[2], place[3], place[4]) == ("N", (46, 30, 0), "W", (30, 0, 0))
        assert place[6] == 4
        assert "nvented" in exif[0x010E]
    known = json.loads((tmp_path / "truth.json").read_text())
    assert known["model"] == "distant-sphere"
    assert known["seed"] == 1
    assert [shot["file"] for shot in known["shots"]] == ["sunrise.jpg", "sunset.jpg"]
    assert known["turn"]["axis_deg"] == pytest.approx(-86.87, abs=0.01)


def test_the_same_seed_gives_the_same_bytes_and_nothing_is_overwritten(tmp_path):
    scenario = small(SPHERE)
    for name in ("a", "b"):
        photograph(scenario, tmp_path / name, np.random.default_rng(7))
    for file in ("sunrise.jpg", "sunset.jpg", "truth.json"):
        assert (tmp_path / "a" / file).read_bytes() == (tmp_path / "b" / file).read_bytes()
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "sunset.jpg").write_bytes(b"mine")
    with pytest.raises(OutputExistsError):
        photograph(scenario, tmp_path / "c", np.random.default_rng(7))
    assert [path.name for path in (tmp_path / "c").iterdir()] == ["sunset.jpg"]
    photograph(scenario, tmp_path / "c", np.random.default_rng(7), overwrite=True)
    assert (tmp_path / "c" / "sunset.jpg").read_bytes() == (tmp_path / "a" / "sunset.jpg").read_bytes()


def test_a_sun_far_below_the_horizon_cannot_be_photographed(tmp_path):
    night = replace(SPHERE, shots=(PlannedShot("night.jpg", "2027-04-18T02:00:00Z"),))
    with pytest.raises(InputError, match="lower limb must be above"):
        photograph(night, tmp_path, np.random.default_rng(1))
    assert list(tmp_path.iterdir()) == []


def test_an_equatorial_mount_keeps_the_celestial_north_in_place():
    shots = tuple(replace(shot, mount="equatorial", roll_deg=0.0) for shot in SPHERE.shots)
    one, other = observe(replace(SPHERE, shots=shots))
    assert one.frame.roll_deg == pytest.approx(0)
    assert other.frame.roll_deg == pytest.approx(-86.91, abs=0.01)


def test_spots_keep_their_body_place_between_shots():
    surface = Surface((SunSpot(5.0, 184.0),), rotation_law("rigid"))
    first, last = observe(replace(SPHERE, surface=surface))
    carried = observe(replace(SPHERE, surface=replace(surface, law=rotation_law("howard-1984"))))[1]
    assert first.days == 0
    assert last.days == pytest.approx(12.6667 / 24, abs=1e-5)
    # 0.194 deg of drift near the middle of the disc is 0.0034 radii.
    assert np.hypot(carried.x - last.x, carried.y - last.y)[0] == pytest.approx(0.0033, abs=2e-4)


def test_the_ending_of_a_shots_file_chooses_its_format(tmp_path):
    scenario = small(SPHERE)
    names = ("a.png", "b.fits")
    shots = tuple(replace(shot, file=name) for shot, name in zip(scenario.shots, names, strict=True))
    photograph(replace(scenario, shots=shots), tmp_path, np.random.default_rng(1))
    assert (tmp_path / "a.png").read_bytes().startswith(b"\x89PNG")
    assert (tmp_path / "b.fits").read_bytes().startswith(b"SIMPLE  =")

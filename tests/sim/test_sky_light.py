"""Glow, reddening and ground of a low Sun, and what measuring makes of the horizon."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.sim.atmosphere import transmission
from whichsun.sim.camera import Camera, Sensor
from whichsun.sim.cli.main import main
from whichsun.sim.forward import light_of, observe
from whichsun.sim.photo.horizon import find_horizon
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.scenario import Air, GroundLook, PlannedShot, read_scenario
from whichsun.sim.surface import Surface

SPHERE = read_scenario(Path(__file__).parents[2] / "scenarios" / "distant-sphere-pair.toml")


def shot_at(time, *, glow=0.0, ridge_deg=0.0, roll_deg=0.0):
    return replace(
        SPHERE,
        shots=(PlannedShot("x.jpg", time, roll_deg=roll_deg),),
        surface=Surface(),
        camera=Camera(300, 260, 30.0, sensor=Sensor(blur_px=0.0)),
        air=Air(glow=glow),
        ground=GroundLook(ridge_deg),
    )


def light_at(time, **changes):
    scenario = shot_at(time, **changes)
    one = observe(scenario)[0]
    return light_of(scenario, one), one


def test_without_glow_the_sky_is_black_and_with_it_as_bright_as_asked():
    time = "2027-04-18T07:16:00Z"
    dark, one = light_at(time)
    bright, _ = light_at(time, glow=0.2)
    row, column = 130, round(one.frame.centre_px[0] + one.frame.radius_px + 2)
    assert dark[row, column].max() == 0
    high = one.apparent_altitude_rad
    centre, level = transmission(high, haze=0.05), transmission(0.0, haze=0.05)
    share = 0.2 * (1 - centre[1]) / (1 - level[1]) * centre / centre.max()
    # Two pixels beyond the limb and half a pixel of altitude off: 3 %.
    np.testing.assert_allclose(bright[row, column], share, rtol=0.03)
    # The glow lies before the disc too, and falls off away from it.
    np.testing.assert_allclose((bright - dark)[130, 150], share, rtol=0.03)
    assert bright[row, 299, 0] < 0.8 * bright[row, column, 0]
    assert bright[row, column, 0] > 2 * bright[row, column, 2]


def test_a_high_sun_glows_less():
    low, one = light_at("2027-04-18T07:16:00Z", glow=0.2)
    high, _ = light_at("2027-04-18T12:30:00Z", glow=0.2)
    row, column = 130, round(one.frame.centre_px[0] + one.frame.radius_px + 2)
    assert high[row, column, 1] < 0.25 * 0.2
    assert high[row, column, 0] < 0.35 * low[row, column, 0]


def test_the_ridge_hides_the_lowest_sky():
    time = "2027-04-18T07:12:30Z"
    level, _ = light_at(time, glow=0.2)
    ridge, _ = light_at(time, glow=0.2, ridge_deg=0.8)
    level, ridge = level[..., 0], ridge[..., 0]
    ground = np.float32(0.004)
    assert 0.02 < np.mean(level == ground) < np.mean(ridge == ground) - 0.02
    assert np.all(level[ridge != ground] >= ridge[ridge != ground] - 1e-6)


@pytest.mark.parametrize("roll_deg", [0.0, 4.0, -6.0])
def test_measuring_finds_the_drawn_horizon(tmp_path, roll_deg):
    """The roll that the horizon shows against the true one: within three of its sigmas."""
    options = ["--model", "distant-sphere", "--site", "46.5,-30,20", "--at", "2027-04-18T07:13:00Z"]
    options += ["--size", "1200x900", "--fill", "0.35", "--sky-glow", "0.2", "--noise-seed", "3"]
    path = tmp_path / "low.jpg"
    assert main(["render", *options, "--spot", "15,190,600", f"--roll-deg={roll_deg}", "-o", str(path)]) == 0
    photo = load_photo(path)
    found = find_horizon(photo, measure_limb(photo))
    assert found is not None
    assert abs(found.roll_deg - roll_deg) < 3 * found.sigma_deg
    assert found.sigma_deg < 0.5


def test_in_a_scenario_file_and_bad_values(tmp_path, capsys):
    text = (Path(__file__).parents[2] / "scenarios" / "distant-sphere-pair.toml").read_text()
    path = tmp_path / "low.toml"
    path.write_text(text + "\n[ground]\nridge_deg = 0.7\nseed = 4\n")
    assert read_scenario(path).ground == GroundLook(0.7, 4)
    with pytest.raises(InputError, match="'glow' must be between"):
        Air(glow=0.7)
    with pytest.raises(InputError, match="'ridge-deg' must be between 0 and 10"):
        GroundLook(-1.0)
    options = ["render", "--scenario", str(path), "--sky-glow", "2", "-o", str(tmp_path / "x.png")]
    assert main(options) == 2
    assert "'glow' must be between" in capsys.readouterr().err

"""Scenario files: the bundled ones read, and every mistake gets one line with key and line number."""

from __future__ import annotations

from pathlib import Path

import pytest
from whichsun.models.errors import InputError, TomlError
from whichsun.sim.scenario import read_scenario

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
TEXT = """schema = "whichsun/scenario/1"
name = "test"
invented = true
[site]
latitude_deg = 46.5
longitude_deg = -30
[model]
name = "nearby-plane"
[model.set]
height_km = 5000
face = "fixed"
[sun]
rotation = "rigid"
random_groups = 3
[[sun.spot]]
latitude_deg = 10
longitude_deg = 0
[camera]
width_px = 320
height_px = 240
tint_rgb = [1, 0.9, 0.8]
[air]
temperature_c = 5
[[shot]]
file = "a.jpg"
time_utc = 2027-04-18T07:40:00Z
mount = "hand-held"
"""


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_bundled_scenarios(path):
    scenario = read_scenario(path)
    assert scenario.name == path.stem
    assert "nvented" in path.read_text()
    assert len(scenario.sha256) == 64


def test_values(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text(TEXT)
    scenario = read_scenario(path)
    assert scenario.model.name == "nearby-plane"
    assert scenario.given == {"height_km": 5000.0, "face": "fixed"}
    assert scenario.surface.law.name == "rigid"
    assert len(scenario.surface.spots) >= 4
    assert scenario.surface == read_scenario(path).surface, "random groups come from the seed"
    assert scenario.camera.width_px == 320
    assert scenario.camera.sensor.tint_rgb == (1.0, 0.9, 0.8)
    assert scenario.air.temperature_c == 5
    assert scenario.shots[0].time_utc == "2027-04-18T07:40:00Z"
    assert scenario.shots[0].mount == "hand-held"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("invented = true", "invented = false", "line 3, 'invented': expected true"),
        ("invented = true", "", "'invented': is missing"),
        ('"nearby-plane"', '"nearby-plain"', "line 8, 'model.name': unknown model 'nearby-plain'"),
        ("height_km = 5000", "height_kn = 5000", "line 10, 'model.set.height_kn': unknown parameter"),
        ("height_km = 5000", "height_km = 5", "line 10, 'model.set.height_km': 'height_km' must be between"),
        ("height_km = 5000", "height_km = [5]", "'model.set': expected a table of numbers or texts"),
        ('"fixed"', '"fixt"', "'model.set.face': unknown value of 'face' 'fixt'"),
        ('"rigid"', '"rigd"', "line 13, 'sun.rotation': unknown rotation law 'rigd': did you mean 'rigid'?"),
        ("latitude_deg = 10", "latitude_deg = 100", "line 16, 'sun.spot[1].latitude_deg': expected a number"),
        ("random_groups = 3", "random_groups = 3.5", "line 14, 'sun.random_groups': expected a whole number"),
        ("width_px = 320", "width = 320", "line 19, 'camera.width': unknown key: did you mean 'width_px'?"),
        ("width_px = 320", "width_px = 3", "'camera.width_px': expected a whole number between 16 and 20000"),
        ("[1, 0.9, 0.8]", "[1, 0.9]", "line 21, 'camera.tint_rgb': expected a list of three numbers"),
        (
            "temperature_c = 5",
            "temperature_c = nan",
            "line 23, 'air.temperature_c': expected a number between",
        ),
        ('"a.jpg"', '"../a.jpg"', "line 25, 'shot[1].file': expected a plain name ending in .jpg"),
        ('"a.jpg"', '"a.gif"', "expected a plain name ending in .jpg"),
        ("T07:40:00Z", "T07:40:00", "line 26, 'shot[1].time_utc': must have an offset or Z"),
        ("hand-held", "hand", "did you mean 'hand-held'?"),
        ("[[shot]]", "[[shots]]", "'shots': unknown key: did you mean 'shot'?"),
        (
            "latitude_deg = 46.5",
            "latitude_deg = nan",
            "line 5, 'site.latitude_deg': expected a number between",
        ),
        ("name = ", "name == ", "line 2: is not valid TOML"),
    ],
)
def test_mistakes(tmp_path, old, new, words):
    path = tmp_path / "s.toml"
    path.write_text(TEXT.replace(old, new, 1))
    with pytest.raises(TomlError) as caught:
        read_scenario(path)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_two_shots_of_one_name_and_no_file(tmp_path):
    path = tmp_path / "s.toml"
    path.write_text(TEXT + '[[shot]]\nfile = "a.jpg"\ntime_utc = 2027-04-18T09:40:00Z\n')
    with pytest.raises(TomlError, match=r"line 29, 'shot\[2\]\.file': expected a name used once"):
        read_scenario(path)
    with pytest.raises(InputError, match="must be an existing TOML file"):
        read_scenario(tmp_path / "none.toml")

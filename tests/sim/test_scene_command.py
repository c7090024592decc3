"""The command `scene`, its moments and its coastlines."""

from __future__ import annotations

import importlib.util
import json

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.models.place import Site
from whichsun.render import scene_picture
from whichsun.sim.cli.main import main
from whichsun.sim.scene import scene_moments
from whichsun.sim.scene_coasts import coastlines

BASE = ["scene", "--site", "46.5,-30"]
DAY = [*BASE, "--date", "2027-04-18"]


def test_json_tells_what_predict_tells(tmp_path, capsys):
    page = tmp_path / "scenes.html"
    assert main([*DAY, "-o", str(page), "-o", str(tmp_path / "scenes.glb"), "--no-coasts", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["schema"] == "whichsun/scene/1"
    assert [name.rpartition("/")[2] for name in result["files"]] == ["scenes.html", "scenes.glb"]
    assert page.stat().st_size > 100_000
    assert [told["kind"] for told in result["models"]] == ["sphere", "plane"]
    times = [row["at_utc"] for row in result["models"][0]["instants"]]
    for told in result["models"]:
        arguments = ["predict", "--model", told["model"], "--site", "46.5,-30", "--json"]
        assert main([*arguments, *(part for time in times for part in ("--at", time))]) == 0
        predicted = json.loads(capsys.readouterr().out)
        # The times are printed to the millisecond, in which the sky turns by 4e-6 deg.
        assert told["turn"]["pattern_deg"] == pytest.approx(predicted["turn"]["pattern_deg"], abs=1e-4)
        for own, row in zip(told["instants"], predicted["instants"], strict=True):
            assert own["azimuth_deg"] == pytest.approx(row["azimuth_deg"], abs=1e-5)


def test_people_read_a_table(tmp_path, capsys):
    assert main([*DAY, "-o", str(tmp_path / "s.glb"), "--model", "nearby-plane", "--no-coasts"]) == 0
    shown = capsys.readouterr().out
    assert "sunrise 07:08 UTC" in shown
    assert "enlarged" in shown
    assert "clockwise" in shown


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([*BASE], "'at' must be given"),
        ([*DAY, "--at", "2027-04-18T08:00Z"], "not both"),
        ([*BASE, *["--at", "2027-04-18T08:00Z"] * 2], "order of time"),
        ([*BASE, *["--at", "2027-04-18T08:00Z"] * 5], "4 moments at most"),
        ([*BASE, "--at", "2027-04-18T08:00"], "offset"),
        (["scene", "--site", "80,0", "--date", "2027-12-20"], "rises and sets"),
        ([*DAY, "--model", "distant-sphere", "--model", "distant-sphere"], "each once"),
        ([*DAY, "--set", "colour=1"], "colour"),
        ([*DAY, "--width", "100"], "400"),
        ([*DAY, "--wide", "--tall"], "--tall"),
        (
            [
                *DAY,
                "--wide",
                "--model",
                "distant-sphere",
                "--model",
                "nearby-plane",
                "--model",
                "nearby-sphere",
            ],
            "two",
        ),
        ([*DAY, "--spot", "95,0"], "-90 and 90"),
    ],
)
def test_bad_input_is_one_line(arguments, words, tmp_path, capsys):
    assert main([*arguments, "-o", str(tmp_path / "s.html")]) == 2
    said = capsys.readouterr().err.strip()
    assert words in said
    assert "\n" not in said
    assert list(tmp_path.iterdir()) == []


def test_outputs_are_looked_at_first(tmp_path, capsys):
    taken = tmp_path / "s.html"
    taken.write_text("mine")
    assert main([*DAY, "-o", str(taken)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert taken.read_text() == "mine"
    for names, words in ((["s.obj"], ".glb"), (["a.glb", "a.glb"], "twice")):
        assert main([*DAY, *(part for name in names for part in ("-o", str(tmp_path / name)))]) == 2
        assert words in capsys.readouterr().err


def test_a_model_without_a_place_is_refused(tmp_path, capsys):
    own = tmp_path / "own.py"
    own.write_text(
        "import numpy as np\n"
        "from dataclasses import replace\n"
        "from whichsun.models.distant_sphere import DistantSphere\n"
        "class Nowhere(DistantSphere):\n"
        "    def view(self, instants, site, values):\n"
        "        view = super().view(instants, site, values)\n"
        "        return replace(view, celestial_north=np.full(view.direction.shape, np.nan))\n"
    )
    assert main([*DAY, "--model", f"{own}:Nowhere", "-o", str(tmp_path / "s.html")]) == 2
    assert "celestial north or a parameter 'map'" in capsys.readouterr().err


def test_a_missing_library_names_the_package(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(scene_picture.sys, "platform", "linux")
    monkeypatch.delenv(scene_picture._WINDOW, raising=False)
    monkeypatch.setattr(scene_picture, "_LIBRARIES", ("libnone-of-that-name.so.9",))
    assert main([*DAY, "-o", str(tmp_path / "s.png"), "--no-coasts"]) == 2
    said = capsys.readouterr().err
    assert "libgl1-mesa-dri" in said
    assert "Traceback" not in said


def test_moments_have_names():
    site = Site(46.5, -30.0)
    _, words = scene_moments(site, [], "2027-04-18")
    assert words == ("sunrise 07:08 UTC", "sunset 20:51 UTC")
    _, words = scene_moments(site, ["2027-04-18T23:00Z", "2027-04-19T01:00+00:00"], None)
    assert words == ("18 Apr 23:00 UTC", "19 Apr 01:00 UTC")
    with pytest.raises(InputError, match="rises and sets"):
        scene_moments(Site(80.0, 0.0), [], "2027-06-20")


def test_coastlines_lie_where_the_land_ends():
    shores = [np.rad2deg(shore) for shore in coastlines()]
    everywhere = np.concatenate(shores)
    assert np.all(np.abs(everywhere[:, 0]) <= 90)
    # Cape Agulhas 34.83 S 20.00 E, South East Cape 43.64 S 146.83 E, Cape Nordkinn 71.13 N 27.67 E: from memory. The
    # crude set leaves out what lies within 25 km of its line.
    for latitude, longitude in ((-34.83, 20.0), (-43.64, 146.83), (71.13, 27.67)):
        east = (everywhere[:, 1] - longitude + 180) % 360 - 180
        away = np.hypot(everywhere[:, 0] - latitude, east * np.cos(np.deg2rad(latitude)))
        assert away.min() < 0.5
    # No edge of a cut: no long step along a meridian of 0 or 180.
    for shore in shores:
        step = np.abs(np.diff(shore[:, 0]))
        assert not np.any((shore[:-1, 1] % 180 == 0) & (shore[1:, 1] % 180 == 0) & (step > 0))


def test_no_coastlines_without_their_package(monkeypatch):
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    assert coastlines() == []

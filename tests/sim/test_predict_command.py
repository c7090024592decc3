"""`predict`: the keys of the machine-readable output, its numbers, and one line for bad input."""

from __future__ import annotations

import json

import numpy as np
import pytest
from whichsun.models.geometry import view_of
from whichsun.models.observables import body_vector, north_vertex_angle, project
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.cli.main import main

TIMES = ("2027-04-18T07:40:00Z", "2027-04-18T20:20:00Z")
BASE = ["predict", "--model", "distant-sphere", "--site", "46.5,-30,4", "--at", TIMES[0], "--at", TIMES[1]]
INSTANT_KEYS = {
    "at_utc",
    "azimuth_deg",
    "altitude_deg",
    "apparent_altitude_deg",
    "distance_km",
    "semidiameter_arcmin",
    "north_vertex_angle_deg",
    "parallactic_angle_deg",
    "sub_observer_latitude_deg",
    "sub_observer_longitude_deg",
    "spots",
}
TURN_KEYS = {
    "axis_deg",
    "celestial_north_deg",
    "pattern_deg",
    "pattern_visible_fraction",
    "pattern_scatter",
    "spots_deg",
    "unwrapped_axis_deg",
}


def predicted(capsys, *arguments):
    assert main(list(arguments)) == 0
    captured = capsys.readouterr()
    return json.loads(captured.out), captured.err


def test_keys_and_numbers(capsys):
    got, _ = predicted(capsys, *BASE, "--spot", "14,150", "--spot=-12,0", "--json")
    assert got["schema"] == "whichsun/predict/1"
    assert got["warnings"] == []
    assert [set(row) for row in got["instants"]] == [INSTANT_KEYS] * 2
    assert set(got["turn"]) == TURN_KEYS
    assert [row["at_utc"] for row in got["instants"]] == list(TIMES)
    for row in got["instants"]:
        assert [set(spot) for spot in row["spots"]] == [
            {"x", "y", "vertex_angle_deg", "radius", "visible"}
        ] * 2
        assert row["apparent_altitude_deg"] > row["altitude_deg"]
        hidden = row["spots"][1]
        assert hidden["visible"] is False
        assert isinstance(hidden["x"], float), "places are kept when hidden"
    assert got["turn"]["spots_deg"][1] is None
    first = got["instants"][0]["spots"][0]
    assert first["radius"] == pytest.approx(np.hypot(first["x"], first["y"]))
    assert first["vertex_angle_deg"] == pytest.approx(np.rad2deg(np.arctan2(-first["x"], first["y"])))
    view = view_of(get_model("distant-sphere"), Instants.from_utc(list(TIMES)), Site(46.5, -30.0, 4.0))
    place = project(view[0], body_vector(np.deg2rad([14.0]), np.deg2rad([150.0])))
    assert (first["x"], first["y"]) == pytest.approx((place.x[0], place.y[0]), abs=1e-12)
    axis = np.rad2deg(north_vertex_angle(view))
    assert [row["north_vertex_angle_deg"] for row in got["instants"]] == pytest.approx(axis.tolist())
    assert got["turn"]["axis_deg"] == pytest.approx(axis[1] - axis[0])


def test_a_spot_is_carried_by_the_law_from_the_first_instant(capsys):
    got, _ = predicted(capsys, *BASE, "--spot", "10,180", "--json")
    rigid, _ = predicted(capsys, *BASE, "--spot", "10,180", "--rotation", "rigid", "--json")
    assert got["instants"][0]["spots"] == rigid["instants"][0]["spots"]
    days = 12.6667 / 24
    drift = (14.552 - 2.84 * np.sin(np.deg2rad(10)) ** 2 - 14.1844) * days
    moved, _ = predicted(capsys, *BASE, "--spot", f"10,{180 + drift}", "--rotation", "rigid", "--json")
    assert got["instants"][1]["spots"][0]["x"] == pytest.approx(
        moved["instants"][1]["spots"][0]["x"], abs=1e-6
    )


def test_the_order_asked_is_kept(capsys):
    arguments = ["predict", "--model", "distant-sphere", "--site", "46.5,-30"]
    got, _ = predicted(capsys, *arguments, "--at", TIMES[1], "--at", TIMES[0], "--json")
    forth, _ = predicted(capsys, *arguments, "--at", TIMES[0], "--at", TIMES[1], "--json")
    assert [row["at_utc"] for row in got["instants"]] == [TIMES[1], TIMES[0]]
    for key in ("axis_deg", "celestial_north_deg", "unwrapped_axis_deg"):
        assert got["turn"][key] == pytest.approx(-forth["turn"][key])


def test_one_instant_has_no_turn_and_local_time_is_accepted(capsys):
    got, _ = predicted(
        capsys, "predict", "--model", "nearby-sphere", "--site=-33.87,151.2", "--at", "2027-04-18T06:00:00+10:00",
        "--set", "distance_km=5e6", "--json",
    )  # fmt: skip
    assert got["turn"] is None
    assert got["instants"][0]["at_utc"] == "2027-04-17T20:00:00Z"
    assert got["set"] == {"distance_km": 5e6}
    assert got["instants"][0]["distance_km"] == pytest.approx(5e6, rel=2e-3)


def test_the_free_face_predicts_place_and_no_attitude(capsys):
    arguments = [*BASE, "--spot", "10,0", "--json"]
    arguments[2] = "nearby-plane"
    facing, _ = predicted(capsys, *arguments)
    free, _ = predicted(capsys, *arguments, "--set", "face=free")
    for one, other in zip(facing["instants"], free["instants"], strict=True):
        for key in ("azimuth_deg", "altitude_deg", "distance_km", "semidiameter_arcmin"):
            assert one[key] == other[key]
        for key in ("north_vertex_angle_deg", "sub_observer_latitude_deg", "sub_observer_longitude_deg"):
            assert isinstance(one[key], float)
            assert other[key] is None
        assert one["parallactic_angle_deg"] is None
        assert set(other["spots"][0].values()) == {None}
    assert set(map(str, free["turn"].values())) == {"None", "[None]"}


def test_a_map_text_is_split_at_the_first_equals_sign(capsys):
    arguments = [*BASE, "--set", "map=+proj=laea +lat_0=90", "--json"]
    arguments[2] = "nearby-plane"
    got, _ = predicted(capsys, *arguments)
    arguments[-2] = "map=equal-area"
    short, _ = predicted(capsys, *arguments)
    assert got["set"]["map"] == "+proj=laea +lat_0=90"
    assert got["turn"] == short["turn"]


def test_readable_output(capsys):
    assert main([*BASE, "--spot", "14,150"]) == 0
    text = capsys.readouterr().out
    assert "Sun's axis" in text
    assert "86.9 deg clockwise" in text
    tropics = ["predict", "--model", "distant-sphere", "--site", "14.2,91", "--at", "2024-07-13T00:00:00Z"]
    assert main([*tropics, "--at", "2024-07-13T12:00:00Z"]) == 0
    assert "clockwise, or 206.7 deg the other way" in capsys.readouterr().out


def changed(option, *values):
    arguments = list(BASE)
    where = arguments.index(option)
    return [
        *arguments[:where],
        *(part for value in values for part in (option, value)),
        *arguments[where + 2 :],
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (changed("--site", "91,0"), "'latitude_deg' must be between -90 and 90, got 91.0"),
        (changed("--site", "nan,0"), "'site' must be LAT,LON"),
        (changed("--site", "46.5"), "'site' must be LAT,LON or LAT,LON,HEIGHT_M, got '46.5'"),
        (changed("--site", "46.5,-30,-4"), "'height_m' must be between 0 and 9000, got -4.0"),
        (changed("--site", "46.5,1000"), "'longitude_deg' must be"),
        (changed("--at", "2027-02-30T07:00:00Z"), "must be an existing ISO 8601 date and time"),
        (changed("--at", "2027-02-20T07:00:00"), "must have an offset or Z"),
        (changed("--at", "1200-02-20T07:00:00Z"), "must lie between the years"),
        (
            changed("--model", "distant-spere"),
            "unknown model 'distant-spere': did you mean 'distant-sphere'?",
        ),
        (changed("--model", "none.py:Model"), "'model' must be an existing file"),
        ([*BASE, "--set", "height_km=5000"], "unknown parameter of distant-sphere 'height_km'"),
        ([*BASE, "--set", "height_km"], "'set' must be PARAM=VALUE"),
        (
            [*changed("--model", "nearby-plane"), "--set", "height_km=5"],
            "'height_km' must be between 500 and",
        ),
        ([*changed("--model", "nearby-plane"), "--set", "height_km=nan"], "'height_km' must be between"),
        ([*changed("--model", "nearby-plane"), "--set", "height_km=tall"], "'height_km' must be a number"),
        ([*changed("--model", "nearby-plane"), "--set", "face=spining"], "did you mean 'spinning'?"),
        ([*changed("--model", "nearby-plane"), "--set", "map=equal-aera"], "unknown map 'equal-aera'"),
        ([*changed("--model", "nearby-plane"), "--set", "map=+proj=nonsense"], "nonsense"),
        ([*BASE, "--spot", "10"], "'spot' must be LAT,CARRINGTON_LON, got '10'"),
        ([*BASE, "--spot", "95,10"], "'spot' must have a latitude between -90 and 90"),
        ([*BASE, "--spot", "10,inf"], "with finite numbers"),
        ([*BASE, "--spot", "10,999"], "'spot' must have a longitude"),
        ([*BASE, "--rotation", "howard"], "unknown rotation law 'howard': did you mean"),
        ([*BASE, "--pressure-hpa", "-3"], "'pressure_hpa' must be between 0 and 1100"),
        ([*BASE, "--temperature-c", "nan"], "'temperature_c' must be between -90 and 60"),
        (BASE[:-4], "at"),
        ([*BASE, "--colour", "red"], "colour"),
    ],
)
def test_bad_input_gets_one_line_and_code_2(capsys, arguments, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main([*arguments, "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("whichsun: error: ")
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert list(tmp_path.iterdir()) == []

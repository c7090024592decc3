"""`sweep` and `models`: keys, numbers, figure, and one line for bad input."""

from __future__ import annotations

import io
import json

import pytest
from PIL import Image
from whichsun.models.registry import model_names
from whichsun.sim.cli.main import main
from whichsun.sim.rotation import LAWS

BASE = ["sweep", "--model", "distant-sphere", "--date", "2024-03-20"]
ROW_KEYS = [
    "latitude_deg",
    "from_utc",
    "to_utc",
    "axis_turn_deg",
    "celestial_north_turn_deg",
    "pattern_turn_deg",
    "pattern_visible_fraction",
    "pattern_scatter",
    "spots_turn_deg",
]


def swept(capsys, *arguments):
    assert main([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_keys_and_numbers(capsys):
    got = swept(capsys, *BASE, "--latitudes=-60:60:30", "--spot", "10,180", "--spot=-5,0")
    assert got["schema"] == "whichsun/sweep/1"
    assert [list(row) for row in got["rows"]] == [ROW_KEYS] * 5
    assert [row["latitude_deg"] for row in got["rows"]] == [-60, -30, 0, 30, 60]
    turns = [row["celestial_north_turn_deg"] for row in got["rows"]]
    # 2 (90 - |latitude|); at the equator both ways round are the same half circle.
    assert turns[:2] + turns[3:] == pytest.approx([60, 120, -120, -60], abs=1)
    assert abs(turns[2]) == pytest.approx(180, abs=1)
    assert all(len(row["spots_turn_deg"]) == 2 for row in got["rows"])
    assert got["models"] == {"distant-sphere": got["rows"]}
    assert swept(capsys, *BASE, "--latitudes", "0:1:1")["rows"][0]["spots_turn_deg"] == []


def test_every_row_is_what_predict_says(capsys):
    for model in ("distant-sphere", "nearby-plane"):
        row = swept(
            capsys, "sweep", "--model", model, "--date", "2027-04-18", "--latitudes", "46.5:47:1", "--longitude=-30",
            "--height-m", "4", "--spot", "10,180",
        )["rows"][0]  # fmt: skip
        assert main([
            "predict", "--model", model, "--site", "46.5,-30,4", "--at", row["from_utc"], "--at", row["to_utc"],
            "--spot", "10,180", "--json",
        ]) == 0  # fmt: skip
        turn = json.loads(capsys.readouterr().out)["turn"]
        # Times are printed to the millisecond.
        for key in ("axis", "celestial_north", "pattern"):
            expected = turn[f"{key}_deg"]
            got = row[f"{key}_turn_deg"]
            assert got == (expected if expected is None else pytest.approx(expected, abs=1e-4))
        assert row["pattern_visible_fraction"] == pytest.approx(turn["pattern_visible_fraction"], abs=2e-3)
        assert row["pattern_scatter"] == pytest.approx(turn["pattern_scatter"], abs=1e-4)
        assert row["spots_turn_deg"] == [
            value if value is None else pytest.approx(value, abs=1e-4) for value in turn["spots_deg"]
        ]


def test_null_where_the_sun_does_not_rise_or_set(capsys):
    got = swept(
        capsys,
        "sweep",
        "--model",
        "nearby-plane",
        "--date",
        "2024-06-20",
        "--latitudes",
        "60:90:30",
        "--spot",
        "0,0",
    )
    there, not_there = got["rows"]
    assert there["from_utc"] < there["to_utc"]
    assert list(not_there.values()) == [90.0, *[None] * 7, [None]]


def test_hours_about_noon_and_horizon(capsys):
    noon = swept(capsys, *BASE, "--latitudes", "40:41:1", "--event", "hours", "--hours", "3")["rows"][0]
    assert noon["from_utc"].startswith("2024-03-20T09:07")
    assert noon["to_utc"].startswith("2024-03-20T15:07")
    low = swept(capsys, *BASE, "--latitudes", "40:41:1", "--horizon", "geometric")["rows"][0]
    high = swept(capsys, *BASE, "--latitudes", "40:41:1")["rows"][0]
    assert high["from_utc"] < low["from_utc"]
    assert low["celestial_north_turn_deg"] == pytest.approx(-100, abs=0.15)


def test_several_models_share_the_times(capsys):
    got = swept(
        capsys, "sweep", "--date", "2024-03-20", "--latitudes", "40:50:10", "--set", "height_km=4000",
        "--set", "map=equal-area",
    )  # fmt: skip
    assert list(got["models"]) == model_names()
    assert got["rows"] == got["models"][model_names()[0]]
    times = {tuple((row["from_utc"], row["to_utc"]) for row in rows) for rows in got["models"].values()}
    assert len(times) == 1


def test_figure_of_the_size_asked(capsys, tmp_path):
    path = tmp_path / "sweep.png"
    arguments = [*BASE, "--latitudes=-60:60:20", "--figure", str(path), "--width", "900", "--height", "700"]
    got = swept(capsys, *arguments, "--measurement=46.5,-87.5,1.5", "--measurement=-30,100,4")
    assert got["figure"] == str(path)
    before = path.read_bytes()
    assert Image.open(io.BytesIO(before)).size == (900, 700)
    assert main(arguments) == 2
    assert "exists already; give --overwrite" in capsys.readouterr().err
    assert path.read_bytes() == before
    assert main([*arguments, "--overwrite"]) == 0
    assert path.read_bytes() != before, "without the measurement the figure differs"


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_several_dates(capsys, tmp_path, kind):
    path = tmp_path / f"sweep.{kind}"
    arguments = [*BASE, "--date", "2024-06-20", "--latitudes=-60:60:20", "--figure", str(path)]
    got = swept(capsys, *arguments, "--measurement=40,-100,2,2024-03-20")
    assert [one["date"] for one in got["dates"]] == ["2024-03-20", "2024-06-20"]
    assert got["date"] == "2024-03-20"
    assert got["models"] == got["dates"][0]["models"]
    alone = swept(
        capsys, "sweep", "--model", "distant-sphere", "--date", "2024-06-20", "--latitudes=-60:60:20"
    )
    assert alone["models"] == got["dates"][1]["models"]
    assert path.read_bytes().startswith({"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}[kind])
    if kind == "svg":  # the key
        text = path.read_text("utf-8")
        assert all(f"<!-- {date} -->" in text for date in ("2024-03-20", "2024-06-20"))


def test_table_of_two_dates(capsys):
    assert main([*BASE, "--date", "2024-06-20", "--latitudes", "40:60:20", "--longitude", "-30"]) == 0
    text = " ".join(capsys.readouterr().out.split())  # however the titles are broken
    assert "anticlockwise +; 2024-03-20, longitude 30° W" in text
    assert "anticlockwise +; 2024-06-20, longitude 30° W" in text


def test_table(capsys):
    assert main([*BASE, "--latitudes", "40:60:20"]) == 0
    text = capsys.readouterr().out
    assert "Turn of the spot pattern" in text
    assert "-100.85" in text


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--date", "2027-02-30"], "'date' must be an existing date, got '2027-02-30'"),
        (["--latitudes", "10:5:1"], "'latitudes' must not be an empty range, got '10:5:1'"),
        (["--latitudes", "10:50:0"], "'latitudes' must not be an empty range"),
        (["--latitudes", "10:50"], "'latitudes' must be FROM:TO:STEP"),
        (["--latitudes", "10:nan:5"], "'latitudes' must be FROM:TO:STEP with finite numbers"),
        (["--latitudes", "0:91:1"], "'latitude_deg' must be between -90 and 90, got 91.0"),
        (["--latitudes", "0:1:1e-9"], "100000 values at most"),
        (["--longitude", "nan"], "'longitude_deg' must be between"),
        (["--height-m", "-5"], "'height_m' must be between 0 and 9000, got -5.0"),
        (["--event", "noon"], "unknown event 'noon': known are rise-set, hours"),
        (["--event", "hours", "--hours", "13"], "'hours' must be above 0 and at most 12, got 13.0"),
        (["--event", "hours", "--hours", "nan"], "'hours' must be above 0"),
        (["--horizon", "visble"], "did you mean 'visible'?"),
        (["--spot", "1;2"], "'spot' must be LAT,CARRINGTON_LON"),
        (["--set", "height_km=5000"], "unknown parameter of distant-sphere 'height_km'"),
        (["--rotation", "none"], "unknown rotation law"),
        (["--model", "flat"], "unknown model 'flat'"),
        (["--measurement", "1,2"], "'measurement' must be LAT,TURN,SIGMA"),
        (["--measurement", "1,2,-1"], "a sigma of 0 or more"),
        (["--measurement", "1,2,3,4"], "'date' must be an existing date"),
        (["--measurement", "1,2,3,4,5"], "'measurement' must be LAT,TURN,SIGMA[,DATE]"),
        (["--date", "2024-03-20"], "'date' must not be given twice"),
        (
            ["--figure", "a.png", *(f"--date=2024-0{k}-01" for k in range(1, 6))],
            "'date' must be given at most 5 times with --figure, got 6; draw several figures",
        ),
        (["--figure", "a.jpg"], "'figure' must be a name that ends in .png"),
        (["--figure", "a.png", "--width", "3"], "'width' must be between 200 and 10000"),
        (["--figure", "a.png", "--latitudes", "10:5:1"], "empty range"),
    ],
)
def test_bad_input_gets_one_line_and_code_2(capsys, arguments, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main([*BASE, *arguments, "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("whichsun: error: ")
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert list(tmp_path.iterdir()) == []


def test_models_command(capsys):
    assert main(["models", "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    assert got["schema"] == "whichsun/models/1"
    assert [model["name"] for model in got["models"]] == model_names()
    plane = next(model for model in got["models"] if model["name"] == "nearby-plane")
    assert {p["name"] for p in plane["parameters"]} == {
        "map", "face", "height_km", "diameter_km", "rate_deg_per_day",
    }  # fmt: skip
    for model in got["models"]:
        assert model["variants"]
        for parameter in model["parameters"]:
            assert parameter["meaning"]
    assert {law["name"] for law in got["rotation_laws"]} == set(LAWS)
    assert any(chart["name"] == "azimuthal-equidistant" for chart in got["maps"])
    assert main(["models"]) == 0
    text = capsys.readouterr().out
    for name in (*model_names(), *LAWS, "height_km", "stereographic"):
        assert name in text
    assert main(["models", "extra"]) == 2

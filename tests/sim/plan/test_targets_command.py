"""`plan` with regions and a camera: keys, words, discs, and one line for bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from whichsun.sim.cli.main import main
from whichsun.sim.safety import CAUTIONS

DATA = Path(__file__).parents[2] / "data" / "regions"
BUSY, EMPTY = DATA / "20000922SRS.txt", DATA / "19960430SRS.txt"
BASE = ["plan", "--site", "60,10.75", "--zone", "Europe/Oslo", "--evidence", "none"]
CAMERA = ["--focal-length-mm", "400", "--sensor-width-mm", "36", "--picture", "6000x4000"]


def run(*arguments):
    return main([*BASE, *map(str, arguments)])


def planned(capsys, *arguments):
    assert run(*arguments, "--json") == 0
    return json.loads(capsys.readouterr().out, parse_constant=pytest.fail)


def test_keys(capsys):
    got = planned(capsys, "--dates", "2000-09-22..2000-09-23", "--regions", BUSY, *CAMERA)
    assert [row["date"] for row in got["targets"]] == ["2000-09-22"] * 5 + ["2000-09-23"] * 5
    assert [row["rank"] for row in got["targets"]] == [1, 2, 3, 4, 5] * 2
    assert {row["number"] for row in got["targets"]} == {9165, 9166, 9167, 9169, 9170}
    first = got["targets"][0]
    assert set(first["models"]) == {"distant-sphere", "nearby-plane"}
    view = first["models"]["distant-sphere"]
    morning, evening = got["days"][0]["windows"]
    assert [shot["at_utc"] for shot in view["shots"]] == [morning["middle_utc"], evening["middle_utc"]]
    assert -180 < view["turn_deg"] <= 180
    for day in got["regions"]:
        assert (day["file"], day["regions"]) == (BUSY.name, 5)
        assert day["valid_utc"] == "2000-09-22T00:00:00Z"
        assert set(day["usable"]) == set(first["models"])
        assert day["returning"] == [9147, 9149, 9151]
    camera = got["camera"]
    assert camera["pixel_scale_arcsec_per_px"] == pytest.approx(206.265 * 6 / 400, rel=1e-5)
    assert camera["fits"] is True
    assert camera["latitude_deg_per_turn_deg"] == pytest.approx(0.5, abs=0.03)


def test_without_regions_and_camera_nothing_is_added(capsys):
    got = planned(capsys, "--dates", "2000-09-22")
    assert not {"targets", "regions", "camera", "discs"} & set(got)


def test_told_to_people(capsys):
    assert run("--dates", "2000-09-22", "--regions", BUSY, *CAMERA) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Usable regions: 3 of 5 (9166, 9169, 9167)." in out
    assert "Regions due to return 22 SEP TO 24 SEP: 9147 (N07)" in out
    assert "1. 9166: well placed" in out
    assert "9167: close to the centre" in out
    assert "One degree of level error" in out
    assert " ".join(CAUTIONS[0].split()) in out


def test_no_spots_is_said_plainly(capsys, tmp_path):
    discs = tmp_path / "discs.png"
    assert run("--dates", "1996-04-30", "--regions", EMPTY, "--discs", discs) == 0
    got = capsys.readouterr()
    assert "No usable spots: the list has no region with spots." in " ".join(got.out.split())
    assert "no regions to draw" in got.err
    assert not discs.exists()
    assert (
        run("--dates", "2000-09-22", "--regions", BUSY, "--focal-length-mm", 20, "--pixel-pitch-um", 6) == 0
    )
    out = " ".join(capsys.readouterr().out.split())
    assert "No usable spots: none of the 5 regions listed is likely to be found in both photos." in out
    assert "`measure` finds none below 24 px" in out or "less than the 300 px advised" in out


def test_a_list_that_is_too_old(capsys):
    got = planned(capsys, "--dates", "2000-10-20", "--regions", BUSY)
    assert got["targets"] == []
    assert got["regions"][0]["file"] is None
    assert "Bring a newer one" in got["regions"][0]["words"][0]


def test_a_model_that_leaves_the_face_open(capsys):
    free = ["--model", "nearby-plane", "--set", "face=free"]
    got = planned(capsys, "--dates", "2000-09-22", "--regions", BUSY, *free)
    assert got["regions"][0]["words"][0].startswith(
        "Regions with spots: 5. Whether they stay in sight is not known"
    )
    for row in got["targets"]:
        assert row["usable_under"] == []
        assert row["models"]["nearby-plane"]["turn_deg"] is None
        assert row["models"]["nearby-plane"]["shots"][1]["visible"] is None


def test_an_odd_row_is_told_and_the_rest_used(capsys, tmp_path):
    path = tmp_path / "odd.txt"
    path.write_text(BUSY.read_text().replace("9170 S07E28", "9170 X07E28"))
    got = planned(capsys, "--dates", "2000-09-22", "--regions", path)
    assert len(got["targets"]) == 4
    (warning,) = got["warnings"]
    assert warning.startswith("odd.txt, line 15: '9170 X07E28")


def test_many_days_one_row_each(capsys):
    assert (
        run("--dates", "2000-09-22..2000-09-26", "--regions", BUSY, "--regions", DATA / "20000927SRS.txt")
        == 0
    )
    out = capsys.readouterr().out
    assert "Regions likely to be found in both photos of a day" in out
    assert "+0.2" in out
    assert "-0.7" in out  # the later list is nearer to 26 September


def test_days_without_both_windows(capsys):
    arguments = ["plan", "--site", "70,20", "--zone", "UTC", "--evidence", "none", "--dates", "2000-12-21"]
    assert main([*arguments, "--regions", str(BUSY), *CAMERA]) == 0
    out = capsys.readouterr().out
    assert "no day has both windows" in out


def test_discs_are_drawn(capsys, tmp_path):
    path = tmp_path / "discs.svg"
    got = planned(capsys, "--dates", "2000-09-22", "--regions", BUSY, "--discs", path)
    assert got["discs"] == str(path)
    assert path.read_bytes().startswith(b"<?xml")
    assert run("--dates", "2000-09-22", "--regions", BUSY, "--discs", path) == 2
    assert "--overwrite" in capsys.readouterr().err


def test_the_evidence_knows_the_spots_of_the_day(capsys):
    arguments = [*BASE[:-2], "--dates", "2000-09-22", "--outings", "1", "--processes", "1", "--json"]
    assert main([*arguments, "--regions", str(BUSY), *CAMERA]) == 0
    got = json.loads(capsys.readouterr().out)
    evidence = got["days"][0]["evidence"]
    assert evidence["spots_in_a_photo"] == pytest.approx(
        sum(row["chance_in_first"] for row in got["targets"])
    )
    assert evidence["place_sigma_radii"] == got["camera"]["place_sigma_radii"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--regions", "none.txt"], "none.txt"),
        (["--regions", Path(__file__)], "Issued"),
        (["--discs", "x.png"], "must come with --regions"),
        (["--regions", BUSY, "--discs", "x.bmp"], ".png, .svg or .pdf"),
        (["--focal-length-mm", "400"], "pixel-pitch-um"),
        (["--focal-35mm", "400", "--picture", "40"], "WIDTHxHEIGHT"),
        ([*CAMERA, "--seeing-arcsec", "-1"], "seeing-arcsec"),
        ([*CAMERA, "--mount", "balloon"], "balloon"),
    ],
)
def test_bad_input_is_one_line(capsys, arguments, words):
    assert run("--dates", "2000-09-22", *arguments) == 2
    got = capsys.readouterr()
    assert got.out == ""
    lines = [line for line in got.err.splitlines() if line]
    assert len(lines) == 1
    assert words in lines[0]

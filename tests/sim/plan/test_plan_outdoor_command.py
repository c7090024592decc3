"""`plan` for outdoors: other measurements, field sheet, outing file to fill in, cautions, bad input."""

import json

import pytest
from whichsun.sim.cli.main import main
from whichsun.sim.outing_file import read_outing
from whichsun.sim.safety import CAUTIONS

BASE = ["plan", "--site", "60,10.75", "--zone", "Europe/Oslo", "--evidence", "none"]
DAY = ["--dates", "2027-03-20"]


def test_measurements_as_json(capsys):
    assert main([*BASE, *DAY, "--measurements", "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    (day,) = got["days"]
    rows = {one["kind"]: one for one in day["observables"]["rows"]}
    noon = rows["noon-altitude"]
    assert (noon["unit"], noon["sigma_unit"], noon["sigma"]) == ("deg", "deg", 0.5)
    sphere, plane = noon["models"]["distant-sphere"], noon["models"]["nearby-plane"]
    assert sphere["value"] == pytest.approx(day["noon_altitude_deg"], abs=0.01)
    assert sphere["shadow_per_stick"] == pytest.approx(1.74, abs=0.01)
    assert noon["apart_sigma"]["distant-sphere/nearby-plane"] == pytest.approx(
        (plane["value"] - sphere["value"]) / 0.5, rel=0.01
    )
    rise = rows["rise"]["models"]
    assert rise["distant-sphere"]["at_local"].startswith("2027-03-20T06:")
    assert rise["nearby-plane"]["at_utc"] is None  # a plane's Sun never sets
    assert "never sets" in rise["nearby-plane"]["why"]
    assert rows["rise"]["apart_sigma"]["distant-sphere/nearby-plane"] is None
    assert "common practice, no source" in noon["sigma_source"]
    numbers = day["observables"]["free_numbers"]
    assert numbers["nearby-plane"] == {"height_km": 5000.0, "diameter_km": 50.0}
    assert (got["field_sheet"], got["outing_template"]) == (None, None)


def test_without_being_asked_for_nothing_is_worked_out(capsys):
    assert main([*BASE, *DAY, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["days"][0]["observables"] is None


def test_the_table_has_every_measurement_and_the_cautions(capsys):
    assert main([*BASE, *DAY, "--measurements"]) == 0
    printed = capsys.readouterr().out
    for words in (
        "Highest altitude",
        "Azimuth of rise",
        "Width, noon / morning",
        "sigmas apart",
        "Shortest shadow",
    ):
        assert words in printed
    said = " ".join(printed.split())
    for caution in CAUTIONS:
        assert caution in said


def test_what_happens_under_one_model_only_is_said_so(capsys):
    assert main([*BASE, *DAY, "--measurements"]) == 0
    rise = next(line for line in capsys.readouterr().out.splitlines() if line.startswith(" Rise"))
    assert rise.split() == ["Rise", "06:20", "none", "30", "s", "seen", "or", "not"]


def test_shortest_shadow_adds_up(capsys):
    assert main([*BASE, *DAY, "--measurements"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    # 10.75 E in UTC+1: 60 - 43 = 17 min; 7.5 min of the equation of time on 20 March
    assert "Shortest shadow at 12:24:32: 12:00 + 17.0 min" in said
    assert "+ 7.5 min for the equation of time" in said


def test_files_are_written_whole_and_never_over_another(tmp_path, capsys):
    sheet, outing = tmp_path / "sheet.pdf", tmp_path / "outing.toml"
    command = [*BASE, *DAY, "--field-sheet", str(sheet), "--outing-template", str(outing)]
    assert main([*command, "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    assert (got["field_sheet"], got["outing_template"]) == (str(sheet), str(outing))
    assert sheet.read_bytes().startswith(b"%PDF")
    assert read_outing(outing).site is not None
    sheet.write_bytes(b"mine")
    assert main(command) == 2
    assert "exists already" in capsys.readouterr().err
    assert sheet.read_bytes() == b"mine"
    assert main([*command, "--overwrite"]) == 0
    assert sheet.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--field-sheet", "x.png", *DAY], "'field-sheet' must be a name that ends in .pdf"),
        (["--outing-template", "x.pdf", *DAY], "'outing-template' must be a name that ends in .toml"),
        (["--field-sheet", "x.pdf", "--paper", "a3", *DAY], "unknown paper 'a3'"),
        (
            ["--field-sheet", "x.pdf", "--dates", "2027-03-20..2027-03-21"],
            "'field-sheet' must be for one day",
        ),
        (["--outing-template", "x.toml", "--dates", "2027-03-20..2027-03-21"], "must be for one day"),
    ],
)
def test_bad_input_is_one_line(options, told, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main([*BASE, *options]) == 2
    captured = capsys.readouterr()
    assert told in captured.err
    assert captured.err.count("\n") == 1
    assert not list(tmp_path.iterdir())

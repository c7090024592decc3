"""What a person reads: clocks beside UTC, directions, both ways round, notes once for many days, cautions always."""

from __future__ import annotations

import json
import re

import pytest
from whichsun.sim.cli.main import main
from whichsun.sim.safety import CAUTIONS


def text_of(capsys, site, dates, *more):
    assert main(["plan", "--site", site, "--dates", dates, "--evidence", "none", *more]) == 0
    text = capsys.readouterr().out
    flat = " ".join(text.split())
    assert all(caution in flat for caution in CAUTIONS)
    return text


def row(text, start):
    return next(
        re.split(r"\s{2,}", line.strip()) for line in text.splitlines() if line.strip().startswith(start)
    )


def test_northern_city(capsys):
    text = text_of(capsys, "59.9,10.75", "2026-04-18", "--zone", "Europe/Oslo")
    assert "Saturday, 2026-04-18" in text
    assert "Clock: Europe/Oslo (as given)" in text
    assert "Nearest season: March equinox, 2026-03-20 14:46 UTC (29 days before)" in " ".join(text.split())
    assert "Next equinox: September equinox, 2026-09-23 00:05 UTC" in " ".join(text.split())
    _, clock, utc, _, _ = row(text, "sunrise")
    assert (clock[3:], int(clock[:2]) - int(utc[:2])) == (utc[3:], 2)
    _, clock, utc, direction, height = row(text, "MORNING PHOTOS")
    assert re.fullmatch(r"06:\d\d to 07:\d\d", clock)
    assert re.fullmatch(r"04:\d\d to 05:\d\d", utc)
    assert direction == "69 (ENE) to 89 (E)"
    assert height == "1.0 to 12.0"
    assert "clockwise" in row(text, "distant-sphere")[1]
    # The plane's defaults are one of its ways, named; each way once.
    names = [
        line.split("  ")[0].strip() for line in text.splitlines() if line.strip().startswith("nearby-plane")
    ]
    assert names[0] == "nearby-plane, facing-pole"
    assert len(names) == len(set(names)) > 1


def test_every_day_has_the_same_rows_of_turns(capsys):
    # At 46.5 N the fixed plane's two ways turn by 0.9 deg more or less on one of these days and by 2.8 on the next.
    text = text_of(capsys, "46.5,-30", "2027-04-17..2027-04-18")
    rows = re.findall(r"^ (nearby-plane.*?)  ", text, re.M)
    assert rows[: len(rows) // 2] == rows[len(rows) // 2 :]
    assert rows[0] == "nearby-plane, facing-pole"
    assert "nearby-plane, fixed, no drift" in rows


def test_tropics_with_the_turn_the_other_way(capsys):
    text = text_of(capsys, "-3.1,-60", "2026-12-18", "--zone", "America/Manaus")
    assert re.search(
        r"17\d\.\d deg anticlockwise, or 18\d\.\d deg the other way", row(text, "distant-sphere")[1]
    )
    assert "a third one in between tells the way round" in " ".join(text.split())


def test_far_south(capsys):
    text = text_of(capsys, "-54.3,-36.5", "2026-06-18", "--zone", "UTC-2")
    assert row(text, "sunrise")[3] == "49 (NE)"
    assert row(text, "EVENING PHOTOS")[3].endswith("(NW)")
    assert "anticlockwise" in row(text, "distant-sphere")[1]


def test_polar_day_and_night(capsys):
    text = text_of(capsys, "70,23.7", "2026-06-18", "--zone", "Europe/Oslo")
    assert "sunrise" not in text
    assert "The Sun does not set on this day" in text
    assert row(text, "EVENING PHOTOS")[1].startswith("20:")
    night = text_of(capsys, "78.2,15.6", "2026-12-01", "--zone", "UTC+1")
    assert "No photo is possible" in night
    assert "PHOTOS" not in night


def test_utc_on_another_date_says_so(capsys):
    text = text_of(capsys, "-36.8,174.8", "2026-03-20", "--zone", "Pacific/Auckland")
    assert row(text, "sunrise")[2].startswith("03-19 18:")


def test_many_days_are_rows_and_notes_are_said_once(capsys):
    text = text_of(capsys, "78.2,15.6", "2026-10-01..2026-10-31", "--zone", "Arctic/Longyearbyen")
    assert len(re.findall(r"^ ?2026-10-\d\d  ", text, re.M)) == 31
    assert text.count("The Sun does not rise on this day") == 1
    assert text.count("The clocks have gone back by 1 h") == 1
    assert re.search(r"2026-10-25: The clocks have gone back", text)


def test_rows_of_two_models_fit_into_80_columns(capsys):
    text = text_of(capsys, "46.5,-30", "2027-04-17..2027-04-20")
    table = text.split("Windows by the clock")[1].split("\n2027-04-17 to ")[0]
    assert max(map(len, table.splitlines())) <= 80
    lines = [line.split() for line in table.splitlines()]
    (at,) = [k for k, line in enumerate(lines) if line[:1] == ["2027-04-18"]]
    assert lines[at][1:6] == ["05:08", "05:17–06:23", "17:36–18:43", "18:52", "19:24"]
    assert lines[at + 1] == ["07:08", "07:17–08:23", "19:36–20:43", "20:52", "21:24"]
    assert lines[at + 2] == ["75–87°", "273–285°"]


def test_rows_tell_the_date_of_utc_once(capsys):
    text = text_of(capsys, "-36.8,174.8", "2027-03-17..2027-03-20", "--zone", "Pacific/Auckland")
    assert "03-16 18:28–19:24" in text


def test_zone_by_the_longitude_is_called_that(capsys):
    text = text_of(capsys, "0,-30", "2026-03-20")
    assert "UTC-2, the zone of the longitude only, without summer time" in text


def test_json_and_text_agree(capsys):
    options = ["--zone", "Europe/Oslo"]
    text = text_of(capsys, "59.9,10.75", "2026-04-18", *options)
    arguments = ["--site", "59.9,10.75", "--dates", "2026-04-18", "--evidence", "none", *options, "--json"]
    assert main(["plan", *arguments]) == 0
    day = json.loads(capsys.readouterr().out)["days"][0]
    assert f"{abs(day['turns']['distant-sphere']):.1f} deg clockwise" in text
    assert day["rise_local"].endswith("+02:00")
    assert day["rise_local"][:10] == "2026-04-18"


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--dates", "2026-04-31"], "'dates' must be an existing date"),
        (["--dates", "2026-04-18.."], "'dates' must be an existing date"),
        (["--dates", "2026-04-18..2026-04-17"], "'dates' must not end before they begin"),
        (["--dates", "2026-04-18..2028-04-17"], "'dates' must be 400 days at most"),
        (["--altitudes", "12:1"], "'altitudes' must be LOW:HIGH"),
        (["--altitudes", "1"], "'altitudes' must be LOW:HIGH"),
        (["--zone", "Europe/Olso"], "did you mean 'Europe/Oslo'"),
        (["--zone", "UTC+25"], "'zone' must be within 14 hours"),
        (["--evidence", "some"], "unknown evidence 'some'"),
        (["--spots=-2"], "'spots' must be between 0.01 and 60"),
        (["--place-sigma", "0"], "'place-sigma' must be between"),
        (["--focal-35mm", "400", "--picture", "large"], "'picture' must be WIDTHxHEIGHT"),
        (["--above-horizon-m=-1"], "'above-horizon-m' must be between"),
        (["--calendar", "a.txt"], "'calendar' must be a name that ends in .ics"),
        (["--no-caution"], "No such option"),
    ],
)
def test_bad_input_in_one_line(capsys, more, words):
    assert main(["plan", "--site", "60,10", "--dates", "2026-04-18", "--evidence", "none", *more]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1

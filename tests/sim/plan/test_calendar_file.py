"""The calendar file: what another library reads in it, what it keeps to itself, and its lines."""

from __future__ import annotations

import datetime as dt
import json

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st
from whichsun.sim.cli.main import main
from whichsun.sim.plan.calendar_file import calendar_text, escaped, folded
from whichsun.sim.safety import CAUTIONS

NOW = dt.datetime(2027, 1, 2, 3, 4, 5, tzinfo=dt.UTC)
SITE = "60.1234,10.7512"


@pytest.fixture(scope="module")
def plan():
    import contextlib
    import io

    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        arguments = ["--site", SITE, "--dates", "2027-03-27..2027-03-28", "--zone", "Europe/Oslo"]
        assert main(["plan", *arguments, "--evidence", "none", "--json"]) == 0
    return json.loads(text.getvalue())


def events(text):
    return icalendar.Calendar.from_ical(text).walk("VEVENT")


def test_another_library_reads_the_windows(plan):
    # RFC 5545, read by the package icalendar. The night between the days the clocks went forward.
    text = calendar_text(plan, now=NOW, alarm_min=45)
    read = events(text)
    windows = [window for day in plan["days"] for window in day["windows"]]
    assert len(read) == len(windows) == 4
    for event, window in zip(read, windows, strict=True):
        for key, side in (("DTSTART", "from"), ("DTEND", "to")):
            exact = dt.datetime.fromisoformat(window[f"{side}_utc"])
            moment = event[key].dt
            assert moment.tzinfo is not None
            assert moment.second == 0
            assert abs((moment - exact).total_seconds()) <= 30
        assert event["DTSTAMP"].dt == NOW
        description = str(event["DESCRIPTION"])
        assert all(caution in description for caution in CAUTIONS)
        assert "distant-sphere: 6" in description
        assert "nearby-plane: 1" in description
        (alarm,) = event.walk("VALARM")
        assert alarm["ACTION"] == "DISPLAY"
        assert alarm["TRIGGER"].dt == dt.timedelta(minutes=-45)
    assert len({str(event["UID"]) for event in read}) == 4
    assert "set up after" in str(read[0]["DESCRIPTION"])
    assert "be packed up by" in str(read[1]["DESCRIPTION"])


def test_uids_stay(plan):
    later = NOW + dt.timedelta(days=3)
    first, again = (calendar_text(plan, now=now) for now in (NOW, later))
    assert [str(event["UID"]) for event in events(first)] == [str(event["UID"]) for event in events(again)]
    assert first != again  # DTSTAMP tells them apart


def test_site_is_rounded_unless_asked(plan):
    text = calendar_text(plan, now=NOW)
    joined = text.replace("\r\n ", "")
    assert "60.12" not in joined
    assert "10.75" not in joined
    assert "GEO:60.100000;10.800000" in joined
    exact = calendar_text(plan, now=NOW, exact_site=True).replace("\r\n ", "")
    assert "GEO:60.123400;10.751200" in exact
    assert "60.12340" in exact


def test_lines_are_folded(plan):
    text = calendar_text(plan, now=NOW)
    assert text.endswith("END:VCALENDAR\r\n")
    lines = text.split("\r\n")
    assert max(len(line.encode()) for line in lines) == 75
    assert not any("\n" in line or "\r" in line for line in lines)


@given(st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=300))
def test_folding_and_escaping_are_undone_by_another_library(text):
    line = "DESCRIPTION:" + escaped(text)
    pieces = folded(line)
    assert all(len(piece.encode()) <= 75 for piece in pieces)
    assert all(piece.startswith(" ") for piece in pieces[1:])
    head = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:x", "BEGIN:VEVENT", "UID:1", "DTSTAMP:20270101T000000Z"]
    (read,) = events("\r\n".join([*head, *pieces, "END:VEVENT", "END:VCALENDAR", ""]))
    assert str(read.get("DESCRIPTION", "")) == text


def test_no_alarm(plan):
    assert not icalendar.Calendar.from_ical(calendar_text(plan, now=NOW, alarm_min=0)).walk("VALARM")


def run(tmp_path, *more):
    file = tmp_path / "windows.ics"
    base = ["plan", "--site", SITE, "--dates", "2027-03-27", "--zone", "Europe/Oslo", "--evidence", "none"]
    return file, main([*base, "--calendar", str(file), *more])


def test_command_writes_it_once(tmp_path, capsys):
    file, code = run(tmp_path)
    assert code == 0
    assert f"Calendar: {file}" in capsys.readouterr().out
    before = file.read_bytes()
    assert b"\r\n" in before
    _, code = run(tmp_path)
    assert code == 2
    assert "--overwrite" in capsys.readouterr().err
    assert file.read_bytes() == before
    assert run(tmp_path, "--overwrite", "--exact-site")[1] == 0
    assert file.read_bytes() != before


def test_minutes_are_those_of_the_rounded_site(tmp_path):
    # Two sites that round to one, 5 km apart, cannot be told from their files; with --exact-site they can.
    texts = {}
    for name, site in (("a", "60.06,10.76"), ("b", "60.14,10.84")):
        for more in ((), ("--exact-site",)):
            file = tmp_path / f"{name}{len(more)}.ics"
            base = ["plan", "--site", site, "--dates", "2027-03-25..2027-03-26", "--zone", "Europe/Oslo"]
            assert main([*base, "--evidence", "none", "--calendar", str(file), *more]) == 0
            lines = file.read_text(encoding="utf-8").splitlines()
            texts[name, len(more)] = [line for line in lines if not line.startswith("DTSTAMP")]
    assert texts["a", 0] == texts["b", 0]
    assert texts["a", 1] != texts["b", 1]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--alarm-min=-1"], "alarm-min': Input should be greater than or equal to 0"),
        (["--site", "80,0", "--dates", "2027-12-20"], "'calendar' needs a day with a window"),
    ],
)
def test_bad_input(tmp_path, capsys, more, words):
    file, code = run(tmp_path, *more)
    error = capsys.readouterr().err
    assert code == 2
    assert words in error
    assert error.count("\n") == 1
    assert not file.exists()

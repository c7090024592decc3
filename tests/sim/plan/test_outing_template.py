"""The outing file to be filled in: it can be read as it is, filled in, and measured into."""

import importlib.util
import math
import re
from pathlib import Path

import pytest
from whichsun.models.errors import TomlError
from whichsun.models.place import parse_utc, utc_days_of
from whichsun.sim.outing import Outing, OutingSite, Shot
from whichsun.sim.outing_file import read_outing, write_outing
from whichsun.sim.plan.outing_template import outing_template

_spec = importlib.util.spec_from_file_location(
    "plan_quantities_help", Path(__file__).with_name("quantities_help.py")
)
assert _spec is not None
assert _spec.loader is not None
help_ = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(help_)
SPHERE, the_day = help_.SPHERE, help_.the_day


@pytest.fixture
def path(tmp_path):
    site, zone, day, found = the_day()
    path = tmp_path / "outing.toml"
    path.write_text(outing_template("outing.toml", day.date, site, zone, found, "whichsun test"))
    return path


def filled(text, quantities, zone):
    """Every measurement uncommented and its question marks replaced by what the sphere foresees."""
    tables = re.findall(r"(?:^# .*\n?)+", text, flags=re.MULTILINE)
    assert len(tables) == len(quantities.rows)
    for table, one in zip(tables, quantities.rows, strict=True):
        bare = re.sub(r"^# ", "", table, flags=re.MULTILINE)
        value = one.foreseen[SPHERE].value
        if one.kind in ("rise", "set"):
            times = [value]
        else:
            bare = bare.replace("value = ?", f"value = {value!r}")
            times = [utc_days_of(parse_utc(time)) for time in one.observable.time_utc]
        for time in times:
            bare = bare.replace("??:??:??", zone.local(time).strftime("%H:%M:%S"), 1)
        text = text.replace(table, bare, 1)
    return text


def test_it_is_an_outing_with_a_site_and_nothing_else(path):
    outing = read_outing(path)
    assert outing == Outing(OutingSite(60.0, 11.0))


def test_filled_in_it_holds_what_was_measured(path):
    _, zone, _, found = the_day()
    path.write_text(filled(path.read_text(), found, zone))
    outing = read_outing(path)
    assert len(outing.observables) == len(found.rows)
    for got, one in zip(outing.observables, found.rows, strict=True):
        wanted = one.measured(one.foreseen[SPHERE].value)
        assert (got.kind, got.sigma, got.time_sigma_s) == (wanted.kind, wanted.sigma, wanted.time_sigma_s)
        assert math.isclose(got.value, wanted.value, abs_tol=1e-9)
        for a, b in zip(got.time_utc, wanted.time_utc, strict=True):
            assert abs(utc_days_of(parse_utc(a)) - utc_days_of(parse_utc(b))) < 1.01 / 86400


def test_a_forgotten_number_is_told_with_its_line(path):
    text = path.read_text()
    table = next(iter(re.findall(r"(?:^# .*\n?)+", text, flags=re.MULTILINE)))
    path.write_text(text.replace(table, re.sub(r"^# ", "", table, flags=re.MULTILINE), 1))
    line = 1 + path.read_text().splitlines().index("value = ?  # deg")
    with pytest.raises(TomlError, match=f"line {line}"):
        read_outing(path)


def test_measuring_into_it_keeps_the_comments(path):
    before = [line for line in path.read_text().splitlines() if line.startswith("#")]
    write_outing(Outing(None, (Shot("morning.jpg", "2027-03-20T06:10:00Z"),)), path, overwrite=True)
    assert [line for line in path.read_text().splitlines() if line.startswith("#")] == before
    outing = read_outing(path)
    assert outing.site == OutingSite(60.0, 11.0)
    assert [shot.file for shot in outing.shots] == ["morning.jpg"]


def test_times_carry_the_zones_offset_on_that_day(tmp_path):
    # the day after summer time begins in Oslo (28 March 2027)
    site, zone, day, found = the_day(60.0, 11.0, "2027-03-29", "Europe/Oslo")
    text = outing_template("x.toml", day.date, site, zone, found)
    assert "??:??:??+02:00" in text
    assert "??:??:??+01:00" not in text

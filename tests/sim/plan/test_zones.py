"""Zones by name, by offset and by longitude."""

from __future__ import annotations

import datetime as dt
import sys

import pytest
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.place import Site, parse_utc, utc_days_of
from whichsun.sim.plan.zones import nautical_zone, zone_named, zone_of

NOON = utc_days_of(parse_utc("2027-07-01T12:00Z"))


@pytest.mark.parametrize(
    ("name", "hours"),
    [
        ("UTC", 0),
        ("UTC+2", 2),
        ("UTC-3:30", -3.5),
        ("utc+14", 14),
        ("Europe/Oslo", 2),
        ("Asia/Kathmandu", 5.75),
    ],
)
def test_named(name, hours):
    zone = zone_named(name)
    assert zone.offset_h(NOON) == hours
    assert zone.source == "given"
    assert zone.local(NOON).tzinfo is not None


@pytest.mark.parametrize("name", ["UTC+15", "UTC+2:75", "UTC 2", "UTC+", "UTCx"])
def test_bad_offset(name):
    with pytest.raises(InputError, match="zone"):
        zone_named(name)


@pytest.mark.parametrize("name", ["Europe/Olso", "../etc/passwd", "", "Mars/Base"])
def test_unknown_name(name):
    with pytest.raises(UnknownNameError, match="IANA"):
        zone_named(name)


def test_unknown_name_is_guessed():
    with pytest.raises(UnknownNameError, match="did you mean 'Europe/Oslo'"):
        zone_named("Europe/Olso")


@pytest.mark.parametrize(
    ("longitude", "hours"),
    [(0, 0), (7.4, 0), (7.6, 1), (-7.6, -1), (179, 12), (-179, -12), (181, -12), (-36, -2)],
)
def test_nautical(longitude, hours):
    # Zones 15 degrees wide, centred on multiples of 15 (the practice of ships at sea).
    assert nautical_zone(longitude).offset_h(NOON) == hours


def test_without_the_finder_the_longitude_serves(monkeypatch):
    monkeypatch.setitem(sys.modules, "timezonefinder", None)
    zone = zone_of(Site(60, 10.75))
    assert (zone.name, zone.source) == ("UTC+1", "longitude")
    assert zone.words.endswith("give --zone, or have it found: pip install 'whichsun[zones]'")


def test_at_sea_the_longitude_serves():
    pytest.importorskip("timezonefinder")
    zone = zone_of(Site(0, -30))
    assert (zone.name, zone.source) == ("UTC-2", "longitude")
    assert zone.words.endswith("give --zone")  # there is nothing to install


def test_given_name_comes_first():
    assert zone_of(Site(60, 10.75), "Asia/Tokyo").local(NOON).utcoffset() == dt.timedelta(hours=9)

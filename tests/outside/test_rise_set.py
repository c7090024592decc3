"""Rise and set against almanacs."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.place import Site, datetime_of, parse_utc, utc_days_of
from whichsun.sim.daylight import rise_set

USNO = Path(__file__).parents[1] / "data" / "ephemeris" / "usno_riseset_2019.txt"


def events():
    rows = [line.split() for line in USNO.read_text().splitlines() if not line.startswith("#")]
    return [(float(lon), float(lat), parse_utc(time), kind) for lon, lat, time, kind in rows]


@pytest.mark.parametrize(("longitude", "latitude"), [(-81, 29), (0, 60), (-150, -60)])
def test_naval_observatory_within_a_minute(longitude, latitude):
    # The tables are rounded to the minute; JPL's DE421 agrees within 0.55 min.
    chosen = [event for event in events() if event[:2] == (longitude, latitude)]
    assert len(chosen) > 100
    site, days = Site(latitude, longitude), {}
    for _, _, time, kind in chosen:
        day = (time + dt.timedelta(hours=longitude / 15)).date()
        if day not in days:
            days[day] = rise_set(day, site)
        got = days[day].rise_utc_days if kind == "r" else days[day].set_utc_days
        assert abs(float(got) - utc_days_of(time)) * 1440 < 1, (time, kind)


@pytest.mark.parametrize(
    ("date", "latitude", "rise", "sunset"),
    [
        ("1994-01-02", 35, "07:08:12", "16:59:55"),
        ("1996-07-05", -35, "07:08:15", "17:01:04"),
        ("2004-12-04", -35, "04:38:57", "19:02:02"),
    ],
)
def test_spa_report(date, latitude, rise, sunset):
    # Reda & Andreas, NREL/TP-560-34302, table of rise and set at longitude 0, to the second. Topocentric
    # parallax (8.8 arcsec of altitude) delays our rise by 0.7 s; with rounding and Delta T: 2 s.
    got = rise_set(date, Site(latitude, 0.0))
    for days, text in ((got.rise_utc_days, rise), (got.set_utc_days, sunset)):
        expected = parse_utc(f"{date}T{text}Z")
        assert abs((datetime_of(float(days)) - expected).total_seconds()) < 2


def test_almanac_for_computers():
    # Almanac for Computers 1990: Wayne, New Jersey, 1990-06-25, rise 5:26 EDT, rounded to the minute.
    got = rise_set("1990-06-25", Site(40.9, -74.3))
    expected = parse_utc("1990-06-25T05:26:00-04:00")
    assert abs((datetime_of(float(got.rise_utc_days)) - expected).total_seconds()) < 60


def test_midnight_sun_and_polar_night():
    # Naval Observatory 2022 tables: at 88 S 45 E the Sun stays up in January and down in June.
    site = Site(np.array([-88.0, 88.0]), 45.0)
    for date in ("2022-01-10", "2022-06-10"):
        assert not np.any(rise_set(date, site).happens)

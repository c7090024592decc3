"""What a plan foresees for stick, watch and compass, against JPL's ephemeris and an almanac."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.distant_sphere import DistantSphere
from whichsun.models.place import Site, parse_utc, utc_days_of
from whichsun.sim.plan.observables import DayTimes, day_quantities
from whichsun.sim.plan.windows import sun_day_plan
from whichsun.sim.plan.zones import zone_named
from whichsun.sim.rotation import DEFAULT_LAW

DATA = Path(__file__).parents[1] / "data" / "ephemeris"


def foreseen(site, times):
    """Kind and label of when to the value of the distant sphere."""
    found = day_quantities([(DistantSphere(), {})], site, times, law=DEFAULT_LAW)
    return {(one.kind, one.method.at): one.foreseen["distant-sphere"].value for one in found.rows}


def horizons():
    """UTC days, azimuth and refracted elevation of the table's daylight rows."""
    lines = (DATA / "horizons_refracted_equinox.txt").read_text().splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith("$$SOE")) + 1
    rows = []
    for line in lines[start:]:
        if line.startswith("$$"):
            break
        day, clock, *_, azimuth, elevation = line.split()
        month = dt.datetime.strptime(day, "%Y-%b-%d").strftime("%Y-%m-%d")
        rows.append((utc_days_of(parse_utc(f"{month}T{clock}Z")), float(azimuth), float(elevation)))
    return [row for row in rows if row[2] > 2]


def test_altitude_azimuth_and_noon_against_horizons():
    # 0 N 0 E, 2019-03-19. Both refract in their own way: 0.15' apart at 10 deg, 0.5' at 3 deg (checks of the
    # atmosphere); times of a plan are whole seconds.
    rows = [row for row in horizons() if row[0] < utc_days_of(parse_utc("2019-03-20T00:00Z"))]
    noon = utc_days_of(parse_utc("2019-03-19T12:08Z"))
    for (morning, az_m, el_m), (evening, az_e, el_e) in zip(rows[:12], rows[::-1][:12], strict=True):
        got = foreseen(Site(0, 0), DayTimes(noon, morning=morning, evening=evening))
        for at, azimuth, elevation in (("morning", az_m, el_m), ("evening", az_e, el_e)):
            assert got["azimuth", (at,)] == pytest.approx(azimuth, abs=0.002)
            assert got["altitude", (at,)] == pytest.approx(elevation, abs=0.01)
    # The highest of all rows within 24 minutes of noon is below the day's highest, by less than the Sun sinks in 12
    # minutes from its top near the zenith (3 degrees).
    top = foreseen(Site(0, 0), DayTimes(noon))["noon-altitude", ("noon",)]
    assert 0 <= top - max(row[2] for row in rows) < 3
    # apparent declination by the table: -0.5591 at 12:00, -0.5525 at 12:24, so -0.5569 at the transit, 12:08
    assert top == pytest.approx(90 - 0.5569, abs=0.003)


@pytest.mark.parametrize(("longitude", "latitude"), [(-81, 29), (0, 60), (-150, -60)])
def test_rise_set_and_day_length_against_the_naval_observatory(longitude, latitude):
    # Rounded to the minute by them (0.5), and the centre at -50' against our upper limb under the formula's
    # refraction and the day's own semidiameter: up to 1.2', at 60 deg and the solstice 5.1' a minute: 0.25 min.
    rows = [line.split() for line in (DATA / "usno_riseset_2019.txt").read_text().splitlines()]
    days: dict[dt.date, dict[str, float]] = {}
    for lon, lat, time, kind in (row for row in rows if row[0] != "#"):
        if (float(lon), float(lat)) == (longitude, latitude):
            moment = parse_utc(time)
            date = (moment + dt.timedelta(hours=longitude / 15)).date()
            days.setdefault(date, {})[kind] = utc_days_of(moment)
    site, zone = Site(latitude, longitude), zone_named(f"UTC{round(longitude / 15):+d}")
    checked = 0
    for date, told in sorted(days.items())[::3]:
        day = sun_day_plan(date, site, zone)
        got = foreseen(site, DayTimes(day.noon, day.rise, day.set))
        for kind, letter in (("rise", "r"), ("set", "s")):
            if letter in told:
                assert abs(got[kind, (kind,)] - told[letter]) * 1440 < 0.8, (date, kind)
                checked += 1
        if len(told) == 2:
            assert got["day-length", ("noon",)] == pytest.approx((told["s"] - told["r"]) * 24, abs=1.6 / 60)
    assert checked > 30


def test_azimuth_of_rise_against_the_formula():
    # cos A = sin(dec)/cos(lat) for a centre on the geometric horizon; from there to the visible rise the Sun goes
    # 50' lower along a path that leaves the horizon at the angle acos(sin(lat)/cos(dec)).
    # Declination 0 at the equinox of 2026-03-20 14:46 UTC (JPL DE421); at 60 N 0 E the rise is 8.7 h before it:
    # -0.143 deg (0.0165 deg/h).
    site = Site(60.0, 0.0)
    day = sun_day_plan(dt.date(2026, 3, 20), site, zone_named("UTC"))
    got = foreseen(site, DayTimes(day.noon, day.rise, day.set))["rise-azimuth", ("noon",)]
    at_horizon = np.rad2deg(np.arccos(np.sin(np.deg2rad(-0.143)) / np.cos(np.deg2rad(60.0))))
    shift = 50 / 60 * np.tan(np.deg2rad(60.0))
    # up to 1' of refraction and semidiameter of the day
    assert got == pytest.approx(at_horizon - shift, abs=0.03)

"""Windows at every kind of place: limits kept, polar days and nights, low and high Suns, clocks a day off."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.distant_sphere import DistantSphere
from whichsun.models.errors import InputError
from whichsun.models.geometry import view_of
from whichsun.models.observables import altitude, azimuth
from whichsun.models.place import Instants, Site
from whichsun.sim.atmosphere import STANDARD_C, apparent_altitude
from whichsun.sim.daylight import rise_set
from whichsun.sim.plan.windows import noon_of, pressure_at, sun_day_plan
from whichsun.sim.plan.zones import nautical_zone, zone_named

UTC = zone_named("UTC")


def planned(latitude, longitude, date, **options):
    zone = nautical_zone(longitude)
    return sun_day_plan(dt.date.fromisoformat(date), Site(latitude, longitude), zone, **options)


def heights(site, days, hpa):
    view = view_of(DistantSphere(), Instants.from_utc_days(days), site)
    return np.rad2deg(apparent_altitude(altitude(view), hpa, STANDARD_C)), np.rad2deg(azimuth(view))


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.floats(0, 4000),
    st.integers(0, 364),
    st.floats(0, 8),
    st.floats(2, 30),
)
def test_the_sun_keeps_the_limits_in_every_window(latitude, longitude, height_m, number, low, span):
    site, zone = Site(latitude, longitude, height_m), nautical_zone(longitude)
    date = dt.date(2026, 1, 1) + dt.timedelta(days=number)
    day = sun_day_plan(date, site, zone, low_deg=low, high_deg=low + span)
    assert zone.local(day.noon).date() == date
    for window in day.windows:
        inside = np.linspace(window.start, window.end, 50)
        high, bearing = heights(site, inside, pressure_at(height_m))
        assert np.all((high > low - 0.01) & (high < low + span + 0.01))
        assert (window.altitude_from_deg, window.altitude_to_deg) == pytest.approx(
            (high[0], high[-1]), abs=1e-6
        )
        assert window.azimuth_to_deg == pytest.approx(bearing[-1], abs=1e-6)
        assert day.noon - 0.5 <= window.start < window.end <= day.noon + 0.5
        at_ends = {"from": high[0], "to": high[-1]}
        bottom, top = ("from", "to") if window.name == "morning" else ("to", "from")
        if "midnight" not in window.open_at:
            assert at_ends[bottom] == pytest.approx(low, abs=0.005)
        if "noon" not in window.open_at:
            assert at_ends[top] == pytest.approx(low + span, abs=0.005)
    if len(day.windows) == 2:
        assert day.windows[0].end <= day.windows[1].start


@pytest.mark.parametrize(("latitude", "date"), [(60, "2027-03-20"), (-3, "2027-06-21"), (-54, "2026-12-21")])
def test_rise_and_set_are_those_of_sweep(latitude, date):
    # At height 0 and without dip: the same definition, found by another search.
    day, other = planned(latitude, 10, date), rise_set(date, Site(latitude, 10))
    assert day.rise == pytest.approx(float(other.rise_utc_days), abs=0.1 / 86400)
    assert day.set == pytest.approx(float(other.set_utc_days), abs=0.1 / 86400)
    assert day.noon == pytest.approx(float(other.noon_utc_days), abs=1e-9)


def test_dip_and_thin_air():
    # From 100 m above the sea the horizon lies 1.76' sqrt(100) = 17.6' lower (checks: dip with refraction): at the
    # equator and equinox, where the Sun rises upright by 15' a minute of time, 70 s earlier.
    level, above = planned(0, 0, "2027-03-20"), planned(0, 0, "2027-03-20", above_horizon_m=100)
    assert (level.rise - above.rise) * 86400 == pytest.approx(17.6 * 4, abs=1)
    assert (above.set - level.set) * 86400 == pytest.approx(17.6 * 4, abs=1)
    # At 3000 m the standard atmosphere has 70.1 kPa of 101.3 (ISA tables): 30.8 % less of 34', 42 s later.
    site = Site(0, 0, 3000)
    high = sun_day_plan(dt.date(2027, 3, 20), site, UTC)
    assert pressure_at(3000) / pressure_at(0) == pytest.approx(70.1 / 101.325, abs=2e-4)
    assert (high.rise - level.rise) * 86400 == pytest.approx(34 * (1 - 70.1 / 101.325) * 4, abs=1)


def test_polar_day_has_windows_round_midnight():
    day = planned(70, 23.7, "2027-06-18")
    assert np.isnan([day.rise, day.set, day.dawn, day.dusk]).all()
    morning, evening = day.windows
    assert morning.open_at == evening.open_at == "midnight"
    assert morning.start == pytest.approx(day.noon - 0.5, abs=1e-9)
    assert evening.end == pytest.approx(day.noon + 0.5, abs=1e-9)
    # The Sun's lowest: latitude 70, declination 23.4: 3.4 deg and 0.2 of refraction.
    assert day.midnight_altitude_deg == pytest.approx(3.6, abs=0.1)


def test_polar_night_has_none():
    day = planned(78, 15.6, "2026-12-01")
    assert day.windows == ()
    assert np.isnan([day.rise, day.set, day.dawn, day.dusk]).all()
    twilight = planned(70, 23.7, "2026-12-10")  # no Sun, but the twilight of noon
    assert np.isnan([twilight.rise, twilight.set]).all()
    assert np.isfinite([twilight.dawn, twilight.dusk]).all()


def test_low_sun_joins_the_windows_at_noon():
    day = planned(60, 10.75, "2026-12-21")
    morning, evening = day.windows
    assert morning.open_at == evening.open_at == "noon"
    assert morning.end == pytest.approx(day.noon, abs=2 / 1440)
    assert evening.start == pytest.approx(day.noon, abs=2 / 1440)
    assert day.noon_altitude_deg < 12


def test_high_sun_all_day_has_none():
    day = planned(89, 0, "2027-06-21")
    assert day.windows == ()
    assert day.midnight_altitude_deg > 12


def test_zone_a_day_off_its_longitude():
    # Line Islands keep UTC+14 at 157 W since 1995: their noon of a date is that of the day before by the longitude.
    zone, site = zone_named("Pacific/Kiritimati"), Site(1.87, -157.4)
    day = sun_day_plan(dt.date(2027, 3, 20), site, zone)
    assert (
        zone.local(day.noon).date() == zone.local(day.rise).date() == zone.local(day.set).date() == day.date
    )
    with pytest.raises(InputError, match="must be days that exist in Pacific/Apia"):
        noon_of(dt.date(2011, 12, 30), Site(-13.8, -171.8), zone_named("Pacific/Apia"))


def test_no_date_is_left_out_where_noon_comes_at_midnight():
    # At 180 degrees, clocks on UTC: the true noon wanders about midnight with the equation of time.
    site = Site(10, 180)
    noons = [noon_of(dt.date(2026, 1, 1) + dt.timedelta(days=i), site, UTC) for i in range(365)]
    steps = np.diff(noons)
    assert np.all(np.abs(steps - 1) < 31 / 86400)  # the equation of time changes by 30 s a day at most

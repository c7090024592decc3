from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.distant_sphere import DistantSphere
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.observables import altitude
from whichsun.models.place import Instants, Site, datetime_of
from whichsun.sim.daylight import HORIZONS_DEG, parse_date, rise_set


@settings(max_examples=30, deadline=None)
@given(
    day=st.dates(min_value=parse_date("1990-01-01"), max_value=parse_date("2026-12-31")),
    longitude=st.floats(-180, 180),
    horizon=st.sampled_from(sorted(HORIZONS_DEG)),
)
def test_the_sun_stands_on_the_horizon_rise_before_set(day, longitude, horizon):
    latitudes = np.array([-89.0, -70, -45, 0, 30, 60, 66.5, 75])
    site = Site(latitudes, longitude)
    got = rise_set(day, site, horizon)
    for days, sign in ((got.rise_utc_days, 1), (got.set_utc_days, -1)):
        there = np.isfinite(days)
        view = DistantSphere().view(
            Instants.from_utc_days(days[there]), Site(latitudes[there], longitude), {}
        )
        # 0.005 arcsec
        assert np.rad2deg(altitude(view)) == pytest.approx(HORIZONS_DEG[horizon], abs=1.5e-6)
        later = Instants.from_utc_days(days[there] + 1e-4)
        view = DistantSphere().view(later, Site(latitudes[there], longitude), {})
        assert np.all(sign * (np.rad2deg(altitude(view)) - HORIZONS_DEG[horizon]) > 0)
    both = got.happens
    assert np.all(got.rise_utc_days[both] < got.noon_utc_days[both])
    assert np.all(got.set_utc_days[both] > got.noon_utc_days[both])
    assert got.instants().shape == (len(latitudes), 2)


def test_the_day_is_that_of_local_mean_time():
    for longitude in (-179.0, -150.0, 0.0, 91.0, 179.0):
        got = rise_set("2024-03-20", Site(10.0, longitude))
        for days in (got.rise_utc_days, got.set_utc_days):
            local = datetime_of(float(days) + longitude / 360)
            assert local.date().isoformat() == "2024-03-20"


def test_a_longitude_and_its_full_turn_are_one_place():
    a, b = (rise_set("2024-03-20", Site(50.0, lon)) for lon in (-90.0, 270.0))
    # The same meridian counts its day from another midnight: one civil day earlier.
    assert float(a.rise_utc_days - b.rise_utc_days) == pytest.approx(1, abs=0.01)


def test_midnight_sun_polar_night_and_between():
    site = Site(np.array([60.0, 70, 80]), 0.0)
    june, december = rise_set("2024-06-20", site), rise_set("2024-12-21", site)
    assert june.happens.tolist() == [True, False, False]
    assert december.happens.tolist() == [True, False, False]


@pytest.mark.parametrize("date", ["2027-02-30", "yesterday", "", "2027-13-01", "20.3.2027"])
def test_dates_that_do_not_exist(date):
    with pytest.raises(InputError, match="must be an existing date"):
        rise_set(date, Site(0.0, 0.0))


def test_unknown_horizon():
    with pytest.raises(UnknownNameError, match="did you mean 'visible'"):
        rise_set("2024-03-20", Site(0.0, 0.0), "visibel")

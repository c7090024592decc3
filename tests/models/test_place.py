"""Sites and instants: what is taken, what is refused, and the time scales."""

import datetime as dt

import numpy as np
import pytest
from whichsun.models.errors import InputError, WhichsunWarning
from whichsun.models.place import Instants, Site, delta_t_s, iso_utc, utc_days_of


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "height_m", "name"),
    [
        (91, 0, 0, "latitude_deg"),
        (float("nan"), 0, 0, "latitude_deg"),
        (0, 361, 0, "longitude_deg"),
        (0, float("inf"), 0, "longitude_deg"),
        (0, 0, -1, "height_m"),
        ([10, 20, 95], 0, 0, "latitude_deg"),
    ],
)
def test_wrong_sites(latitude_deg, longitude_deg, height_m, name):
    with pytest.raises(InputError, match=name):
        Site(latitude_deg, longitude_deg, height_m)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2027-02-30T06:00:00Z", "existing ISO 8601"),
        ("2027-03-20T06:00:00", "offset or Z"),
        ("yesterday", "existing ISO 8601"),
        ("1500-01-01T00:00:00Z", "between the years"),
    ],
)
def test_wrong_times(text, words):
    with pytest.raises(InputError, match=words):
        Instants.from_utc(text)


def test_offset_and_round_trip():
    moment = Instants.from_utc("2027-03-20T08:10:00.250+02:00")
    assert moment.iso() == ["2027-03-20T06:10:00.250Z"]
    aware = dt.datetime(2027, 3, 20, 6, 10, tzinfo=dt.UTC)
    assert iso_utc(utc_days_of(aware)) == "2027-03-20T06:10:00Z"


def test_scales_against_astropy():
    # astropy with the same IERS table is the reference; the two must agree to interpolation of UT1 (0.1 ms)
    # across leap seconds (end of 1998, 2016). Before 1972 a UTC day was longer than 86,400 s by up to 2.6 ms, which
    # we do not follow within the day.
    import astropy_iers_data
    from astropy.time import Time
    from astropy.utils import iers

    stamps = [
        "1965-03-01T10:00:00",
        "1970-07-01T00:00:00",
        "1998-12-31T18:00:00",
        "2017-01-01T06:00:00",
        "2024-07-13T00:00:00",
    ]
    moments = Instants.from_utc([stamp + "Z" for stamp in stamps])
    with iers.conf.set_temp("auto_download", False):
        times = Time(stamps, scale="utc")
        times.delta_ut1_utc = iers.IERS_B.open(astropy_iers_data.IERS_B_FILE).ut1_utc(times)
        tt, ut1 = times.tt, times.ut1
    ours_tt_ut1 = (moments.tt_days - moments.ut1_days) * 86400
    theirs_tt_ut1 = ((tt.jd1 - ut1.jd1) + (tt.jd2 - ut1.jd2)) * 86400
    bound_s = np.array([2.6e-3, 2.6e-3, 1.5e-4, 1.5e-4, 1.5e-4])
    assert np.all(np.abs(ours_tt_ut1 - theirs_tt_ut1) < bound_s)
    ut1_days = (ut1.jd1 - 2451545.0) + ut1.jd2
    assert np.all(np.abs(moments.ut1_days - ut1_days) * 86400 < bound_s)


@pytest.mark.parametrize("stamp", ["1700-06-01T00:00:00Z", "1950-06-01T00:00:00Z", "2035-09-01T00:00:00Z"])
def test_outside_the_tables_utc_is_ut1(stamp):
    with pytest.warns(WhichsunWarning, match=f"year {stamp[:4]} lies outside the UT1 tables"):
        moment = Instants.from_utc(stamp)
    assert moment.ut1_days == moment.utc_days


@pytest.mark.parametrize(
    ("year", "seconds", "tolerance"),
    [
        # Espenak & Meeus 2006 fit these measured values (Morrison & Stephenson 2004 and the Astronomical Almanac,
        # from memory): 1700: 9, 1800: 13.7, 1900: -2.7, 1950: 29.1, 1980: 50.5, 2000: 63.8 s. Fit error below 1 s.
        (1700, 9, 1.0),
        (1800, 13.7, 0.5),
        (1900, -2.7, 0.5),
        (1950, 29.1, 0.5),
        (1980, 50.5, 0.5),
        (2000, 63.8, 0.3),
    ],
)
def test_delta_t(year, seconds, tolerance):
    assert delta_t_s(year) == pytest.approx(seconds, abs=tolerance)


def test_delta_t_pieces_join():
    # neighbouring polynomials meet at their seams; Espenak & Meeus let them differ by under half a second
    for seam in (1700, 1800, 1860, 1900, 1920, 1941, 1961, 1986, 2005, 2050, 2150):
        assert abs(delta_t_s(seam - 1e-6) - delta_t_s(seam + 1e-6)) < 0.5


def test_given_ut1_is_used():
    moment = Instants.from_utc("2003-10-17T19:30:30Z", ut1_utc_s=0.0, tt_ut1_s=67.0)
    assert moment.ut1_days == moment.utc_days
    assert (moment.tt_days - moment.ut1_days) * 86400 == pytest.approx(67, abs=1e-6)
    assert np.shape(moment.ut1_days) == ()

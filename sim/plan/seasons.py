"""Equinoxes and solstices: when the Sun's apparent longitude is a multiple of 90 degrees.

The apparent geocentric longitude (aberration and nutation included) referred to the true equinox and ecliptic of date,
as the almanacs define the seasons (Meeus, Astronomical Algorithms, chapter 27). At an equinox the declination is then
zero to the arcsecond, since the Sun's latitude is below 1.2 arcsec.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import erfa
import numpy as np

from ...models.ephemeris import celestial_sun
from ...models.errors import InputError, WhichsunWarning
from ...models.geometry import Array
from ...models.observables import wrap_angle
from ...models.place import J2000_JD, Instants

NAMES = ("March equinox", "June solstice", "September equinox", "December solstice")
"""At apparent longitudes 0, 90, 180, 270 degrees."""

_MEAN_RATE = 2 * np.pi / 365.2422  # radians a day
_QUARTER_DAYS = 365.2422 / 4
_FIRST_MARCH = 79.3  # days from 2000-01-01 12:00 of the March equinox of 2000, roughly
_FIRST_YEAR, _LAST_YEAR = 1601, 2399  # the Sun is known from 1600 to 2400


@dataclass(frozen=True)
class Season:
    """An equinox or a solstice: its name of `NAMES`, and UTC days from 2000-01-01 12:00."""

    name: str
    utc_days: float

    @property
    def is_equinox(self) -> bool:
        """Whether day and night are equal then."""
        return self.name.endswith("equinox")


def apparent_longitude(tt_days: Array) -> Array:
    """Apparent longitude of the Sun, radians, 0 to 2 pi; true equinox and ecliptic of date.

    Parameters
    ----------
    tt_days : ndarray, shape (n,)
        Days of TT from J2000.0.
    """
    tt = np.atleast_1d(np.asarray(tt_days, dtype=float))
    intermediate = celestial_sun(tt)[:, :3]
    celestial = np.einsum("nji,nj->ni", erfa.c2i06a(J2000_JD, tt), intermediate)
    x, y, z = np.moveaxis(np.einsum("nij,nj->ni", erfa.pnm06a(J2000_JD, tt), celestial), -1, 0)
    tilt = erfa.obl06(J2000_JD, tt) + erfa.nut06a(J2000_JD, tt)[1]
    return np.arctan2(y * np.cos(tilt) + z * np.sin(tilt), x) % (2 * np.pi)


def seasons(year: int) -> tuple[Season, ...]:
    """The four seasons of a calendar year (UTC), to about a second from 1900 to where the UT1 tables reach.

    Later ones lack the leap seconds that nobody knows yet (some seconds in ten years), earlier ones the Earth's orbit
    to the arcsecond (minutes).

    Raises
    ------
    InputError
        A year outside 1601 to 2399.
    """
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        raise InputError("dates", f"must lie between the years {_FIRST_YEAR} and {_LAST_YEAR}", year)
    days = _FIRST_MARCH + (year - 2000) * 365.2422 + np.arange(4) * _QUARTER_DAYS
    wanted = np.arange(4) * np.pi / 2
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", WhichsunWarning
        )  # the days of a plan tell of themselves where tables end
        for _ in range(6):
            # The mean rate is off by 3 % at most: every step leaves a thirtieth of the error.
            instants = Instants.from_utc_days(days)
            days = days - wrap_angle(apparent_longitude(instants.tt_days) - wanted) / _MEAN_RATE
    return tuple(Season(name, float(day)) for name, day in zip(NAMES, days, strict=True))


def seasons_near(first: float, last: float) -> tuple[Season, ...]:
    """The seasons from the last one before `first` to the next equinox after `last` (UTC days), in their order.

    Fewer at the ends of the years that are known.
    """
    start, end = (round(2000 + days / 365.2422) for days in (first, last))
    years = range(max(start - 1, _FIRST_YEAR), min(end + 1, _LAST_YEAR) + 1)
    known = [season for year in years for season in seasons(year)]
    begin = max((s.utc_days for s in known if s.utc_days < first), default=first)
    finish = min((s.utc_days for s in known if s.is_equinox and s.utc_days >= last), default=last)
    return tuple(season for season in known if begin <= season.utc_days <= finish)

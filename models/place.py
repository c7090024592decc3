"""Sites and instants: the two things a model is asked for, as arrays that broadcast.

Time scales. Instants are UTC. UT1 comes from the IERS tables that the astropy-iers-data package carries,
never from the network. Before 1962 and beyond the bundled predictions the instant is taken as UT1 and
TT - UT1 follows the polynomials of Espenak & Meeus (NASA/TP-2006-214141, "Five Millennium Canon of Solar
Eclipses: -1999 to +3000"; https://eclipse.gsfc.nasa.gov/LEcat5/deltatpoly.html), with one warning.
"""

from __future__ import annotations

import datetime as dt
import functools
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from .errors import InputError, WhichsunWarning

Array = npt.NDArray[np.float64]

J2000_JD = 2451545.0
_J2000 = dt.datetime(2000, 1, 1, 12, tzinfo=dt.UTC)
_DAY_S = 86400.0
_FIRST_YEAR, _LAST_YEAR = 1600, 2400


@dataclass(frozen=True)
class Site:
    """One or many places on the Earth, WGS84; the fields broadcast against each other.

    Parameters
    ----------
    latitude_deg : float or ndarray
        Geodetic latitude, north positive, -90 to 90.
    longitude_deg : float or ndarray
        East positive; any turn is accepted from -360 to 360.
    height_m : float or ndarray
        Height above the ellipsoid, 0 to 9000.

    Raises
    ------
    InputError
        A field is not finite or out of range.
    """

    latitude_deg: Any
    longitude_deg: Any
    height_m: Any = 0.0

    def __post_init__(self) -> None:
        for name, low, high in (
            ("latitude_deg", -90.0, 90.0),
            ("longitude_deg", -360.0, 360.0),
            ("height_m", 0.0, 9000.0),
        ):
            value = np.asarray(getattr(self, name), dtype=float)
            wrong = ~((value >= low) & (value <= high))
            if np.any(wrong):
                rule = f"must be between {low:g} and {high:g}"
                raise InputError(name, rule, float(value[wrong].flat[0]) if value.ndim else float(value))
            object.__setattr__(self, name, value)

    @property
    def latitude(self) -> Array:
        """Geodetic latitude in radians."""
        return np.deg2rad(self.latitude_deg)

    @property
    def longitude(self) -> Array:
        """Longitude in radians, east positive."""
        return np.deg2rad(self.longitude_deg)


@dataclass(frozen=True)
class Instants:
    """One or many instants, as days from J2000.0 in three scales, arrays of one shape.

    Build it with :meth:`from_utc` or :meth:`from_utc_days`. A float64 holds 2 microseconds over 200 years.

    Parameters
    ----------
    utc_days, ut1_days, tt_days : ndarray
        Days from 2000-01-01 12:00 of the scale itself.
    """

    utc_days: Array
    ut1_days: Array
    tt_days: Array

    @classmethod
    def from_utc(
        cls,
        utc: str | dt.datetime | Sequence[str | dt.datetime],
        *,
        ut1_utc_s: float | Array | None = None,
        tt_ut1_s: float | Array | None = None,
    ) -> Instants:
        """From ISO 8601 text with offset (or ``Z``) or aware datetimes, one or a sequence.

        See :meth:`from_utc_days` for the keywords. Raises :class:`InputError` on a bad or offset-less time.
        """
        single = isinstance(utc, (str, dt.datetime))
        moments = [parse_utc(utc)] if single else [parse_utc(one) for one in utc]  # type: ignore[list-item,arg-type]
        days = np.array([utc_days_of(moment) for moment in moments])
        return cls.from_utc_days(days[0] if single else days, ut1_utc_s=ut1_utc_s, tt_ut1_s=tt_ut1_s)

    @classmethod
    def from_utc_days(
        cls,
        utc_days: Any,
        *,
        ut1_utc_s: float | Array | None = None,
        tt_ut1_s: float | Array | None = None,
    ) -> Instants:
        """From UTC days since 2000-01-01 12:00 UTC, each day 86,400 s long.

        Parameters
        ----------
        utc_days : array_like
        ut1_utc_s : float or ndarray, optional
            UT1 - UTC instead of the tables' value.
        tt_ut1_s : float or ndarray, optional
            TT - UT1 instead of the tables' or the polynomial's value.
        """
        utc = np.asarray(utc_days, dtype=float)
        if not np.all(np.isfinite(utc)):
            raise InputError("utc_days", "must be finite", float(utc[~np.isfinite(utc)].flat[0]))
        years = 2000 + utc / 365.25
        if np.any((years < _FIRST_YEAR) | (years > _LAST_YEAR + 1)):
            raise InputError(
                "time",
                f"must lie between the years {_FIRST_YEAR} and {_LAST_YEAR}",
                round(float(years.flat[0])),
            )
        table_ut1, tai_utc = _earth_rotation(utc, ut1_utc_s is None)
        ut1_utc = table_ut1 if ut1_utc_s is None else np.asarray(ut1_utc_s, dtype=float)
        ut1 = utc + ut1_utc / _DAY_S
        if tt_ut1_s is not None:
            tt = ut1 + np.asarray(tt_ut1_s, dtype=float) / _DAY_S
        else:
            tt = np.where(
                np.isnan(tai_utc), ut1 + delta_t_s(years) / _DAY_S, utc + (tai_utc + 32.184) / _DAY_S
            )
        return cls(utc, np.broadcast_to(ut1, utc.shape).copy(), np.broadcast_to(tt, utc.shape).copy())

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the arrays."""
        return self.utc_days.shape

    def __getitem__(self, key: Any) -> Instants:
        """Index the arrays."""
        return Instants(self.utc_days[key], self.ut1_days[key], self.tt_days[key])

    def iso(self) -> list[str]:
        """ISO 8601 text in UTC of all instants, flattened, to the second or millisecond."""
        return [iso_utc(float(day)) for day in np.ravel(self.utc_days)]


def parse_utc(value: str | dt.datetime, name: str = "time") -> dt.datetime:
    """An aware datetime in UTC from ISO 8601 text; a time without offset is refused."""
    if isinstance(value, str):
        try:
            value = dt.datetime.fromisoformat(value.strip())
        except ValueError:
            raise InputError(
                name, "must be an existing ISO 8601 date and time", value, "write 2027-03-20T06:10:00Z"
            ) from None
    if value.tzinfo is None:
        raise InputError(
            name,
            "must have an offset or Z",
            value.isoformat(),
            "write 2027-03-20T06:10:00+02:00 for local time",
        )
    return value.astimezone(dt.UTC)


def utc_days_of(moment: dt.datetime) -> float:
    """UTC days since 2000-01-01 12:00 of an aware datetime."""
    delta = moment - _J2000
    return delta.days + (delta.seconds + delta.microseconds * 1e-6) / _DAY_S


def datetime_of(utc_days: float) -> dt.datetime:
    """Aware datetime of UTC days since 2000-01-01 12:00, rounded to the millisecond."""
    return _J2000 + dt.timedelta(milliseconds=round(utc_days * _DAY_S * 1000))


def iso_utc(utc_days: float) -> str:
    """ISO 8601 text ending in Z; milliseconds only where they are not zero."""
    moment = datetime_of(utc_days).replace(tzinfo=None)
    return moment.isoformat(timespec="milliseconds" if moment.microsecond else "seconds") + "Z"


def delta_t_s(year: Any) -> Array:
    """TT - UT1 in seconds by Espenak & Meeus 2006, 1600 to 2400 (decimal years)."""
    y = np.asarray(year, dtype=float)
    edges = (1700, 1800, 1860, 1900, 1920, 1941, 1961, 1986, 2005, 2050, 2150)
    pieces = (
        ((y - 1600), (120, -0.9808, -0.01532, 1 / 7129)),
        ((y - 1700), (8.83, 0.1603, -0.0059285, 0.00013336, -1 / 1174000)),
        (
            (y - 1800),
            (
                13.72,
                -0.332447,
                0.0068612,
                0.0041116,
                -0.00037436,
                0.0000121272,
                -0.0000001699,
                0.000000000875,
            ),
        ),
        ((y - 1860), (7.62, 0.5737, -0.251754, 0.01680668, -0.0004473624, 1 / 233174)),
        ((y - 1900), (-2.79, 1.494119, -0.0598939, 0.0061966, -0.000197)),
        ((y - 1920), (21.20, 0.84493, -0.076100, 0.0020936)),
        ((y - 1950), (29.07, 0.407, -1 / 233, 1 / 2547)),
        ((y - 1975), (45.45, 1.067, -1 / 260, -1 / 718)),
        ((y - 2000), (63.86, 0.3345, -0.060374, 0.0017275, 0.000651814, 0.00002373599)),
        ((y - 2000), (62.92, 0.32217, 0.005589)),
    )
    values = [np.polynomial.polynomial.polyval(t, coefficients) for t, coefficients in pieces]
    u2 = ((y - 1820) / 100) ** 2
    values += [-20 + 32 * u2 - 0.5628 * (2150 - y), -20 + 32 * u2]
    return np.asarray(np.choose(np.digitize(y, edges), values), dtype=float)


@functools.cache
def _iers_tables() -> tuple[Array, Array]:
    """MJD and UT1 - UTC (s) of the bundled tables: final values where there are any, then predictions."""
    import astropy_iers_data
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        final = iers.IERS_B.open(astropy_iers_data.IERS_B_FILE)
        rapid = iers.IERS_A.open(astropy_iers_data.IERS_A_FILE)
    (mjd_b, ut1_b), (mjd_a, ut1_a) = (
        (np.asarray(table["MJD"], dtype=float), np.asarray(table["UT1_UTC"], dtype=float))
        for table in (final, rapid)
    )
    later = (mjd_a > mjd_b[-1]) & np.isfinite(ut1_a)
    return np.append(mjd_b, mjd_a[later]), np.append(ut1_b, ut1_a[later])


def _tai_utc(utc: Array) -> Array:
    """TAI - UTC (s) by ERFA's leap-second table, from 1960 on."""
    import erfa

    year, month, day, fraction = erfa.jd2cal(J2000_JD, utc)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        return np.asarray(erfa.dat(year, month, day, fraction), dtype=float)


@functools.cache
def _ut1_tai_table() -> tuple[Array, Array]:
    """UTC days from J2000 and UT1 - TAI (s), which does not jump at a leap second."""
    mjd, ut1_utc = _iers_tables()
    days = mjd - (J2000_JD - 2400000.5)
    return days, ut1_utc - _tai_utc(days)


def _earth_rotation(utc: Array, wants_ut1: bool) -> tuple[Array, Array]:
    """UT1 - UTC and TAI - UTC in seconds; TAI - UTC is nan where UTC is taken as UT1."""
    days, ut1_tai = _ut1_tai_table()
    inside = (utc >= days[0]) & (utc <= days[-1])
    tai_utc = np.where(inside, _tai_utc(np.where(inside, utc, 0.0)), np.nan)
    ut1_utc = np.where(inside, np.interp(utc, days, ut1_tai) + tai_utc, 0.0)
    if wants_ut1 and not np.all(inside):
        _warn_outside(2000 + float(utc[~inside].flat[0]) / 365.25)
    return ut1_utc, tai_utc


def _warn_outside(year: float) -> None:
    if year < 1962:
        doubt = "UTC is taken as UT1, TT - UT1 from a polynomial; clocks of that time kept local time anyway"
    else:
        doubt = (
            "UTC is taken as UT1, off by less than 0.9 s while UTC keeps leap seconds "
            "(1 s turns the Earth by 15 arcsec)"
        )
    warnings.warn(f"year {year // 1:.0f} lies outside the UT1 tables: {doubt}", WhichsunWarning, stacklevel=4)

"""Rise and set of the Sun by the distant sphere, for one local mean solar day, many places at once.

A day is that of local mean time at the site's longitude. Its daylight is looked for between the two lower
transits of the Sun round that day's noon, so that the rise always comes before the set.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from ..models.distant_sphere import DistantSphere
from ..models.ephemeris import earth_fixed_sun
from ..models.errors import InputError, UnknownNameError
from ..models.geometry import Array
from ..models.observables import altitude, wrap_angle
from ..models.place import Instants, Site, utc_days_of

HORIZONS_DEG = {"visible": -50 / 60, "geometric": 0.0}
"""Altitude of the Sun's centre, unrefracted: upper limb on a level horizon under 34' of refraction with a
semidiameter of 16' (the almanacs' convention), or the centre on the geometric horizon. No dip."""

_COARSE, _FINE, _ROUNDS = 96, 20, 3


@dataclass(frozen=True)
class RiseSet:
    """Rise and set of one day at every site.

    Parameters
    ----------
    rise_utc_days, set_utc_days : ndarray, shape of the site
        UTC days from 2000-01-01 12:00; nan where the Sun does not cross the horizon.
    noon_utc_days : ndarray, shape of the site
        Upper transit, to about a second.
    """

    rise_utc_days: Array
    set_utc_days: Array
    noon_utc_days: Array

    @property
    def happens(self) -> np.ndarray:
        """Where the Sun both rises and sets."""
        return np.isfinite(self.rise_utc_days) & np.isfinite(self.set_utc_days)

    def instants(self) -> Instants:
        """Rise and set on a new last axis, shape (..., 2); the noon stands in where there is none."""
        pair = np.stack([self.rise_utc_days, self.set_utc_days], axis=-1)
        return Instants.from_utc_days(np.where(np.isfinite(pair), pair, self.noon_utc_days[..., None]))


def parse_date(date: str | dt.date) -> dt.date:
    """A date from ISO 8601 text; raises :class:`InputError` where it does not exist."""
    if isinstance(date, dt.date):
        return date
    try:
        return dt.date.fromisoformat(date.strip())
    except ValueError:
        raise InputError("date", "must be an existing date", date, "write 2027-03-20") from None


def local_noon(date: str | dt.date, site: Site) -> Array:
    """Upper transit of the Sun on a local mean solar day, UTC days from 2000-01-01 12:00.

    Shape of the site's longitude; good to about a second.
    """
    midnight = dt.datetime.combine(parse_date(date), dt.time(), dt.UTC)
    mean_noon = utc_days_of(midnight) + 0.5 - site.longitude_deg / 360
    sun = earth_fixed_sun(Instants.from_utc_days(mean_noon))
    return mean_noon - wrap_angle(site.longitude - sun.longitude) / (2 * np.pi)


def rise_set(date: str | dt.date, site: Site, horizon: str = "visible") -> RiseSet:
    """Rise and set of the distant sphere's Sun, to a few hundredths of a second of the crossing.

    Parameters
    ----------
    date : str or date
        The local mean solar day at the site's longitude.
    site : Site
        One or many; the fields broadcast.
    horizon : str
        A key of `HORIZONS_DEG`.

    Returns
    -------
    RiseSet
        nan where the Sun does not rise or set between the lower transits round noon.
    """
    if horizon not in HORIZONS_DEG:
        raise UnknownNameError("horizon", horizon, HORIZONS_DEG)
    level = np.deg2rad(HORIZONS_DEG[horizon])
    shape = np.broadcast_shapes(site.latitude.shape, site.longitude.shape, site.height_m.shape)
    noon = np.broadcast_to(local_noon(date, site), shape)
    offsets = np.linspace(-0.5, 0.5, _COARSE + 1)
    height = _height(noon[..., None] + offsets, site, level)
    top = np.argmax(height, axis=-1)[..., None]
    index = np.arange(_COARSE)
    up = (height[..., :-1] <= 0) & (height[..., 1:] > 0) & (index < top)
    down = (height[..., :-1] > 0) & (height[..., 1:] <= 0) & (index >= top)
    last_up = np.where(np.any(up, axis=-1), _COARSE - 1 - np.argmax(up[..., ::-1], axis=-1), -1)
    first_down = np.where(np.any(down, axis=-1), np.argmax(down, axis=-1), -1)
    step = 1 / _COARSE
    rise = _refine(noon - 0.5 + last_up * step, step, site, level)
    sunset = _refine(noon - 0.5 + first_down * step, step, site, level)
    return RiseSet(np.where(last_up >= 0, rise, np.nan), np.where(first_down >= 0, sunset, np.nan), noon)


def _height(utc_days: Array, site: Site, level: float) -> Array:
    """Altitude above `level` at utc_days of shape (..., n), site of shape (...)."""
    instants = Instants.from_utc_days(utc_days)
    wide = Site(site.latitude_deg[..., None], site.longitude_deg[..., None], site.height_m[..., None])
    return altitude(DistantSphere().view(instants, wide, {})) - level


def _refine(start: Array, step: float, site: Site, level: float) -> Array:
    """Time of the crossing inside [start, start + step], by dividing the bracket, then a straight line."""
    grid = np.linspace(0, 1, _FINE + 1)
    for _ in range(_ROUNDS):
        height = _height(start[..., None] + step * grid, site, level)
        crosses = (height[..., :-1] <= 0) != (height[..., 1:] <= 0)
        step /= _FINE
        start = start + np.argmax(crosses, axis=-1) * step
    height = _height(start[..., None] + step * np.array([0.0, 1.0]), site, level)
    low, high = height[..., 0], height[..., 1]
    share = low / np.where(high != low, low - high, 1.0)
    return start + step * np.clip(share, 0, 1)

"""The Sun's day at a site: crossings of given altitudes by the distant sphere, and the shooting windows."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from ...models.distant_sphere import DistantSphere
from ...models.errors import InputError
from ...models.geometry import Array
from ...models.observables import altitude, azimuth
from ...models.place import Instants, Site, utc_days_of
from ..atmosphere import STANDARD_C, STANDARD_HPA, air_factor, horizon_dip_rad, true_altitude
from ..atmosphere import apparent_altitude as refracted
from ..daylight import local_noon
from .days import EVENING, MORNING, DayPlan, Window
from .zones import Zone

LOW_DEG, HIGH_DEG = 1.0, 12.0
CIVIL_DEG = -6.0
_REFRACTION_ARCMIN, _SEMIDIAMETER_ARCMIN = 34.0, 16.0  # the almanacs' convention for rise and set
_STEPS = 1440
_SHORTEST_MIN = 1.0


def pressure_at(height_m: float) -> float:
    """Air pressure at a height: `STANDARD_HPA` at 0, falling as in the International Standard Atmosphere (1976)."""
    return STANDARD_HPA * (1 - 2.25577e-5 * height_m) ** 5.25588


@dataclass(frozen=True)
class SunDay:
    """Altitude of the Sun's centre through a day, from lower transit to lower transit, and its crossings.

    Parameters
    ----------
    site : Site
        One place.
    noon : float
        Upper transit, UTC days.
    days : ndarray, shape (n,)
    altitude_deg : ndarray, shape (n,)
        Unrefracted.
    """

    site: Site
    noon: float
    days: Array
    altitude_deg: Array

    @classmethod
    def at(cls, site: Site, noon: float) -> SunDay:
        """The day round one upper transit."""
        days = noon + np.linspace(-0.5, 0.5, _STEPS + 1)
        return cls(site, noon, days, np.rad2deg(_altitude(site, days)))

    def crossing(self, level_deg: float, *, rising: bool) -> float:
        """When the centre passes an unrefracted altitude on its way up before noon, or down after it; else nan.

        The one nearest to noon where there are more. From a straight line over a minute, then one step by the
        curve itself: good to a hundredth of a second except where the Sun grazes the level.
        """
        above = self.altitude_deg > level_deg
        half = _STEPS // 2
        if rising:
            found = np.flatnonzero(~above[:half] & above[1 : half + 1])
            place = found[-1] if len(found) else -1
        else:
            found = np.flatnonzero(above[half:-1] & ~above[half + 1 :])
            place = half + found[0] if len(found) else -1
        if place < 0:
            return float("nan")
        low, high = self.altitude_deg[place : place + 2] - level_deg
        start, step = self.days[place], self.days[place + 1] - self.days[place]
        guess = start + step * low / (low - high)
        left = np.rad2deg(_altitude(self.site, np.array([guess])))[0] - level_deg
        return float(np.clip(guess - left * step / (high - low), start, start + step))


def _altitude(site: Site, days: Array) -> Array:
    return altitude(DistantSphere().view(Instants.from_utc_days(days), site, {}))


def _azimuth_deg(site: Site, utc_days: float) -> float:
    if not np.isfinite(utc_days):
        return float("nan")
    return float(np.rad2deg(azimuth(DistantSphere().view(Instants.from_utc_days(utc_days), site, {}))))


def noon_of(date: dt.date, site: Site, zone: Zone) -> float:
    """Upper transit of the day whose mean noon falls on `date` on the zone's clock, UTC days.

    A zone may lie a whole day off its longitude, so the neighbouring days are tried too. The mean noon, since the true
    one wanders by half an hour over the year: where it comes near the clock's midnight it would leave out a date.

    Raises
    ------
    InputError
        No noon on that date: a zone that left the date out.
    """
    for shift in (0, -1, 1):
        day = date + dt.timedelta(days=shift)
        midnight = utc_days_of(dt.datetime.combine(day, dt.time(), dt.UTC))
        if zone.local(midnight + 0.5 - float(site.longitude_deg) / 360).date() == date:
            return float(local_noon(day, site))
    raise InputError("dates", f"must be days that exist in {zone.name}", date.isoformat())


def sun_day_plan(
    date: dt.date,
    site: Site,
    zone: Zone,
    *,
    low_deg: float = LOW_DEG,
    high_deg: float = HIGH_DEG,
    above_horizon_m: float = 0.0,
) -> DayPlan:
    """Rise, set, twilight and windows of one day; no turns and notes yet.

    Parameters
    ----------
    date : date
        On the zone's clock at mean solar noon.
    site : Site
        One place; its height thins the air and so the refraction.
    zone : Zone
    low_deg, high_deg : float
        Limits of the apparent altitude of the Sun's centre.
    above_horizon_m : float
        How far the site stands above land or sea at the horizon: rise and set come earlier and later by the dip.

    Notes
    -----
    Rise and set: centre at -(34' refraction, scaled with the air's pressure + 16' + dip), so that at height 0 they are
    the almanacs' and those of :func:`~whichsun.sim.daylight.rise_set`.
    """
    sun = SunDay.at(site, noon_of(date, site, zone))
    hpa = pressure_at(float(site.height_m))
    dip = float(np.rad2deg(horizon_dip_rad(above_horizon_m)))
    horizon = -(_REFRACTION_ARCMIN * air_factor(hpa) + _SEMIDIAMETER_ARCMIN) / 60 - dip
    half = _STEPS // 2
    windows = (
        _window(sun, MORNING, slice(0, half + 1), low_deg, high_deg, hpa),
        _window(sun, EVENING, slice(half, _STEPS + 1), low_deg, high_deg, hpa),
    )
    rise, sunset = sun.crossing(horizon, rising=True), sun.crossing(horizon, rising=False)
    return DayPlan(
        date,
        rise,
        sunset,
        sun.noon,
        sun.crossing(CIVIL_DEG, rising=True),
        sun.crossing(CIVIL_DEG, rising=False),
        _azimuth_deg(site, rise),
        _azimuth_deg(site, sunset),
        _apparent(float(np.max(sun.altitude_deg)), hpa),
        _apparent(float(np.min(sun.altitude_deg)), hpa),
        tuple(window for window in windows if window is not None),
    )


def _window(
    sun: SunDay, name: str, half: slice, low_deg: float, high_deg: float, hpa: float
) -> Window | None:
    """The part of half a day in which the apparent altitude keeps the limits; None for less than a minute."""
    rising = name == MORNING
    low, high = (
        float(np.rad2deg(true_altitude(np.deg2rad(limit), hpa, STANDARD_C))) for limit in (low_deg, high_deg)
    )
    days, high_now = sun.days[half], sun.altitude_deg[half]
    inside = (high_now > low) & (high_now <= high)
    if not np.any(inside):
        return None
    places = np.flatnonzero(inside)
    at_low, at_high = sun.crossing(low, rising=rising), sun.crossing(high, rising=rising)
    first, last = (at_low, at_high) if rising else (at_high, at_low)
    open_first, open_last = ("midnight", "noon") if rising else ("noon", "midnight")
    is_open = [side for side, value in ((open_first, first), (open_last, last)) if not np.isfinite(value)]
    start = first if np.isfinite(first) else float(days[places[0]])
    end = last if np.isfinite(last) else float(days[places[-1]])
    if (end - start) * 1440 < _SHORTEST_MIN:
        return None
    moments = np.array([start, end, (start + end) / 2])
    view = DistantSphere().view(Instants.from_utc_days(moments), sun.site, {})
    bearing = np.rad2deg(azimuth(view))
    heights = [_apparent(float(value), hpa) for value in np.rad2deg(altitude(view))]
    return Window(
        name,
        start,
        end,
        azimuth_from_deg=float(bearing[0]),
        azimuth_to_deg=float(bearing[1]),
        azimuth_middle_deg=float(bearing[2]),
        altitude_from_deg=heights[0],
        altitude_to_deg=heights[1],
        altitude_middle_deg=heights[2],
        open_at=" ".join(is_open),
    )


def _apparent(altitude_deg: float, hpa: float) -> float:
    """Apparent altitude in degrees; the true one where refraction is not known."""
    value = float(np.rad2deg(refracted(np.deg2rad(altitude_deg), hpa, STANDARD_C)))
    return value if np.isfinite(value) else altitude_deg

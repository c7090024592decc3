"""What a plan holds: days, shooting windows, the turn of each model between them.

Instants are UTC days from 2000-01-01 12:00, nan where there is none; angles in degrees. All instants are those of the
distant sphere, for every model: the plan says what each model shows at the same clock times.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...models.geometry import GeometryModel
from ...models.place import Instants, Site, iso_utc
from ..rotation import RotationLaw
from .seasons import Season
from .zones import Zone

MORNING, EVENING = "morning", "evening"


@dataclass(frozen=True)
class Window:
    """A stretch of time in which the Sun stands between the altitude limits, on one side of noon.

    Parameters
    ----------
    name : str
        ``morning`` (the Sun rises) or ``evening`` (it sinks).
    start, end : float
        UTC days.
    azimuth_from_deg, azimuth_to_deg, azimuth_middle_deg : float
        Of the Sun's centre, from north through east.
    altitude_from_deg, altitude_to_deg, altitude_middle_deg : float
        Apparent, of the centre.
    open_at : str
        ``noon`` where the Sun never reaches the upper limit, ``midnight`` where it never sinks to the lower one: the
        window then ends at the Sun's highest or lowest; both joined by a blank, or empty.
    """

    name: str
    start: float
    end: float
    azimuth_from_deg: float
    azimuth_to_deg: float
    azimuth_middle_deg: float
    altitude_from_deg: float
    altitude_to_deg: float
    altitude_middle_deg: float
    open_at: str = ""

    @property
    def middle(self) -> float:
        """Half way in time, UTC days."""
        return (self.start + self.end) / 2


@dataclass(frozen=True)
class ModelTurn:
    """What one model says about the turn between the windows' middles; degrees, anticlockwise positive.

    Parameters
    ----------
    model, variant : str
        The variant is empty for the model at its given or default parameters.
    pattern_deg, pattern_scatter, pattern_visible_fraction : float
        See :class:`~whichsun.sim.turns.PatternTurn`.
    axis_deg, celestial_north_deg : float
    unwrapped_axis_deg : float
        Followed through the day, not wrapped.
    rates_deg_per_min : mapping
        Window name to the rate at which the pattern turns at that window's middle.
    """

    model: str
    variant: str
    pattern_deg: float
    pattern_scatter: float
    pattern_visible_fraction: float
    axis_deg: float
    celestial_north_deg: float
    unwrapped_axis_deg: float
    rates_deg_per_min: Mapping[str, float]


@dataclass(frozen=True)
class DayPlan:
    """One day.

    Parameters
    ----------
    date : date
        On the clock of the zone, at mean solar noon.
    rise, set, noon : float
        UTC days; rise and set are nan where the Sun does not cross the horizon.
    dawn, dusk : float
        Begin and end of civil twilight (centre at -6 deg); nan where there is none.
    rise_azimuth_deg, set_azimuth_deg : float
        Of the Sun's centre then.
    noon_altitude_deg, midnight_altitude_deg : float
        Apparent altitude at the Sun's highest and lowest (unrefracted where refraction is not known).
    windows : tuple of Window
        Morning, then evening; one, none or both.
    turns : tuple of ModelTurn
        Empty without both windows.
    notes : tuple of str
        What a person should know about this day, in sentences.
    """

    date: dt.date
    rise: float
    set: float
    noon: float
    dawn: float
    dusk: float
    rise_azimuth_deg: float
    set_azimuth_deg: float
    noon_altitude_deg: float
    midnight_altitude_deg: float
    windows: tuple[Window, ...]
    turns: tuple[ModelTurn, ...] = ()
    notes: tuple[str, ...] = ()

    def window(self, name: str) -> Window | None:
        """The window of that name."""
        return next((window for window in self.windows if window.name == name), None)

    @property
    def middles(self) -> tuple[float, float] | None:
        """Middles of the morning's and the evening's window; None without both."""
        morning, evening = self.window(MORNING), self.window(EVENING)
        return (morning.middle, evening.middle) if morning and evening else None

    def instants(self) -> Instants | None:
        """The two middles, shape (2,); None without both windows."""
        middles = self.middles
        return None if middles is None else Instants.from_utc_days(np.array(middles))


@dataclass(frozen=True)
class Plan:
    """The days of a plan and what they were worked out from.

    Parameters
    ----------
    site : Site
        One place.
    zone : Zone
    models : tuple of (GeometryModel, mapping)
        Each with its given parameters.
    law : RotationLaw
    low_deg, high_deg : float
        Apparent altitudes of the Sun's centre between which to photograph.
    days : tuple of DayPlan
    seasons : tuple of Season
        From the last equinox or solstice before the days to the next equinox after them.
    above_horizon_m : float
        How far the site stands above land or sea at the horizon.
    """

    site: Site
    zone: Zone
    models: tuple[tuple[GeometryModel, Mapping[str, Any]], ...]
    law: RotationLaw
    low_deg: float
    high_deg: float
    days: tuple[DayPlan, ...]
    seasons: tuple[Season, ...] = ()
    above_horizon_m: float = 0.0


def whole_minute(moment: dt.datetime) -> dt.datetime:
    """Rounded to the minute as almanacs do."""
    return (moment + dt.timedelta(seconds=30)).replace(second=0, microsecond=0)


def iso(utc_days: float) -> str | None:
    """ISO 8601 in UTC to the second; None for nan."""
    if not np.isfinite(utc_days):
        return None
    return iso_utc(round(utc_days * 86400) / 86400)


def local_iso(utc_days: float, zone: Zone) -> str | None:
    """ISO 8601 on the zone's clock with its offset, to the second; None for nan."""
    if not np.isfinite(utc_days):
        return None
    return zone.local(round(utc_days * 86400) / 86400).isoformat(timespec="seconds")

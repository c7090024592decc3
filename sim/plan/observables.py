"""What else of a day can be measured without spots, and what each model lets it be.

The numbers come from the very functions by which ``score`` predicts these kinds, so what stands on a field sheet is
what a measurement will be compared with.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...models.geometry import Array, GeometryModel, Variant, view_of
from ...models.observables import altitude, wrap_angle
from ...models.place import Instants, Site, iso_utc
from ..compare.data import data_of
from ..compare.problem import problem_of
from ..compare.quantities_predict import forecast
from ..outing import Observable, Outing, OutingSite
from ..outing_observables import KINDS, OF_A_DAY, WITHOUT_VALUE
from .methods import METHODS, Method

CLOCK_SIGMA_S = 10.0
"""A phone's clock or a time signal, read to some seconds (common practice, no source)."""
_EVENTS = ("rise", "set")
_NEEDS_HORIZON = ("rise", "set", "rise-azimuth", "set-azimuth", "day-length")


@dataclass(frozen=True)
class DayTimes:
    """When the day's measurements are made, UTC days from 2000-01-01 12:00; nan where there is none.

    Parameters
    ----------
    noon : float
        Upper transit by the distant sphere.
    rise, set : float
        By the distant sphere, to find the events by.
    morning, evening : float
        Middles of the shooting windows.
    """

    noon: float
    rise: float = float("nan")
    set: float = float("nan")
    morning: float = float("nan")
    evening: float = float("nan")


@dataclass(frozen=True)
class Foreseen:
    """One quantity under one model.

    Parameters
    ----------
    value : float
        In the outing file's unit, a rise or set in UTC days; nan where the model has none.
    common_sigma : float
        What refraction and clock add to the uncertainty of a measurement, in the unit of its sigma.
    why : str
        Why there is no value, or what else a person should know; empty for nothing.
    """

    value: float
    common_sigma: float
    why: str = ""


@dataclass(frozen=True)
class DayQuantity:
    """One quantity of the day.

    Parameters
    ----------
    observable : Observable
        Kind, times and sigma as they go into an outing file; its value is 0 until it is measured.
    method : Method
    foreseen : mapping
        By the model's name.
    """

    observable: Observable
    method: Method
    foreseen: Mapping[str, Foreseen]

    @property
    def kind(self) -> str:
        """One of ``outing_observables.KINDS``."""
        return self.observable.kind

    @property
    def unit(self) -> str:
        """Of its value; empty for a time or a ratio."""
        return KINDS[self.kind].unit.removesuffix("1")

    @property
    def sigma_unit(self) -> str:
        """Of its sigma."""
        return KINDS[self.kind].sigma_unit or ("s" if self.kind in _EVENTS else self.unit)

    def apart(self, a: str, b: str) -> float:
        """Difference of two models over the uncertainty of one measurement; nan where one has no value."""
        first, second = self.foreseen[a], self.foreseen[b]
        difference = first.value - second.value
        if self.kind in _EVENTS:
            difference *= 86400
        elif self.unit == "deg":
            difference = float(np.rad2deg(wrap_angle(np.deg2rad(difference))))
        common = max(first.common_sigma, second.common_sigma)
        return float(abs(difference) / np.hypot(self.observable.sigma, common))

    def measured(self, value: float) -> Observable:
        """The observable with a measured value; UTC days for a rise or set."""
        if self.kind in _EVENTS:
            return replace(self.observable, time_utc=(iso_utc(value),))
        return replace(self.observable, value=value)


@dataclass(frozen=True)
class NoonTime:
    """Local noon, the moment of the shortest shadow, and what separates it from twelve o'clock.

    Parameters
    ----------
    utc_days : float
        Upper transit by the distant sphere.
    equation_of_time_min : float
        Apparent minus mean time: a sundial is that much fast.
    longitude_min : float
        Mean noon at the site, minutes after 12:00 UTC, -720 to 720.
    highest : mapping
        Model to the UTC days of its Sun's highest altitude within six hours.
    """

    utc_days: float
    equation_of_time_min: float
    longitude_min: float
    highest: Mapping[str, float]


@dataclass(frozen=True)
class DayQuantities:
    """All quantities of one day, and its noon."""

    noon: NoonTime
    rows: tuple[DayQuantity, ...]


def shadow_ratio(altitude_deg: float) -> float:
    """Length of a vertical stick's shadow on level ground over the stick's height; nan for a Sun that is down."""
    return float(1 / np.tan(np.deg2rad(altitude_deg))) if altitude_deg > 0 else float("nan")


def day_quantities(
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
    site: Site,
    times: DayTimes,
    *,
    law: str,
    horizon_deg: float = 0.0,
) -> DayQuantities:
    """What every model lets be measured on one day, at the same instants for all.

    Parameters
    ----------
    models : sequence of (GeometryModel, mapping)
        Each with its given parameters; the rest at their defaults.
    site : Site
        One place.
    times : DayTimes
    law : str
        Name of the rotation law.
    horizon_deg : float
        Apparent altitude of the horizon; negative for one that dips.
    """
    place = OutingSite(float(site.latitude_deg), float(site.longitude_deg), float(site.height_m))
    courses = {model.name: _Course.of(model, given, site, times.noon) for model, given in models}
    rows = []
    for one, method in _observables(times, horizon_deg):
        found = {
            model.name: _foreseen(one, model, given, place, law, courses[model.name])
            for model, given in models
        }
        rows.append(DayQuantity(one, method, found))
    return DayQuantities(noon_time(site, times.noon, courses), tuple(rows))


def noon_time(site: Site, noon: float, courses: Mapping[str, _Course] | None = None) -> NoonTime:
    """Noon and the two things that move it off 12:00 UTC."""
    turn = float(site.longitude_deg) / 360
    mean_noon = round(noon + turn) - turn
    longitude_min = ((-float(site.longitude_deg) * 4 + 720) % 1440) - 720
    highest = {name: course.highest for name, course in (courses or {}).items()}
    return NoonTime(noon, (mean_noon - noon) * 1440, longitude_min, highest)


def _observables(times: DayTimes, horizon_deg: float) -> list[tuple[Observable, Method]]:
    """The measurements that the day allows, with times and sigmas."""
    clocks = {
        "noon": times.noon,
        "rise": times.rise if np.isfinite(times.rise) else times.noon - 0.25,
        "set": times.set if np.isfinite(times.set) else times.noon + 0.25,
        "morning": times.morning,
        "evening": times.evening,
    }
    found = []
    for method in METHODS:
        days = [clocks[name] for name in method.at]
        if not np.all(np.isfinite(days)):
            continue
        by_clock = method.kind not in OF_A_DAY
        one = Observable(
            method.kind,
            0.0,
            method.sigma,
            tuple(iso_utc(round(day * 86400) / 86400) for day in days),
            horizon_deg=round(horizon_deg, 4) if horizon_deg and method.kind in _NEEDS_HORIZON else None,
            time_sigma_s=CLOCK_SIGMA_S if by_clock else None,
        )
        found.append((one, method))
    return found


def _foreseen(
    one: Observable,
    model: GeometryModel,
    given: Mapping[str, Any],
    place: OutingSite,
    law: str,
    course: _Course,
) -> Foreseen:
    """What a model lets one measurement be: the centre of its prediction, and what the shared nuisances do to it."""
    placeholder = {"angular-diameter": 0.5, "angular-diameter-ratio": 1.0, "altitude": course.typical_deg}
    asked = replace(one, value=placeholder.get(one.kind, 0.0))
    data = data_of(Outing(place, (), (asked,)))
    problem = problem_of(model, Variant("", dict(given), ()), data, law, given)
    sigma = problem.nuisances.sigma
    eta = np.vstack([np.zeros(len(sigma)), np.diag(sigma)])
    (quantity,) = problem.data.quantities
    values = forecast(problem, np.full(len(eta), 0.5), eta).value[:, 0]
    common = float(np.sqrt(np.sum((values[1:] - values[0]) ** 2))) if np.isfinite(values[0]) else 0.0
    if not np.isfinite(values[0]):
        return Foreseen(float("nan"), 0.0, course.why_none)
    if one.kind in WITHOUT_VALUE:
        return Foreseen(quantity.days[0] + values[0] / 86400, common)
    value = quantity.shown(float(values[0]))
    if quantity.shown(1.0) != 1.0:  # of a size, whose logarithm is predicted
        common *= value
    if one.kind.endswith("azimuth"):
        value %= 360
    why = course.why_none if one.kind == "day-length" and value in (0.0, 24.0) else ""
    return Foreseen(value, common, why)


@dataclass(frozen=True)
class _Course:
    """A model's Sun through the day: when it is highest (UTC days), and its lowest and highest (deg, unrefracted)."""

    highest: float
    lowest_deg: float
    highest_deg: float

    @classmethod
    def of(cls, model: GeometryModel, given: Mapping[str, Any], site: Site, noon: float) -> _Course:
        days = noon + np.linspace(-0.5, 0.5, 1441)
        height = np.rad2deg(altitude(view_of(model, Instants.from_utc_days(days), site, given)))
        height = np.broadcast_to(height, days.shape)
        return cls(_top(days, height), float(height.min()), float(height.max()))

    @property
    def typical_deg(self) -> float:
        """An altitude of that day, for what depends on it only coarsely."""
        return float(np.clip(self.highest_deg / 2, 0.0, 89.0))

    @property
    def why_none(self) -> str:
        """Why its Sun neither rises nor sets, in words."""
        if self.lowest_deg > -1:
            return f"its Sun never sets: {self.lowest_deg:.1f} deg high at the lowest"
        if self.highest_deg < 0:
            return f"its Sun does not rise: {-self.highest_deg:.1f} deg below the level at the highest"
        return "its Sun does not cross the horizon near that time"


def _top(days: Array, height: Array) -> float:
    """Moment of the highest sample within six hours of the middle, by a parabola through its neighbours."""
    inner = slice(len(days) // 4, -(len(days) // 4))
    days, height = days[inner], height[inner]
    place = int(np.clip(np.argmax(height), 1, len(days) - 2))
    a, b, c = height[place - 1 : place + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return float(days[place] + np.clip(shift, -1, 1) * (days[1] - days[0]))

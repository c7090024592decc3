"""A plan over a range of days: windows, and the turn of every model between their middles."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import GeometryModel, view_of
from ...models.place import Instants, Site
from ..daylight import parse_date
from ..rotation import RotationLaw
from ..turns import axis_turn, celestial_north_turn, moment, pattern_turn, unwrapped_turn
from .days import DayPlan, ModelTurn, Plan
from .windows import HIGH_DEG, LOW_DEG, sun_day_plan
from .zones import Zone

MOST_DAYS = 400
_RATE_MIN = 2.0  # minutes over which a rate is taken
Progress = Callable[[int, int, str], None]


def dates_of(text: str) -> list[dt.date]:
    """The days of ``A..B`` (both included) or of a single date; at most `MOST_DAYS`."""
    first_text, dots, last_text = text.partition("..")
    first = parse_date(first_text)
    last = parse_date(last_text) if dots else first
    count = (last - first).days + 1
    if count < 1:
        raise InputError("dates", "must not end before they begin", text, "write 2027-03-15..2027-03-25")
    if count > MOST_DAYS:
        raise InputError("dates", f"must be {MOST_DAYS} days at most", f"{count} days")
    return [first + dt.timedelta(days=i) for i in range(count)]


def make_plan(
    site: Site,
    dates: Sequence[dt.date],
    zone: Zone,
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
    *,
    law: RotationLaw,
    low_deg: float = LOW_DEG,
    high_deg: float = HIGH_DEG,
    above_horizon_m: float = 0.0,
    progress: Progress = lambda done, of, words: None,
) -> Plan:
    """Windows of every day and what each model shows between their middles.

    Parameters
    ----------
    site : Site
        One place.
    dates : sequence of date
    zone : Zone
    models : sequence of (GeometryModel, mapping)
        Each with its given parameters.
    law : RotationLaw
    low_deg, high_deg, above_horizon_m : float
        See :func:`~whichsun.sim.plan.windows.sun_day_plan`.
    progress : callable
        Called with (days done, days in all, words).

    Raises
    ------
    InputError
        Limits out of order or out of range, a date that the zone left out.
    """
    if not 0 <= low_deg < high_deg <= 60:
        raise InputError(
            "altitudes", "must be LOW:HIGH with 0 <= LOW < HIGH <= 60", f"{low_deg:g}:{high_deg:g}"
        )
    if not 0 <= above_horizon_m <= 9000:
        raise InputError("above-horizon-m", "must be between 0 and 9000", above_horizon_m)
    days = []
    for number, date in enumerate(dates):
        progress(number, len(dates), f"{date}")
        day = sun_day_plan(
            date, site, zone, low_deg=low_deg, high_deg=high_deg, above_horizon_m=above_horizon_m
        )
        days.append(
            replace(day, turns=tuple(_turn(day, site, *model, law) for model in models if day.middles))
        )
    return Plan(site, zone, tuple(models), law, low_deg, high_deg, tuple(days))


def _turn(
    day: DayPlan, site: Site, model: GeometryModel, given: Mapping[str, Any], law: RotationLaw
) -> ModelTurn:
    """Turns of one model between the middles, and the pattern's rate at each of them."""
    instants = day.instants()
    assert instants is not None  # only days with both windows are asked
    view = view_of(model, instants, site, given)
    first, last = moment(view, 0), moment(view, 1)
    span = float(instants.utc_days[1] - instants.utc_days[0])
    pattern = pattern_turn(first, last, span, law)
    half = _RATE_MIN / 2 / 1440
    moments = np.array([day.middles or ()]).T + np.array([-half, half])
    ends = view_of(model, Instants.from_utc_days(moments), site, given)
    rates = np.rad2deg(pattern_turn(moment(ends, 0), moment(ends, 1), 2 * half, law).turn) / _RATE_MIN
    return ModelTurn(
        model.name,
        "",
        float(np.rad2deg(pattern.turn)),
        float(pattern.scatter),
        float(pattern.visible_fraction),
        float(np.rad2deg(axis_turn(first, last))),
        float(np.rad2deg(celestial_north_turn(first, last))),
        float(np.rad2deg(unwrapped_turn(model, instants, site, given))),
        {window.name: float(rate) for window, rate in zip(day.windows, rates, strict=True)},
    )

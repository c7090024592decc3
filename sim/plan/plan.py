"""A plan over a range of days: windows, and the turn of every model between their middles."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from ...models.errors import InputError
from ...models.geometry import GeometryModel
from ...models.place import Site
from ..daylight import parse_date
from ..rotation import RotationLaw
from .days import Plan
from .notes import day_notes, turn_notes
from .seasons import seasons_near
from .turning import day_turns
from .windows import HIGH_DEG, LOW_DEG, sun_day_plan
from .zones import Zone

MOST_DAYS = 400
_ROUNDED_DECIMALS = 1  # of a degree, as in a report
Progress = Callable[[int, int, str], None]


def dates_of(text: str) -> list[dt.date]:
    """The days of ``A..B`` (both included) or of a single date; at most `MOST_DAYS`."""
    first_text, dots, last_text = text.partition("..")
    try:
        first = parse_date(first_text)
        last = parse_date(last_text) if dots else first
    except InputError:
        hint = "write 2027-03-20, or 2027-03-15..2027-03-25"
        raise InputError("dates", "must be an existing date, or two with .. between", text, hint) from None
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
    if not dates:
        raise InputError("dates", "must not be an empty range")
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
        turns = tuple(turn for model in models for turn in day_turns(day, site, *model, law))
        day = replace(day, turns=turns)
        notes = (*day_notes(day, site, zone, low_deg, high_deg), *turn_notes(day))
        days.append(replace(day, notes=notes))
    near = seasons_near(days[0].noon, days[-1].noon)
    return Plan(site, zone, tuple(models), law, low_deg, high_deg, tuple(days), near, above_horizon_m)


def at_rounded_site(plan: Plan) -> Plan:
    """The same plan for the site rounded to 0.1 degree, its height to 100 m.

    For files that are handed on: the minutes of many days would tell a site better than one that is rounded only where
    it is written.
    """
    site = plan.site
    rounded = Site(
        round(float(site.latitude_deg), _ROUNDED_DECIMALS),
        round(float(site.longitude_deg), _ROUNDED_DECIMALS),
        round(float(site.height_m), -2),
    )
    return make_plan(
        rounded,
        [day.date for day in plan.days],
        plan.zone,
        plan.models,
        law=plan.law,
        low_deg=plan.low_deg,
        high_deg=plan.high_deg,
        above_horizon_m=round(plan.above_horizon_m, -2),
    )

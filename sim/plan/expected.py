"""What an outing on a day is going to show: simulated outings, scored as `score` does, and what would raise it.

The photos are taken at the middles of the day's windows. See ``sim/compare/power.py`` for what is simulated.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...models.geometry import GeometryModel
from ...models.place import Site
from ..compare import power
from ..compare.contest import Options
from ..compare.drawing import Design
from ..outing import OutingSite
from .days import DayPlan, Plan, iso
from .turning import separation
from .windows import sun_day_plan

OUTINGS = 10
OTHER_DATES_DAYS = 15  # step in which the year ahead is searched for another date
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Expected:
    """What a day is going to show.

    Parameters
    ----------
    date : date
    design : Design
        The photos that were simulated.
    found : ExpectedEvidence
    tips : tuple of (str, ExpectedEvidence)
        What would raise it, most helpful first; empty where not asked for.
    """

    date: dt.date
    design: Design
    found: power.ExpectedEvidence
    tips: tuple[tuple[str, power.ExpectedEvidence], ...] = ()

    @property
    def advice(self) -> str | None:
        """In a sentence, what would raise it most; None where not asked for."""
        return power.advice(self.found, self.tips) if self.tips else None

    def medians(self) -> dict[str, float]:
        """``trueModel/other`` to the median of the ln Bayes factor of the first against the second."""
        return {
            f"{row['truth']}/{row['against']}": row["ln_bayes_factor_median"] for row in self.found.pairs()
        }


def farthest_day(plan: Plan, models: Sequence[tuple[GeometryModel, Mapping[str, Any]]]) -> DayPlan | None:
    """The day on which the closest two of `models` lie farthest apart; None where no day has both windows.

    That day need not decide best: under a near Sun the spots of a long day sweep out of sight, and those of a short one
    stay. Only simulated outings tell.
    """
    able = [day for day in plan.days if day.middles is not None]
    return max(able, key=lambda day: _apart(day, plan, models), default=None)


def _apart(day: DayPlan, plan: Plan, models: Sequence[tuple[GeometryModel, Mapping[str, Any]]]) -> float:
    apart = [
        separation(day, plan.site, one, other, plan.law)
        for number, one in enumerate(models)
        for other in models[number + 1 :]
    ]
    return float(np.min(np.nan_to_num(apart, nan=0.0)))


def design_of(
    day: DayPlan,
    site: Site,
    *,
    spots: float,
    place_sigma: float,
    roll_sigma_deg: float,
    mount: str,
) -> Design:
    """Two photos at the middles of the day's windows; see :class:`~whichsun.sim.compare.drawing.Design`.

    Raises
    ------
    InputError
        A number is out of range, or the mount unknown.
    """
    assert day.middles is not None  # asked only where there are middles
    times = tuple(text for text in map(iso, day.middles) if text is not None)
    place = OutingSite(float(site.latitude_deg), float(site.longitude_deg), float(site.height_m))
    return Design(
        place, times, spots_found=spots, place_sigma=place_sigma, roll_sigma_deg=roll_sigma_deg, mount=mount
    )


def expect(
    plan: Plan,
    day: DayPlan,
    names: Sequence[str],
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
    *,
    spots: float,
    place_sigma: float,
    roll_sigma_deg: float,
    mount: str,
    options: Options,
    outings: int = OUTINGS,
    what_if: bool = False,
    processes: int | None = None,
    progress: Progress = lambda done, of, words: None,
) -> Expected:
    """Simulate the outings of one day, with each model as the truth.

    Parameters
    ----------
    plan : Plan
    day : DayPlan
        With both windows.
    names, models :
        The models compared, by the names they are known by and as they are.
    spots, place_sigma, roll_sigma_deg, mount :
        See :func:`design_of`.
    options : Options
    outings : int
        For each true model.
    what_if : bool
        Simulate also what would raise the evidence, two other dates of the year ahead among it: seven times the
        work.
    processes, progress :
        See :func:`~whichsun.sim.compare.power.expected_evidence`.
    """
    settings: dict[str, Any] = {
        "spots": spots,
        "place_sigma": place_sigma,
        "roll_sigma_deg": roll_sigma_deg,
        "mount": mount,
    }
    shared: dict[str, Any] = {
        "outings": outings,
        "options": options,
        "processes": processes,
        "progress": progress,
    }
    design = design_of(day, plan.site, **settings)
    found = power.expected_evidence(design, names, **shared)
    if not what_if:
        return Expected(day.date, design, found)
    tips = power.what_if(design, names, **shared)
    for other in _other_dates(plan, day, models):
        elsewhen = power.expected_evidence(design_of(other, plan.site, **settings), names, **shared)
        tips.append((f"another date ({other.date}, {_hours(other):.1f} h between the photos)", elsewhen))
    return Expected(day.date, design, found, tuple(power.most_helpful_first(tips)))


def _other_dates(
    plan: Plan,
    day: DayPlan,
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
) -> list[DayPlan]:
    """Two days of the year ahead that may do better: with the models farthest apart, and with the photos closest.

    Only where they differ from `day` by that measure.
    """
    days = [
        sun_day_plan(
            day.date + dt.timedelta(days=ahead),
            plan.site,
            plan.zone,
            low_deg=plan.low_deg,
            high_deg=plan.high_deg,
        )
        for ahead in range(OTHER_DATES_DAYS, 365, OTHER_DATES_DAYS)
    ]
    able = [day, *(other for other in days if other.middles is not None)]
    found = [farthest_day(replace(plan, days=tuple(able)), models), min(able, key=_hours)]
    return [other for other in found if other is not None and other.date != day.date]


def _hours(day: DayPlan) -> float:
    """Between the middles of the windows."""
    morning, evening = day.middles or (0.0, 0.0)
    return (evening - morning) * 24

"""Targets of a plan's days as JSON types: places in limb radii, angles in degrees, units in the names."""

from __future__ import annotations

import datetime as dt
import math
import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from ...models.errors import WhichsunWarning
from .camera_numbers import Aim
from .carried import nearest_summary, odd_longitudes
from .days import Plan, iso
from .optics import Optics
from .regions import RegionSummary
from .target_words import place_doubt, reason, summary_words
from .targets import Target, TargetView, targets_of

Progress = Callable[[int, int, str], None]


def targets_json(
    plan: Plan,
    summaries: Sequence[RegionSummary],
    *,
    optics: Optics | None,
    aim: Aim,
    progress: Progress = lambda done, of, words: None,
) -> dict[str, Any]:
    """``targets``: one row per day and region, best first within a day; ``regions``: what the list says of each day.

    Parameters
    ----------
    plan : Plan
        Days without both windows are left out.
    summaries : sequence of RegionSummary
        The nearest in time serves each day.
    optics, aim
        See :func:`~whichsun.sim.plan.targets.targets_of`.
    progress : callable
        Called with (days done, days in all, words).
    """
    rows, days = [], []
    names = [model.name for model, _ in plan.models]
    for number, day in enumerate(plan.days):
        progress(number, len(plan.days), f"spots of {day.date}")
        instants = day.instants()
        if instants is None:
            continue
        summary = nearest_summary(summaries, float(instants.utc_days[0]))
        found = (
            []
            if summary is None
            else targets_of(summary, instants, plan.site, plan.models, law=plan.law, optics=optics, aim=aim)
        )
        times = [iso(float(moment)) for moment in instants.utc_days]
        rows += [
            {"date": day.date.isoformat(), "rank": rank, **_target(target, times)}
            for rank, target in enumerate(found, start=1)
        ]
        days.append(
            {
                "date": day.date.isoformat(),
                "at_utc": times,
                "file": None if summary is None else summary.file,
                "valid_utc": None if summary is None else iso(summary.utc_days),
                "days_ahead": None if summary is None else float(instants.utc_days[0] - summary.utc_days),
                "regions": len(found),
                "usable": {name: sum(name in one.usable_under for one in found) for name in names},
                "returning": [] if summary is None else [one.number for one in summary.returning],
                "returning_dates": None if summary is None else summary.returning_dates,
                "words": summary_words(summary, float(instants.utc_days[0]), found, names),
            }
        )
    used = {day["file"] for day in days}
    for summary in summaries:
        for words in odd_longitudes(summary) if summary.file in used else ():
            warnings.warn(words, WhichsunWarning, stacklevel=2)
    return {"targets": rows, "regions": days}


def spots_in_a_photo(result: Mapping[str, Any], date: dt.date) -> float | None:
    """Mean number of spots to be found in a photo of a day, the largest one of every region; None without a list.

    From a plan's JSON: those of the first photo, the same under every model. At least 0.01, below which nothing
    can be simulated.
    """
    known = any(day["date"] == date.isoformat() and day["file"] for day in result.get("regions", ()))
    if not known:
        return None
    return max(
        sum(row["chance_in_first"] for row in result["targets"] if row["date"] == date.isoformat()), 0.01
    )


def place_sigma_radii(result: Mapping[str, Any]) -> float | None:
    """How well the plan's camera will measure a spot's place, limb radii; None without a camera."""
    camera = result.get("camera")
    return None if camera is None else camera["place_sigma_radii"]


def _target(target: Target, times: Sequence[str | None]) -> dict[str, Any]:
    place, region = target.place, target.place.region
    first = target.views[0]
    return {
        "number": region.number,
        "usable_under": list(target.usable_under),
        "expected_turn_sigma_deg": target.expected_sigma_deg,
        "chance": target.chance,
        "chance_in_first": target.chance_first,
        "reason": reason(target),
        "latitude_deg": place.latitude_deg,
        "carrington_longitude_deg": place.longitude_deg,
        "latitude_sigma_deg": place.latitude_sigma_deg,
        "longitude_sigma_deg": place.longitude_sigma_deg,
        "days_ahead": place.days,
        "chance_there": place.chance_there,
        "area_msh": region.area_msh,
        "area_factor68": math.exp(place.ln_area_sigma),
        "extent_deg": region.extent_deg,
        "spots": region.spots,
        "single_spot": region.single,
        "zurich_class": region.zurich,
        "magnetic_class": region.magnetic,
        "spot_area_msh": target.spot_area_msh,
        "spot_width_px": target.width_px,
        "group_length_px": target.group_px,
        "distance_from_centre_radii": math.hypot(first.x[0], first.y[0]),
        "place_sigma_radii": place_doubt(target),
        "models": {view.model: _view(view, times) for view in target.views},
    }


def _view(view: TargetView, times: Sequence[str | None]) -> dict[str, Any]:
    return {
        "shots": [_shot(view, shot, times[shot]) for shot in (0, 1)],
        "turn_deg": view.turn_deg,
        "turn_spread_deg": view.turn_spread_deg,
        "beyond_axis_turn_deg": view.beyond_axis_deg,
        "turn_sigma_deg": view.sigma_deg,
        "chance": view.chance,
        "chance_visible": view.chance_visible,
        "chance_large_enough": view.chance_large,
    }


def _shot(view: TargetView, shot: int, time: str | None) -> dict[str, Any]:
    x, y, covariance = view.x[shot], view.y[shot], view.covariance[shot]
    return {
        "at_utc": time,
        "x": x,
        "y": y,
        "radius": math.hypot(x, y),
        "vertex_angle_deg": math.degrees(math.atan2(-x, y)),
        "visible": view.visible[shot],
        "covariance": covariance.tolist(),
    }

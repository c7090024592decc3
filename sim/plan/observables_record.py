"""The day's other measurements for a plan: which times they have, and their JSON."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Any

import numpy as np

from ...models.geometry import resolve_values
from ..atmosphere import horizon_dip_rad
from .days import DayPlan, Plan, iso, local_iso
from .field_sheet_words import label_words
from .observables import DayQuantities, DayQuantity, DayTimes, day_quantities, shadow_ratio

ALTITUDES = ("noon-altitude", "altitude")


def quantities_of_day(plan: Plan, day: DayPlan, above_horizon_m: float = 0.0) -> DayQuantities:
    """Everything that can be measured on one day of a plan, under each of its models."""
    morning, evening = day.middles or (float("nan"), float("nan"))
    times = DayTimes(day.noon, day.rise, day.set, morning, evening)
    dip = float(np.rad2deg(horizon_dip_rad(above_horizon_m)))
    return day_quantities(plan.models, plan.site, times, law=plan.law.name, horizon_deg=-dip)


def free_numbers(plan: Plan) -> dict[str, dict[str, float]]:
    """The numbers that a contest would fit, at what they were set to here, by model."""
    found = {}
    for model, given in plan.models:
        values = resolve_values(model, given)
        same = [v for v in model.variants if all(values[name] == held for name, held in v.fixed.items())]
        free = {name for variant in same for name in (*variant.free, *variant.free_with_size)}
        found[model.name] = {name: float(value) for name, value in values.items() if name in free}
    return found


def numbers_words(free: Mapping[str, Mapping[str, float]]) -> str:
    """:func:`free_numbers` for reading; empty where no model has any."""
    told = {
        name: ", ".join(f"{key} {f'{value:,.0f}'.replace(',', ' ')}" for key, value in numbers.items())
        for name, numbers in free.items()
        if numbers
    }
    return "; ".join(f"{name} {words}" for name, words in told.items())


def quantities_json(plan: Plan, found: DayQuantities) -> dict[str, Any]:
    """The same as JSON types: values in the outing file's units, None where a model has none."""
    noon = found.noon
    return {
        "noon": {
            "transit_utc": iso(noon.utc_days),
            "equation_of_time_min": noon.equation_of_time_min,
            "mean_noon_after_12_utc_min": noon.longitude_min,
            "highest_utc": {name: iso(days) for name, days in noon.highest.items()},
        },
        "free_numbers": free_numbers(plan),
        "rows": [_row(plan, one) for one in found.rows],
    }


def _row(plan: Plan, one: DayQuantity) -> dict[str, Any]:
    is_time = one.sigma_unit == "s"
    models = {}
    for name, seen in one.foreseen.items():
        models[name] = {
            "value": None if is_time else seen.value,
            "at_utc": iso(seen.value) if is_time else None,
            "at_local": local_iso(seen.value, plan.zone) if is_time else None,
            "shadow_per_stick": shadow_ratio(seen.value) if one.kind in ALTITUDES else None,
            "refraction_and_clock_sigma": seen.common_sigma,
            "why": seen.why or None,
        }
    return {
        "kind": one.kind,
        "label": label_words(one, plan.zone),
        "times_utc": list(one.observable.time_utc),
        "unit": one.unit or None,
        "sigma": one.observable.sigma,
        "sigma_unit": one.sigma_unit or None,
        "how": one.method.how,
        "sigma_source": one.method.source,
        "models": models,
        "apart_sigma": {f"{a}/{b}": one.apart(a, b) for a, b in itertools.combinations(models, 2)},
    }

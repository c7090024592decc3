"""Made-up measurements other than spots: what a model foresees, with or without noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from whichsun.models.geometry import Variant
from whichsun.models.place import iso_utc
from whichsun.models.registry import get_model
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.problem import problem_of
from whichsun.sim.compare.quantities_predict import forecast
from whichsun.sim.outing import Observable, Outing, OutingSite

SITE = OutingSite(47.0, 8.0)
MORNING, EVENING, NOON = "2024-06-10T04:10:00Z", "2024-06-10T18:40:00Z", "2024-06-10T12:00:00Z"
BOTH = (MORNING, EVENING)
SPHERE, PLANE = "distant-sphere", "nearby-plane"

EVERY_KIND = (
    Observable("turn", 0.0, 2.0, BOTH, "axis"),
    Observable("turn", 0.0, 2.0, BOTH, "celestial-north"),
    Observable("turn", 0.0, 2.0, BOTH, "spot", 0.2, -0.3),
    Observable("turn", 0.0, 2.0, BOTH, "pattern"),
    Observable("drift-direction", 0.0, 2.0, ("2024-06-10T08:00:00Z",)),
    Observable("drift-direction", 0.0, 2.0, ("2024-06-10T07:00:00Z", "2024-06-10T16:00:00Z")),
    Observable("altitude", 0.0, 0.5, ("2024-06-10T08:10:00Z",)),
    Observable("azimuth", 0.0, 1.0, ("2024-06-10T08:20:00Z",)),
    Observable("angular-diameter", 0.5, 0.01, ("2024-06-10T08:30:00Z",)),
    Observable("angular-diameter-ratio", 1.0, 0.01, BOTH),
    Observable("rise", 0.0, 60.0, ("2024-06-10T03:30:00Z",)),
    Observable("set", 0.0, 60.0, ("2024-06-10T19:20:00Z",)),
    Observable("rise-azimuth", 0.0, 1.0, (NOON,)),
    Observable("set-azimuth", 0.0, 1.0, (NOON,)),
    Observable("noon-altitude", 0.0, 0.5, (NOON,)),
)
DAY_LENGTH = Observable("day-length", 0.0, 0.1, (NOON,))


def outing_with(*observables: Observable, site: OutingSite = SITE) -> Outing:
    """An outing without photos."""
    return Outing(site, (), observables)


def problem_for(outing: Outing, model: str = SPHERE, variant: int = 0, **given):
    """Problem of a model's variant, parameters in `given` held."""
    chosen = get_model(model)
    return problem_of(chosen, chosen.variants[variant], data_of(outing), "howard-1984", given)


def foreseen(observables, model: str = SPHERE, site: OutingSite = SITE, rng=None, **given):
    """The observables with the values that a model foresees, with Student's t noise where `rng` is given."""
    chosen, found = get_model(model), []
    for one in observables:
        problem = problem_of(
            chosen, Variant("", given, ()), data_of(outing_with(one, site=site)), "howard-1984", given
        )
        eta = np.zeros((1, len(problem.nuisances.sigma)))
        (quantity,) = problem.data.quantities
        value = float(forecast(problem, np.array([0.5]), eta).value[0, 0])
        if rng is not None:
            value += quantity.sigma * rng.standard_t(4)
        if one.kind in ("rise", "set"):
            found.append(replace(one, time_utc=(iso_utc(quantity.days[0] + value / 86400),)))
        else:
            found.append(replace(one, value=quantity.shown(value)))
    return tuple(found)

"""How the evidence would change under other priors of a model's free parameters: a stated set for each of them.

The set: the other shapes (uniform, log-uniform, inverse-uniform) over the same bounds; the same shape over the inner
half of its range; and, for the built-in parameters that stay meaningful there, over a range twice as wide.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...models.geometry import Array
from .contest import ModelScore, VariantScore
from .evidence import integrate
from .numeric import ln_sum
from .problem import PRIOR_MAPS, Axis

PRIORS = ("uniform", "log-uniform", "inverse-uniform")
SAME, NARROWER, WIDER = "same range", "narrower range", "wider range"
MAY_WIDEN = ("height_km", "diameter_km", "rate_deg_per_day")
_DENSITY: dict[str, Callable[[Any], Any]] = {
    "uniform": lambda v: np.ones_like(v),
    "log-uniform": lambda v: 1 / v,
    "inverse-uniform": lambda v: 1 / v**2,
}


@dataclass(frozen=True)
class Alternative:
    """Another prior of one free parameter: shape and bounds, and what was changed."""

    parameter: str
    unit: str
    prior: str
    low: float
    high: float
    range: str

    @property
    def words(self) -> str:
        """For a table: ``height_km log-uniform, 500 to 50,000 km``."""
        return (
            f"{self.parameter} {self.prior}, {_number(self.low)} to {_number(self.high)} {self.unit}".rstrip()
        )


def _number(value: float) -> str:
    return f"{value:.3g}" if abs(value) >= 1e6 or 0 < abs(value) < 1 else f"{value:,.0f}"


def alternatives_of(score: ModelScore) -> list[Alternative]:
    """The stated set for every free parameter of a model's variants in the contest."""
    axes: dict[str, Axis] = {}
    for variant in score.variants:
        if variant.weight > 0 and variant.problem is not None:
            axes |= {axis.name: axis for axis in variant.problem.axes if axis.name not in axes}
    found = []
    for axis in axes.values():
        if axis.prior not in PRIORS:
            continue
        found += [
            Alternative(axis.name, axis.unit, prior, axis.low, axis.high, SAME)
            for prior in PRIORS
            if _applies(axis, prior)
        ]
        low, high = sorted(axis.value(np.array([0.25, 0.75])).tolist())
        found.append(Alternative(axis.name, axis.unit, axis.prior, low, high, NARROWER))
        if axis.name in MAY_WIDEN:
            there, back = PRIOR_MAPS[axis.prior]
            ends = np.array([there(np.float64(axis.low)), there(np.float64(axis.high))])
            low, high = (float(back(end)) for end in ends.mean() + np.array([-1.0, 1.0]) * np.ptp(ends))
            found.append(Alternative(axis.name, axis.unit, axis.prior, low, high, WIDER))
    return found


def _applies(axis: Axis, prior: str) -> bool:
    return prior != axis.prior and (prior == "uniform" or axis.low > 0)


def shift_of(score: ModelScore, other: Alternative, rng: np.random.Generator) -> float:
    """Change of a model's ln evidence when all its variants take another prior."""
    parts = []
    for variant in score.variants:
        if variant.weight > 0:
            value = _evidence_under(variant, other, rng)
            parts.append((variant.ln_evidence if value is None else value) + np.log(variant.weight))
    return float(ln_sum(parts)) - score.ln_evidence


def _evidence_under(score: VariantScore, other: Alternative, rng: np.random.Generator) -> float | None:
    """ln evidence of a variant under another prior; None where the variant lacks the parameter.

    The scanned parameter by the scan's table of Z(parameter), moved by the correction that sampling found; further
    ones by reweighting the draws; a wider range by a coarse scan.
    """
    problem, evidence = score.problem, score.evidence
    names = [] if problem is None else [axis.name for axis in problem.axes]
    if problem is None or evidence is None or other.parameter not in names:
        return None
    index = names.index(other.parameter)
    axis = problem.axes[index]
    if other.range == WIDER:
        wider = replace(axis, low=other.low, high=other.high)
        axes = tuple(wider if k == index else one for k, one in enumerate(problem.axes))
        moved = integrate(replace(problem, axes=axes), rng, rough=True).ln_evidence
        return score.ln_evidence + moved - evidence.cells.ln_evidence
    if index == 0:
        shares = _shares(axis, other, axis.value(evidence.cells.low), axis.value(evidence.cells.high))
        return float(ln_sum(evidence.cells.ln_like, shares=shares)) + (
            score.ln_evidence - evidence.cells.ln_evidence
        )
    value = problem.values(evidence.u, evidence.eta)[axis.name][:, 0]
    inside = (value >= other.low) & (value <= other.high) & (evidence.weight > 0)
    if not inside.any():
        return -np.inf
    ratio = _DENSITY[other.prior](value[inside]) / _DENSITY[axis.prior](value[inside])
    ratio *= _length(axis.prior, axis.low, axis.high) / _length(other.prior, other.low, other.high)
    return score.ln_evidence + float(ln_sum(np.log(evidence.weight[inside] * ratio)))


def _length(prior: str, low: float, high: float) -> float:
    there = PRIOR_MAPS[prior][0]
    return float(abs(there(np.float64(high)) - there(np.float64(low))))


def _shares(axis: Axis, other: Alternative, low: Array, high: Array) -> Array:
    """Share of the other prior in every cell (its two ends as values, in any order)."""
    there = PRIOR_MAPS[other.prior][0]
    ends = (max(other.low, axis.low), min(other.high, axis.high))
    part = np.abs(there(np.clip(high, *ends)) - there(np.clip(low, *ends)))
    return np.maximum(part / _length(other.prior, other.low, other.high), 1e-300)


def alternative_shifts(score: ModelScore) -> dict[str, float]:
    """Change of a model's ln evidence when its scanned parameter takes another shape of prior, by its name."""
    scanned = {
        v.problem.axes[0].name for v in score.variants if v.weight > 0 and v.problem and v.problem.axes
    }
    rng = np.random.default_rng(0)  # nothing is drawn for these
    return {
        other.prior: shift_of(score, other, rng)
        for other in alternatives_of(score)
        if other.range == SAME and other.parameter in scanned
    }

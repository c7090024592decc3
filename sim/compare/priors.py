"""How the evidence would change under other priors of a model's scanned parameter."""

from __future__ import annotations

import numpy as np

from .contest import ModelScore, VariantScore
from .numeric import ln_sum
from .problem import PRIOR_MAPS, Axis

PRIORS = ("uniform", "log-uniform", "inverse-uniform")


def alternative_evidence(score: VariantScore) -> dict[str, float]:
    """ln evidence of a variant under each other prior over the same bounds, by the prior's name.

    Uses the scan's table of Z(parameter), moved by the correction that sampling found.
    """
    problem, evidence = score.problem, score.evidence
    if problem is None or evidence is None or not problem.axes:
        return {}
    axis, cells = problem.axes[0], evidence.cells
    correction = score.ln_evidence - cells.ln_evidence
    low, high = axis.value(cells.low), axis.value(cells.high)
    return {
        name: float(ln_sum(cells.ln_like, shares=_shares(axis, name, low, high))) + correction
        for name in PRIORS
        if name != axis.prior and _applies(axis, name)
    }


def _applies(axis: Axis, prior: str) -> bool:
    return axis.prior in PRIORS and (prior == "uniform" or axis.low > 0)


def _shares(axis: Axis, prior: str, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    there = PRIOR_MAPS[prior][0]
    whole = abs(there(np.float64(axis.high)) - there(np.float64(axis.low)))
    return np.maximum(np.abs(there(high) - there(low)) / whole, 1e-300)


def alternative_shifts(score: ModelScore) -> dict[str, float]:
    """Change of a model's ln evidence when all its variants take another prior, by the prior's name."""
    shifts: dict[str, float] = {}
    tables = [alternative_evidence(variant) for variant in score.variants]
    for name in PRIORS:
        parts = []
        changed = False
        for variant, table in zip(score.variants, tables, strict=True):
            if variant.weight > 0:
                changed |= name in table
                parts.append(table.get(name, variant.ln_evidence) + np.log(variant.weight))
        if changed:
            shifts[name] = float(ln_sum(parts)) - score.ln_evidence
    return shifts

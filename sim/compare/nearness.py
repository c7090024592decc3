"""How near may the Sun be: the distance where the Bayes factor against the far limit falls to 1/20."""

from __future__ import annotations

import numpy as np

from .cells import Evidence
from .problem import Problem

LN_LIMIT = -np.log(20.0)


def nearest_allowed(problem: Problem, evidence: Evidence) -> float | None:
    """Parameter value beyond which, towards the near end, every value is worse than 1/20 of the far limit.

    The scanned parameter must have a prior uniform in its inverse; the far limit is the cell of its
    largest value. None where the far limit itself is not the better one or nothing is excluded.
    """
    cells = evidence.cells
    value = problem.axes[0].value(cells.middle)
    order = np.argsort(-value)
    ratio = cells.ln_like[order] - cells.ln_like[order][0]
    allowed = np.flatnonzero(ratio >= LN_LIMIT)
    last = int(allowed[-1])
    if last == len(order) - 1:
        return None
    inverse = 1 / value[order]
    there = np.interp(LN_LIMIT, [ratio[last + 1], ratio[last]], [inverse[last + 1], inverse[last]])
    return float(1 / there)

"""Where the fast route leaves too large an error, nested sampling takes over; without it, one warning says so.

Nested sampling is bounded in evaluations. What both leave uncertain is part of the stated error, which the verdict
counts twice against the leading model.
"""

from __future__ import annotations

import importlib.util
import warnings
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ...models.errors import WhichsunWarning
from .cells import Evidence
from .evidence import LEAST_EFFECTIVE, MOST_ERROR, integrate, is_good
from .nested import nested
from .problem import Problem

LIVE_POINTS = 1000
MOST_CALLS = 300_000  # evaluations of the likelihood, one at a time: some minutes
# Where unknown angles were followed up in rounds, nested sampling would rarely do better than this error, carried by
# this many draws.
TOLERATED, FEWEST = 0.2, 50.0


def has_nested() -> bool:
    """Whether nested sampling is installed."""
    return importlib.util.find_spec("dynesty") is not None


def safe_evidence(
    problem: Problem,
    rng: np.random.Generator,
    words: str,
    tell: Callable[[str], None] = lambda words: None,
) -> Evidence:
    """Evidence by the fast route, by nested sampling where that stays rough.

    Parameters
    ----------
    problem : Problem
    rng : numpy.random.Generator
    words : str
        What is integrated, for the warning.
    tell : callable
        Called with words before nested sampling starts: it takes a minute or some.

    Notes
    -----
    Importance draws that stay few (below 200) or give an error above 0.05 mean a likelihood far from normal: several
    peaks, or one at a bound. The scan's cells are kept: they say where the likelihood is high. Where the draws were
    enough and the sampler's own error is no smaller, their evidence stays. Ctrl-C ends the sampling like all else.
    """
    fast = integrate(problem, rng)
    if is_good(fast) or is_tolerable(problem, fast):
        return fast
    if not has_nested():
        text = (
            f"the evidence of {words} is known to {fast.error:.2f} only (asked: {MOST_ERROR}); "
            "install whichsun with its extra [nested] and nested sampling takes over there"
        )
        warnings.warn(text, WhichsunWarning, stacklevel=2)
        return fast
    tell(f"{words}: nested sampling, some minutes")

    def told(calls: int, left: float) -> None:
        tell(f"{words}: nested sampling, {calls:,} of at most {MOST_CALLS:,} evaluations")

    slow = by_nested(problem, fast, rng, told)
    return fast if fast.effective >= LEAST_EFFECTIVE and fast.error <= slow.error else slow


def is_tolerable(problem: Problem, evidence: Evidence) -> bool:
    """Whether an evidence whose unknown angles were followed up in rounds is kept with a larger error."""
    in_rounds = problem.data.has_spots and bool(problem.nuisances.periodic.any())
    return in_rounds and evidence.error <= TOLERATED and evidence.effective >= FEWEST


def by_nested(
    problem: Problem,
    fast: Evidence,
    rng: np.random.Generator,
    tell: Callable[[int, float], None] = lambda calls, left: None,
) -> Evidence:
    """The same evidence by nested sampling: value, error and draws replaced, the scan's cells kept."""
    found = nested(problem, rng, LIVE_POINTS, most_calls=MOST_CALLS, tell=tell)
    return replace(
        fast,
        ln_evidence=found.ln_evidence,
        error=found.error,
        effective=float(1 / (found.weight**2).sum()),
        u=found.u,
        eta=found.eta,
        ln_like=found.ln_like,
        weight=found.weight,
        by="nested",
    )

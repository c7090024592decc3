"""Where the fast route leaves too large an error, nested sampling takes over; without it, one warning says so."""

from __future__ import annotations

import importlib.util
import warnings
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ...models.errors import WhichsunWarning
from .cells import Evidence
from .evidence import LEAST_EFFECTIVE, MOST_ERROR, integrate
from .nested import nested
from .problem import Problem

LIVE_POINTS = 1000


def is_good(evidence: Evidence) -> bool:
    """Whether enough draws carry an evidence and its stated error is small."""
    return evidence.effective >= LEAST_EFFECTIVE and evidence.error <= MOST_ERROR


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
    enough and the sampler's own error is no smaller, their evidence stays.
    """
    fast = integrate(problem, rng)
    if is_good(fast):
        return fast
    if not has_nested():
        text = (
            f"the evidence of {words} is known to {fast.error:.2f} only (asked: {MOST_ERROR}); "
            "install whichsun with its extra [nested] and nested sampling takes over there"
        )
        warnings.warn(text, WhichsunWarning, stacklevel=2)
        return fast
    tell(f"{words}: nested sampling, some minutes")
    slow = by_nested(problem, fast, rng)
    return fast if fast.effective >= LEAST_EFFECTIVE and fast.error <= slow.error else slow


def by_nested(problem: Problem, fast: Evidence, rng: np.random.Generator) -> Evidence:
    """The same evidence by nested sampling: value, error and draws replaced, the scan's cells kept."""
    found = nested(problem, rng, LIVE_POINTS)
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

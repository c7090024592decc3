"""The evidence by nested sampling: the reference for the fast route.

dynesty (Speagle 2020, MNRAS 493, 3132) draws in the unit cube of scan place and nuisances; prior and likelihood are
those of the fast route, so that both integrate the same function.
"""

from __future__ import annotations

import importlib
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...models.geometry import Array
from .problem import Problem

LIVE_POINTS = 500
REMAINDER = 0.01  # of ln evidence left in the live points when sampling ends
TOLD_EVERY = 2000  # evaluations between two words of progress


@dataclass(frozen=True)
class Nested:
    """Result of nested sampling.

    Attributes
    ----------
    ln_evidence, error : float
        Natural logarithm and the sampler's own standard error.
    calls : int
        Evaluations of the likelihood.
    u, eta, ln_like : ndarray
        Draws of the scan place (n,), the nuisances (n, k) and ln likelihood (n,).
    weight : ndarray, shape (n,)
        Posterior weights, sum 1.
    """

    ln_evidence: float
    error: float
    calls: int
    u: Array
    eta: Array
    ln_like: Array
    weight: Array


def nested(
    problem: Problem,
    rng: np.random.Generator,
    live_points: int = LIVE_POINTS,
    *,
    most_calls: int | None = None,
    tell: Callable[[int, float], None] = lambda calls, left: None,
) -> Nested:
    """Evidence of a problem by static nested sampling.

    Parameters
    ----------
    problem : Problem
    rng : numpy.random.Generator
    live_points : int
        More of them find more separate modes and lessen the error, at a proportional price.
    most_calls : int, optional
        Evaluations of the likelihood after which it ends in any case; what the live points may still hold is then
        added to the error.
    tell : callable
        Called now and then with the evaluations done and how much ln evidence may still be left in the live points.

    Raises
    ------
    ImportError
        dynesty is not installed.
    """
    maker: Any = importlib.import_module("dynesty").NestedSampler

    nuisances = problem.nuisances
    scanned = 1 if problem.axes else 0
    size = scanned + len(nuisances.sigma)

    def parts(unit: Array) -> tuple[Array, Array]:
        unit = np.clip(np.atleast_2d(unit), 1e-12, 1 - 1e-12)
        u = unit[:, 0] if scanned else np.full(len(unit), 0.5)
        return u, nuisances.draw(unit[:, scanned:])

    def ln_like(unit: Array) -> float:
        u, eta = parts(unit)
        return float(problem.ln_whole(u, eta)[0])

    periodic = [scanned + int(index) for index in np.flatnonzero(nuisances.periodic)]
    options: dict[str, Any] = {"periodic": periodic} if periodic else {}
    sampler = maker(
        ln_like, lambda unit: unit, size, nlive=live_points, sample="rwalk", rstate=rng, **options
    )
    last, left = 0, np.inf

    def follow(results: Any, _iteration: int, calls: int, add_live_it: int | None = None, **_: Any) -> None:
        nonlocal last, left
        if add_live_it is None:
            left = float(results.delta_logz)
        if calls - last >= TOLD_EVERY:
            last = calls
            tell(calls, left)

    with warnings.catch_warnings():  # what is left is told by the error
        warnings.filterwarnings("ignore", message="The sampling was stopped short", category=UserWarning)
        sampler.run_nested(dlogz=REMAINDER, maxcall=most_calls, print_progress=True, print_func=follow)
    found = sampler.results
    unfinished = left if np.isfinite(left) and left > REMAINDER else 0.0
    u, eta = parts(np.asarray(found.samples))
    weight = np.exp(found.logwt - found.logz[-1])
    return Nested(
        float(found.logz[-1]),
        float(np.hypot(found.logzerr[-1], unfinished)),
        int(np.sum(found.ncall)),
        u,
        eta,
        np.asarray(found.logl),
        weight / weight.sum(),
    )

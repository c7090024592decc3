"""Importance sampling from the mixture that a scan found: the correction of its Laplace integrals."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln, ndtri
from scipy.stats import chi2

from ...models.geometry import Array
from .cells import Cells, Evidence
from .numeric import ln_sum, sobol_points
from .problem import Nuisances, Problem

PRIOR_SHARE = 0.15


def importance(problem: Problem, cells: Cells, points: int, rng: np.random.Generator) -> Evidence:
    """Draw from the scan's mixture and weigh: cell from the scan, nuisances from Student's t (4)."""
    nuisances, modes = problem.nuisances, cells.modes
    k = len(nuisances.sigma)
    cell_width = cells.high - cells.low
    ln_component = np.concatenate([cells.ln_flat, modes.ln_mass])
    home = np.concatenate([np.arange(len(cell_width)), modes.node])
    ln_component = ln_component + np.log(cell_width)[home]
    ln_component -= ln_sum(ln_component)
    unit = sobol_points(points, k + 3, rng)
    u, eta = _draw(cells, nuisances, ln_component, home, unit)
    eta = nuisances.wrapped(eta)
    cell = np.clip(np.searchsorted(cells.low, u, side="right") - 1, 0, len(cell_width) - 1)
    ln_prior = nuisances.ln_prior(eta)
    parts = [np.log(PRIOR_SHARE) + ln_prior, _flat_part(ln_component, cell_width, cell) + ln_prior]
    parts.append(_modes_density(cells, nuisances, ln_component[len(cell_width) :], u, eta, cell))
    ln_proposal = np.logaddexp.reduce([parts[0], *(p + np.log(1 - PRIOR_SHARE) for p in parts[1:])])
    inside = np.isfinite(ln_prior)
    ln_like = np.full(points, -np.inf)
    poses = problem.poses(u[inside], _clipped(nuisances, eta[inside]))
    ln_like[inside] = problem.evaluate(u[inside], eta[inside], poses).ln_like + problem.ln_limbs(poses)
    ln_weight = np.where(inside, ln_prior + ln_like - ln_proposal, -np.inf)
    ln_total = ln_sum(ln_weight)
    weight = np.exp(ln_weight - ln_total)
    effective = 1 / (weight**2).sum()
    error = np.sqrt(max(1 / effective - 1 / points, 0.0))
    return Evidence(
        float(ln_total - np.log(points)),
        float(error),
        float(effective),
        cells.ln_evidence,
        cells,
        u,
        eta,
        ln_like,
        weight,
    )


def _clipped(nuisances: Nuisances, eta: Array) -> Array:
    bounded = nuisances.uniform & ~nuisances.periodic
    return np.where(bounded, np.clip(eta, nuisances.low, nuisances.high), eta)


def _draw(
    cells: Cells, nuisances: Nuisances, ln_component: Array, home: np.ndarray, unit: Array
) -> tuple[Array, Array]:
    """Scan places and nuisances of the proposal from uniform numbers (n, k + 3)."""
    n, k = len(unit), unit.shape[1] - 3
    from_prior = unit[:, 0] < PRIOR_SHARE
    pick = (unit[:, 0] - PRIOR_SHARE) / (1 - PRIOR_SHARE)
    total = np.cumsum(np.exp(ln_component))
    component = np.searchsorted(total / total[-1], np.clip(pick, 0, 1 - 1e-12), side="right")
    component = np.minimum(component, len(ln_component) - 1)
    cell = home[component]
    u = np.where(from_prior, unit[:, 1], cells.low[cell] + (cells.high - cells.low)[cell] * unit[:, 1])
    eta = nuisances.draw(unit[:, 3:])
    mode = component - len(cells.low)
    local = np.flatnonzero(~from_prior & (mode >= 0))
    stretch = np.sqrt(4 / chi2.ppf(unit[local, 2], 4))
    normal = ndtri(unit[local, 3:]) * stretch[:, None]
    which = mode[local]
    eta[local] = cells.modes.eta[which] + np.einsum("nij,nj->ni", cells.modes.root[which], normal)
    assert eta.shape == (n, k)
    return u, eta


def _flat_part(ln_component: Array, cell_width: Array, cell: np.ndarray) -> Array:
    return ln_component[cell] - np.log(cell_width[cell])


def _modes_density(
    cells: Cells, nuisances: Nuisances, ln_mass: Array, u: Array, eta: Array, cell: np.ndarray
) -> Array:
    """ln density of the modes' part of the proposal at (u, eta)."""
    modes, k = cells.modes, eta.shape[1]
    result = np.full(len(u), -np.inf)
    start = np.searchsorted(modes.node, np.arange(len(cells.low)))
    stop = np.searchsorted(modes.node, np.arange(len(cells.low)), side="right")
    inverse = np.linalg.inv(modes.root)
    ln_det = np.log(np.einsum("mkk->mk", modes.root)).sum(-1)
    constant = gammaln((4 + k) / 2) - gammaln(2.0) - 0.5 * k * np.log(4 * np.pi)
    for nth in range(int((stop - start).max(initial=0))):
        here = np.flatnonzero(start[cell] + nth < stop[cell])
        mode = start[cell[here]] + nth
        gap = eta[here] - modes.eta[mode]
        gap = np.where(nuisances.periodic, (gap + np.pi) % (2 * np.pi) - np.pi, gap)
        strain = (np.einsum("nij,nj->ni", inverse[mode], gap) ** 2).sum(-1)
        ln_t = constant - ln_det[mode] - (4 + k) / 2 * np.log1p(strain / 4)
        ln_width = np.log(cells.high - cells.low)[cell[here]]
        result[here] = np.logaddexp(result[here], ln_mass[mode] - ln_width + ln_t)
    return result

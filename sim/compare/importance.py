"""Importance sampling from the mixture that a scan found: the correction of its Laplace integrals."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln, ndtri
from scipy.stats import chi2

from ...models.geometry import Array
from .cells import Cells, Evidence
from .modes import Modes
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
    if cells.lone is not None:
        ln_component = np.concatenate([ln_component, cells.lone.ln_mass])
        home = np.concatenate([home, cells.lone.node])
    ln_component = ln_component + np.log(cell_width)[home]
    ln_component -= ln_sum(ln_component)
    unit = sobol_points(points, k + 3, rng)
    u, eta = _draw(cells, nuisances, ln_component, home, unit)
    eta = nuisances.wrapped(eta)
    cell = np.clip(np.searchsorted(cells.low, u, side="right") - 1, 0, len(cell_width) - 1)
    ln_prior = nuisances.ln_prior(eta)
    parts = [np.log(PRIOR_SHARE) + ln_prior, _flat_part(ln_component, cell_width, cell) + ln_prior]
    ends = len(cell_width), len(cell_width) + len(modes.node)
    width = np.log(cell_width)[cell]
    every = np.arange(k)
    masses = ln_component[ends[0] : ends[1]], ln_component[ends[1] :]
    parts.append(_modes_density(modes, nuisances, every, masses[0], eta, cell, width))
    if cells.lone is not None:
        columns = np.array(cells.lone_columns)
        others = nuisances.ln_priors(eta)[:, np.setdiff1d(every, columns)].sum(1)
        parts.append(_modes_density(cells.lone, nuisances, columns, masses[1], eta, cell, width) + others)
    ln_proposal = np.logaddexp.reduce([parts[0], *(p + np.log(1 - PRIOR_SHARE) for p in parts[1:])])
    inside = np.isfinite(ln_prior)
    ln_like = np.full(points, -np.inf)
    poses = problem.poses(u[inside], nuisances.inside(eta[inside]))
    ln_like[inside] = problem.ln_whole(u[inside], eta[inside], poses)
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
    first_lone = len(cells.modes.node)
    local = np.flatnonzero(~from_prior & (mode >= 0) & (mode < first_lone))
    eta[local] = _from_modes(cells.modes, mode[local], unit[local, 2], unit[local, 3:])
    if cells.lone is not None:
        alone = np.flatnonzero(~from_prior & (mode >= first_lone))
        columns = np.array(cells.lone_columns)
        some = unit[np.ix_(alone, 3 + columns)]
        eta[np.ix_(alone, columns)] = _from_modes(cells.lone, mode[alone] - first_lone, unit[alone, 2], some)
    assert eta.shape == (n, k)
    return u, eta


def _from_modes(modes: Modes, which: np.ndarray, unit_stretch: Array, unit: Array) -> Array:
    """Student's t draws about modes from uniform numbers (m,) and (m, k)."""
    stretch = np.sqrt(4 / chi2.ppf(unit_stretch, 4))
    normal = ndtri(unit) * stretch[:, None]
    return modes.eta[which] + np.einsum("nij,nj->ni", modes.root[which], normal)


def _flat_part(ln_component: Array, cell_width: Array, cell: np.ndarray) -> Array:
    return ln_component[cell] - np.log(cell_width[cell])


def _modes_density(
    modes: Modes,
    nuisances: Nuisances,
    columns: np.ndarray,
    ln_mass: Array,
    eta: Array,
    cell: np.ndarray,
    ln_width: Array,
) -> Array:
    """ln density of a part of the proposal: modes of each draw's cell, in the nuisances in `columns`.

    `ln_mass` is that of the modes, `ln_width` the cell's, for each draw.
    """
    k, part = len(columns), eta[:, columns]
    periodic = nuisances.periodic[columns]
    result = np.full(len(eta), -np.inf)
    start = np.searchsorted(modes.node, cell)
    stop = np.searchsorted(modes.node, cell, side="right")
    inverse = np.linalg.inv(modes.root)
    ln_det = np.log(np.einsum("mkk->mk", modes.root)).sum(-1)
    constant = gammaln((4 + k) / 2) - gammaln(2.0) - 0.5 * k * np.log(4 * np.pi)
    for nth in range(int((stop - start).max(initial=0))):
        here = np.flatnonzero(start + nth < stop)
        mode = start[here] + nth
        gap = part[here] - modes.eta[mode]
        gap = np.where(periodic, (gap + np.pi) % (2 * np.pi) - np.pi, gap)
        strain = (np.einsum("nij,nj->ni", inverse[mode], gap) ** 2).sum(-1)
        ln_t = constant - ln_det[mode] - (4 + k) / 2 * np.log1p(strain / 4)
        result[here] = np.logaddexp(result[here], ln_mass[mode] - ln_width[here] + ln_t)
    return result

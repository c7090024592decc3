"""The evidence of one variant: a scan over its own parameter with Laplace integrals over the nuisances,
then corrected by importance sampling with a stated numerical error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln, logsumexp, ndtri
from scipy.stats import chi2, qmc

from ...models.geometry import Array
from . import world
from .handheld import roll_seeds
from .modes import Frame, Modes, modes_from, pair_seeds
from .problem import Problem

MOST_MODES = 5
PRIOR_SHARE = 0.15
FIRST_POINTS, MOST_POINTS = 2048, 32768
LEAST_EFFECTIVE, MOST_ERROR = 200.0, 0.05
SETTLED = 0.02
COARSE = 4.0  # sigmas per cell in a rough scan
PEAK_NATS = 25.0
_PROBES, _FEWEST, _MOST_CELLS, _MOST_SPLITS = 257, 32, 1200, 8
_CELL_TURN = np.deg2rad(10.0)
_MOST_SUB_CELLS = 120
_TRIALS, _HAND_HELD_TRIALS = 25_000, 6_000
_USUAL_PAIRS = 100


@dataclass(frozen=True)
class Cells:
    """Pieces of the scanned parameter's prior (coordinate 0 to 1) with their modes and integrals.

    Attributes
    ----------
    low, high : ndarray, shape (c,)
    ln_flat : ndarray, shape (c,)
        ln of the nuisance-averaged likelihood with nothing matched.
    modes : Modes
    """

    low: Array
    high: Array
    ln_flat: Array
    modes: Modes

    @property
    def middle(self) -> Array:
        """Scan places."""
        return (self.low + self.high) / 2

    @property
    def ln_like(self) -> Array:
        """ln of the nuisance-averaged likelihood Z(parameter), kept for pooling; shape (c,)."""
        total = np.exp(np.minimum(self.ln_flat - self._top, 0))
        np.add.at(total, self.modes.node, np.exp(self.modes.ln_mass - self._top[self.modes.node]))
        return self._top + np.log(total)

    @property
    def _top(self) -> Array:
        top = self.ln_flat.copy()
        np.maximum.at(top, self.modes.node, self.modes.ln_mass)
        return top

    @property
    def ln_evidence(self) -> float:
        """ln of the integral over the cells."""
        return float(logsumexp(self.ln_like + np.log(self.high - self.low)))


@dataclass(frozen=True)
class Evidence:
    """Evidence of one variant and weighted draws from its posterior.

    Attributes
    ----------
    ln_evidence, error : float
        Natural logarithm and its numerical standard error.
    effective : float
        Effective sample size.
    laplace : float
        The scan's own value before the correction.
    cells : Cells
    u, eta, ln_like : ndarray
        Draws of the scan place, the nuisances, and ln likelihood.
    weight : ndarray
        Posterior weights, sum 1.
    """

    ln_evidence: float
    error: float
    effective: float
    laplace: float
    cells: Cells
    u: Array
    eta: Array
    ln_like: Array
    weight: Array


def integrate(problem: Problem, rng: np.random.Generator, *, rough: bool = False) -> Evidence:
    """Evidence of a problem; `rough`: from a coarse scan alone, to see whether more is worth while."""
    cells = settled_cells(problem, COARSE if rough else 1.0)
    if rough:
        return _scan_only(problem, cells)
    points = FIRST_POINTS
    while True:
        result = importance(problem, cells, points, rng)
        good = result.effective >= LEAST_EFFECTIVE and result.error <= MOST_ERROR
        if good or points >= MOST_POINTS:
            return result
        points *= 4


def _scan_only(problem: Problem, cells: Cells) -> Evidence:
    middle = cells.middle
    modes = cells.modes
    mass = modes.ln_mass + np.log(cells.high - cells.low)[modes.node]
    weight = np.exp(mass - logsumexp(mass)) if len(mass) else mass
    total = cells.ln_evidence
    return Evidence(total, np.nan, np.nan, total, cells, middle[modes.node], modes.eta, modes.ln_mass, weight)


def settled_cells(problem: Problem, spacing: float = 1.0) -> Cells:
    """Scan in cells of `spacing` sigma, then halve the cells about the maxima until the evidence holds."""
    cells = scan(problem, *first_cells(problem, spacing))
    if not problem.axes:
        return cells
    value = cells.ln_evidence
    for _ in range(_MOST_SPLITS):
        mass = cells.ln_like + np.log(cells.high - cells.low)
        heavy = mass > logsumexp(mass) + np.log(0.01)
        peak = np.zeros(len(mass), dtype=bool)
        inner = cells.ln_like
        peak[1:-1] = (inner[1:-1] >= inner[:-2]) & (inner[1:-1] >= inner[2:]) & (inner[1:-1] > inner.max() - PEAK_NATS)
        split = heavy | (peak & (inner > cells.ln_flat + 1))
        if not split.any() or len(mass) + split.sum() > 2 * _MOST_CELLS:
            return cells
        middle = cells.middle[split]
        new = scan(
            problem,
            np.concatenate([cells.low[split], middle]),
            np.concatenate([middle, cells.high[split]]),
        )
        cells = _joined(cells, ~split, new)
        before, value = value, cells.ln_evidence
        if abs(value - before) < SETTLED:
            return cells
    return cells


def _joined(old: Cells, kept: np.ndarray, new: Cells) -> Cells:
    number = np.cumsum(kept) - 1
    stay = kept[old.modes.node]
    node = np.concatenate([number[old.modes.node[stay]], kept.sum() + new.modes.node])
    low = np.concatenate([old.low[kept], new.low])
    order = np.argsort(low)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    node = rank[node]
    by_node = np.argsort(node, kind="stable")
    return Cells(
        low[order],
        np.concatenate([old.high[kept], new.high])[order],
        np.concatenate([old.ln_flat[kept], new.ln_flat])[order],
        Modes(
            node[by_node],
            np.concatenate([old.modes.eta[stay], new.modes.eta])[by_node],
            np.concatenate([old.modes.root[stay], new.modes.root])[by_node],
            np.concatenate([old.modes.ln_mass[stay], new.modes.ln_mass])[by_node],
        ),
    )


def first_cells(problem: Problem, spacing: float = 1.0) -> tuple[Array, Array]:
    """Cells across which no spot moves more than about `spacing` sigma between shots."""
    if not problem.axes:
        return np.zeros(1), np.ones(1)
    u = (np.arange(_PROBES) + 0.5) / _PROBES
    eta = _centre_eta(problem, _PROBES)
    poses = problem.poses(u, eta)
    relative = poses.axes[:, 1:] @ np.swapaxes(poses.axes[:, :1], -1, -2)
    turn = np.linalg.norm(np.diff(relative, axis=0), axis=(-1, -2)).max(-1) / np.sqrt(2)
    length = turn / spot_sigma(problem)
    for ratio in problem.data.limb_ratios:
        size = -0.5 * np.log(poses.distance**2 - 1)
        length = length + np.abs(np.diff(size[:, ratio.shot] - size[:, 0])) / ratio.sigma
    length = np.minimum(length, 16.0)
    path = np.concatenate([[0.0], np.cumsum(length + 0.3)])
    count = int(np.clip(path[-1] / spacing, _FEWEST, _most_cells(problem) / spacing))
    places = np.interp(np.linspace(0, path[-1], count + 1), path, np.linspace(0, 1, _PROBES))
    return places[:-1], places[1:]


def _most_cells(problem: Problem) -> int:
    """Cells at first: fewer where every cell is searched over further unknowns (they are halved later)."""
    sub = len(_sub_cells(problem, np.full(1, 0.5))[0])
    by_hand = bool(problem.nuisances.uniform[: problem.data.n_shots].any())
    budget = _HAND_HELD_TRIALS if by_hand else _TRIALS
    counts = problem.data.counts
    crowd = max(1.0, counts[0] * counts[-1] / _USUAL_PAIRS)
    return min(_MOST_CELLS, max(4 * _FEWEST, int(budget / sub / crowd)))


def spot_sigma(problem: Problem) -> float:
    """Typical uncertainty of the offset of a spot between two shots, radians."""
    root = problem.data.detections.root
    place = 2 * np.median((root**2).sum((-1, -2))) / 2
    drift = world.DRIFT_RAD_PER_DAY[0] * np.ptp(problem.data.days)
    return float(np.sqrt(place + drift**2 + 2 * world.JITTER_RAD**2))


def _centre_eta(problem: Problem, n: int) -> Array:
    nuisances = problem.nuisances
    centre = np.where(nuisances.uniform & ~nuisances.periodic, (nuisances.low + nuisances.high) / 2, 0.0)
    return np.tile(centre, (n, 1))


def scan(problem: Problem, low: Array, high: Array) -> Cells:
    """Modes and plateau of every cell, taken at its middle."""
    u = (low + high) / 2
    flat = _plateau(problem, u)
    node, part_u, part_eta, width = _sub_cells(problem, u)
    frame = Frame(problem, part_u, part_eta)
    if problem.nuisances.uniform[: problem.data.n_shots].any():
        row, seeds = roll_seeds(frame, MOST_MODES)
    else:
        row, seeds = pair_seeds(frame, width, MOST_MODES)
    if len(node) > len(u) and len(row):
        value = problem.evaluate(part_u[row], seeds, rough=True).ln_like
        chosen = _best_seeds(node[row], value)
        row, seeds = row[chosen], seeds[chosen]
    modes = modes_from(_frame_for(frame, row, seeds), node[row], seeds, MOST_MODES) if len(row) else _no_modes(problem)
    limbs = problem.ln_limbs(problem.poses(u, _centre_eta(problem, len(u)))) if problem.data.limb_ratios else 0.0
    if problem.data.limb_ratios:
        flat = flat + limbs
        modes = Modes(modes.node, modes.eta, modes.root, modes.ln_mass + np.asarray(limbs)[modes.node])
    return Cells(low, high, flat, modes)


def _best_seeds(node: np.ndarray, value: Array) -> np.ndarray:
    from .modes import best_of_each

    return best_of_each(node, value, 3 * MOST_MODES)


def _frame_for(frame: Frame, row: np.ndarray, seeds: Array) -> Frame:
    """A frame with one row per seed, laid anew where further parameters move the view."""
    if frame.problem.nuisances.first_extra == len(frame.problem.nuisances.sigma):
        return frame.part(row)
    return Frame(frame.problem, frame.u[row], seeds)


def _no_modes(problem: Problem) -> Modes:
    k = len(problem.nuisances.sigma)
    return Modes(np.empty(0, dtype=int), np.empty((0, k)), np.empty((0, k, k)), np.empty(0))


def _plateau(problem: Problem, u: Array) -> Array:
    """ln of the unmatched part averaged over the nuisances that have a uniform prior."""
    nuisances = problem.nuisances
    if not nuisances.uniform.any():
        return problem.evaluate(u, _centre_eta(problem, len(u)), rough=True).ln_unmatched
    draws = 16
    unit = qmc.Sobol(len(nuisances.sigma), seed=1).random(draws)
    eta = np.where(nuisances.uniform, nuisances.draw(np.clip(unit, 1e-9, 1 - 1e-9)), 0.0)
    value = problem.evaluate(np.repeat(u, draws), np.tile(eta, (len(u), 1)), rough=True).ln_unmatched
    return logsumexp(value.reshape(len(u), draws), axis=1) - np.log(draws)


def _sub_cells(problem: Problem, u: Array) -> tuple[np.ndarray, Array, Array, Array]:
    """Grid over the mount's angle and further parameters: node, u, centre eta, width of the search."""
    nuisances = problem.nuisances
    width = np.where(nuisances.uniform, 0.0, nuisances.width)
    gridded = np.flatnonzero(nuisances.uniform & (np.arange(len(width)) > nuisances.clock))
    if len(gridded) == 0:
        return np.arange(len(u)), u, _centre_eta(problem, len(u)), width
    centre = _centre_eta(problem, 1)[0]
    counts = [_parts_of(problem, index) for index in gridded]
    while np.prod(counts) > _MOST_SUB_CELLS:
        counts = [max(2, int(c * 0.8)) for c in counts]
    grids = [
        nuisances.low[i] + (nuisances.high[i] - nuisances.low[i]) * (np.arange(c) + 0.5) / c
        for i, c in zip(gridded, counts, strict=True)
    ]
    places = np.stack([g.ravel() for g in np.meshgrid(*grids, indexing="ij")], axis=-1)
    for index, count in zip(gridded, counts, strict=True):
        width[index] = (nuisances.high[index] - nuisances.low[index]) / count / 2 / 3
    node = np.repeat(np.arange(len(u)), len(places))
    eta = np.tile(centre, (len(node), 1))
    eta[:, gridded] = np.tile(places, (len(u), 1))
    return node, u[node], eta, width


def _parts_of(problem: Problem, index: int) -> int:
    """How many parts of one nuisance turn the view by at most about 10 degrees each."""
    nuisances = problem.nuisances
    if nuisances.periodic[index]:
        return 36
    eta = _centre_eta(problem, 65)
    eta[:, index] = np.linspace(nuisances.low[index], nuisances.high[index], 65)
    axes = problem.axes_at(np.full(65, 0.5), eta)
    turn = np.linalg.norm(np.diff(axes, axis=0), axis=(-1, -2)).max(-1) / np.sqrt(2)
    return int(np.clip(np.ceil(turn.sum() / _CELL_TURN), 4, _MOST_SUB_CELLS))


def importance(problem: Problem, cells: Cells, points: int, rng: np.random.Generator) -> Evidence:
    """Draw from the scan's mixture and weigh: cell from the scan, nuisances from Student's t (4)."""
    nuisances, modes = problem.nuisances, cells.modes
    k = len(nuisances.sigma)
    cell_width = cells.high - cells.low
    ln_component = np.concatenate([cells.ln_flat, modes.ln_mass])
    home = np.concatenate([np.arange(len(cell_width)), modes.node])
    ln_component = ln_component + np.log(cell_width)[home]
    ln_component -= logsumexp(ln_component)
    sobol = qmc.Sobol(k + 3, rng=rng) if _SOBOL_RNG else qmc.Sobol(k + 3, seed=rng)
    unit = np.clip(sobol.random(points), 1e-12, 1 - 1e-12)
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
    ln_total = logsumexp(ln_weight)
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


def _clipped(nuisances, eta: Array) -> Array:
    bounded = nuisances.uniform & ~nuisances.periodic
    return np.where(bounded, np.clip(eta, nuisances.low, nuisances.high), eta)


def _draw(cells: Cells, nuisances, ln_component: Array, home: np.ndarray, unit: Array) -> tuple[Array, Array]:
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
    cells: Cells, nuisances, ln_mass: Array, u: Array, eta: Array, cell: np.ndarray
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


def _sobol_takes_rng() -> bool:
    import inspect

    return "rng" in inspect.signature(qmc.Sobol).parameters


_SOBOL_RNG = _sobol_takes_rng()

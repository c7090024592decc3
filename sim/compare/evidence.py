"""The evidence of one variant: a scan over its own parameter with Laplace integrals over the nuisances,
then corrected by importance sampling with a stated numerical error.
"""

from __future__ import annotations

import numpy as np

from ...models.geometry import Array
from . import world
from .cells import Cells, Evidence
from .enriching import enriched
from .handheld import chained_seeds, roll_seeds
from .importance import importance
from .modes import Frame, Modes, best_of_each, joined_modes, modes_from, pair_seeds
from .numeric import ln_sum, sobol_points
from .problem import Problem
from .quantities_likelihood import angles_move, ln_floor, path_length, touched
from .quantities_modes import lone_modes

MOST_MODES, MOST_LONE_MODES = 5, 3
MOST_SEEDS = 8  # per cell, where cells are searched over further unknowns
FREE_MODES, FREE_SEEDS = 20, 40  # the same where rolls are free too: the modes then line a ridge
FIRST_POINTS, MOST_POINTS = 2048, 32768
LEAST_EFFECTIVE, MOST_ERROR = 200.0, 0.05
FOLLOWED_POINTS, ROUNDS = 16384, 2  # first, where modes are followed up, and rounds with the same number
SETTLED = 0.02
COARSE = 4.0  # sigmas per cell in a rough scan
PEAK_NATS = 25.0
_PROBES, _FEWEST, _MOST_CELLS, _MOST_SPLITS = 257, 32, 1200, 8
_CELL_TURN = np.deg2rad(10.0)
_ANGLE_PARTS = (
    24  # where a measured angle depends on a nuisance: it may go round, and fast at the disc's centre
)
_MOST_SUB_CELLS = 120
_TRIALS, _HAND_HELD_TRIALS = 8_000, 6_000
_USUAL_PAIRS = 100


def integrate(problem: Problem, rng: np.random.Generator, *, rough: bool = False) -> Evidence:
    """Evidence of a problem; `rough`: from a coarse scan alone, to see whether more is worth while."""
    cells = settled_cells(problem, COARSE if rough else 1.0)
    if rough:
        return _scan_only(problem, cells)
    if problem.data.has_spots and problem.nuisances.periodic.any():
        return _followed_up(problem, cells, rng)
    points = FIRST_POINTS
    while True:
        result = importance(problem, cells, points, rng)
        if is_good(result) or points >= MOST_POINTS:
            return result
        points *= 4


def is_good(evidence: Evidence) -> bool:
    """Whether enough draws carry an evidence and its stated error is small."""
    return evidence.effective >= LEAST_EFFECTIVE and evidence.error <= MOST_ERROR


def _followed_up(problem: Problem, cells: Cells, rng: np.random.Generator) -> Evidence:
    """Importance sampling where angles are unknown: in rounds, each with the modes that the draws before came upon.

    It ends when a round is good and says what the one before it said: draws that all miss a mode agree too well.
    """
    points, before, rounds = FOLLOWED_POINTS, None, 0
    while True:
        result = importance(problem, cells, points, rng)
        if before is not None and is_good(result):
            change = abs(result.ln_evidence - before.ln_evidence)
            if change < max(MOST_ERROR, 2 * float(np.hypot(result.error, before.error))):
                return result
        rounds += 1
        if rounds % ROUNDS == 0:
            if points >= MOST_POINTS:
                return result
            points *= 2
        cells, before = enriched(problem, cells, result), result


def _scan_only(problem: Problem, cells: Cells) -> Evidence:
    middle = cells.middle
    modes = cells.modes
    if cells.lone is not None:
        modes = joined_modes(modes, spread_out(problem, cells.lone, cells.lone_columns))
    mass = modes.ln_mass + np.log(cells.high - cells.low)[modes.node]
    weight = np.exp(mass - ln_sum(mass)) if len(mass) else mass
    total = cells.ln_evidence
    return Evidence(total, np.nan, np.nan, total, cells, middle[modes.node], modes.eta, modes.ln_mass, weight)


def settled_cells(problem: Problem, spacing: float = 1.0) -> Cells:
    """Scan in cells of `spacing` sigma, then halve the cells about the maxima until the evidence holds."""
    cells = scan(problem, *first_cells(problem, spacing), rough=spacing > 1)
    if not problem.axes:
        return cells
    value = cells.ln_evidence
    for _ in range(_MOST_SPLITS):
        mass = cells.ln_like + np.log(cells.high - cells.low)
        heavy = mass > ln_sum(mass) + np.log(0.01)
        peak = np.zeros(len(mass), dtype=bool)
        inner = cells.ln_like
        peak[1:-1] = (
            (inner[1:-1] >= inner[:-2]) & (inner[1:-1] >= inner[2:]) & (inner[1:-1] > inner.max() - PEAK_NATS)
        )
        split = heavy | (peak & (inner > cells.ln_flat + 1))
        if not split.any() or len(mass) + split.sum() > 2 * _MOST_CELLS:
            return cells
        middle = cells.middle[split]
        new = scan(
            problem,
            np.concatenate([cells.low[split], middle]),
            np.concatenate([middle, cells.high[split]]),
            rough=spacing > 1,
        )
        cells = _joined(cells, ~split, new)
        before, value = value, cells.ln_evidence
        if abs(value - before) < SETTLED:
            return cells
    return cells


def _joined(old: Cells, kept: np.ndarray, new: Cells) -> Cells:
    number = np.cumsum(kept) - 1
    low = np.concatenate([old.low[kept], new.low])
    order = np.argsort(low)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))

    def merged(before: Modes, after: Modes) -> Modes:
        stay = kept[before.node]
        first = Modes(rank[number[before.node[stay]]], *(part[stay] for part in before.arrays))
        return joined_modes(first, Modes(rank[kept.sum() + after.node], *after.arrays))

    return Cells(
        low[order],
        np.concatenate([old.high[kept], new.high])[order],
        np.concatenate([old.ln_flat[kept], new.ln_flat])[order],
        merged(old.modes, new.modes),
        None if old.lone is None or new.lone is None else merged(old.lone, new.lone),
        new.lone_columns,
    )


def spread_out(problem: Problem, lone: Modes, places: tuple[int, ...]) -> Modes:
    """Modes of quantities alone as states of all nuisances, those they do not touch at their centres."""
    nuisances = problem.nuisances
    eta = centre_eta(problem, len(lone.node))
    columns = np.array(places)
    eta[:, columns] = lone.eta
    root = np.tile(np.diag(nuisances.width), (len(eta), 1, 1))
    root[:, columns[:, None], columns] = lone.root
    return Modes(lone.node, eta, root, lone.ln_mass)


def first_cells(problem: Problem, spacing: float = 1.0) -> tuple[Array, Array]:
    """Cells across which no spot moves more than about `spacing` sigma between shots."""
    if not problem.axes:
        return np.zeros(1), np.ones(1)
    u = (np.arange(_PROBES) + 0.5) / _PROBES
    eta = centre_eta(problem, _PROBES)
    poses = problem.poses(u, eta)
    if problem.data.has_spots:
        relative = poses.axes[:, 1:] @ np.swapaxes(poses.axes[:, :1], -1, -2)
        turn = np.linalg.norm(np.diff(relative, axis=0), axis=(-1, -2)).max(-1) / np.sqrt(2)
        length = turn / spot_sigma(problem)
    else:
        length = np.zeros(_PROBES - 1)
    if problem.data.quantities:
        length = length + path_length(problem, u, eta)
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
    crowd = max(1.0, counts[0] * counts[-1] / _USUAL_PAIRS) if problem.data.has_spots else 1.0
    return min(_MOST_CELLS, max(4 * _FEWEST, int(budget / sub / crowd)))


def spot_sigma(problem: Problem) -> float:
    """Typical uncertainty of the offset of a spot between two shots, radians."""
    root = problem.data.detections.root
    place = 2 * np.median((root**2).sum((-1, -2))) / 2
    drift = world.DRIFT_RAD_PER_DAY[0] * np.ptp(problem.data.days)
    return float(np.sqrt(place + drift**2 + 2 * world.JITTER_RAD**2))


def centre_eta(problem: Problem, n: int) -> Array:
    """Nuisances at the middles of their priors, (n, k)."""
    nuisances = problem.nuisances
    centre = np.where(nuisances.uniform & ~nuisances.periodic, (nuisances.low + nuisances.high) / 2, 0.0)
    return np.tile(centre, (n, 1))


def scan(problem: Problem, low: Array, high: Array, *, rough: bool = False) -> Cells:
    """Modes and plateau of every cell, taken at its middle; `rough`: not more modes than show the sign."""
    u = (low + high) / 2
    flat = _plateau(problem, u)
    node, part_u, part_eta, width = _sub_cells(problem, u)
    frame = Frame(problem, part_u, part_eta)
    lone, places = None, ()
    if problem.data.quantities:
        places = touched(problem)
        lone = lone_modes(frame, node, flat, MOST_LONE_MODES, places)
        flat = flat + ln_floor(problem.data.quantities)
    if not problem.data.has_spots:
        return Cells(low, high, flat, _no_modes(problem), lone, places)
    most, kept = MOST_MODES, MOST_SEEDS
    if problem.nuisances.uniform[: problem.data.n_shots].any():
        if len(node) > len(u) and not rough:
            most, kept = FREE_MODES, FREE_SEEDS
        row, seeds = roll_seeds(frame, MOST_MODES)
    elif problem.data.n_shots > 2:
        row, seeds = chained_seeds(frame, width, MOST_MODES)
    else:
        row, seeds = pair_seeds(frame, width, MOST_MODES)
    if len(node) > len(u) and len(row):
        value = problem.evaluate(part_u[row], seeds, rough=True).ln_like
        if problem.data.quantities:
            value = value + problem.ln_quantities(part_u[row], seeds)
        chosen = best_of_each(node[row], value, kept)
        row, seeds = row[chosen], seeds[chosen]
    modes = (
        modes_from(_frame_for(frame, row, seeds), node[row], seeds, most) if len(row) else _no_modes(problem)
    )
    limbs = (
        problem.ln_limbs(problem.poses(u, centre_eta(problem, len(u)))) if problem.data.limb_ratios else 0.0
    )
    if problem.data.limb_ratios:
        flat = flat + limbs
        modes = Modes(modes.node, modes.eta, modes.root, modes.ln_mass + np.asarray(limbs)[modes.node])
        if lone is not None:
            lone = Modes(lone.node, lone.eta, lone.root, lone.ln_mass + np.asarray(limbs)[lone.node])
    return Cells(low, high, flat, modes, lone, places)


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
        return problem.evaluate(u, centre_eta(problem, len(u)), rough=True).ln_unmatched
    draws = 16
    unit = sobol_points(draws, len(nuisances.sigma), np.random.default_rng(1))
    eta = np.where(nuisances.uniform, nuisances.draw(unit), 0.0)
    value = problem.evaluate(np.repeat(u, draws), np.tile(eta, (len(u), 1)), rough=True).ln_unmatched
    return ln_sum(value.reshape(len(u), draws), axis=1) - np.log(draws)


def _sub_cells(problem: Problem, u: Array) -> tuple[np.ndarray, Array, Array, Array]:
    """Grid over the mount's angle and further parameters: node, u, centre eta, width of the search."""
    nuisances = problem.nuisances
    width = np.where(nuisances.uniform, 0.0, nuisances.width)
    gridded = np.flatnonzero(nuisances.uniform & (np.arange(len(width)) > nuisances.clock))
    if len(gridded) == 0:
        return np.arange(len(u)), u, centre_eta(problem, len(u)), width
    centre = centre_eta(problem, 1)[0]
    counts = [_parts_of(problem, int(index)) for index in gridded]
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
    """How many parts of one nuisance turn the view by at most about 10 degrees each; 24 for a measured angle."""
    nuisances = problem.nuisances
    if nuisances.periodic[index]:
        return 36
    eta = centre_eta(problem, 65)
    eta[:, index] = np.linspace(nuisances.low[index], nuisances.high[index], 65)
    parts = 1
    if problem.data.has_spots:
        axes = problem.axes_at(np.full(65, 0.5), eta)
        turn = (np.linalg.norm(np.diff(axes, axis=0), axis=(-1, -2)).max(-1) / np.sqrt(2)).sum()
        parts = max(np.ceil(turn / _CELL_TURN), 4) if turn > 0 else 1
    if problem.data.quantities:
        parts = max(parts, _ANGLE_PARTS if angles_move(problem, np.full(65, 0.5), eta) else 1)
    return int(min(parts, _MOST_SUB_CELLS))

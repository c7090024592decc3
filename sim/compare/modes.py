"""Where the likelihood stands high in the nuisances: seeds from pairs of spots, then weighted least squares.

A mode is found as a small network adjustment: every pair inside the gate pulls with the chance that it is
a true match, the priors pull back. What comes out only steers the integration; it is never the answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array
from . import world
from .likelihood import Placed, drift_variances, place, tangent_basis, tangent_offsets
from .matching import PairList
from .poses import Poses, rolled
from .problem import Problem
from .quantities_likelihood import pull_at

_ITERATIONS = 6
_SETTLED = 0.02  # a step below so many standard deviations ends the adjustment
_MERGED_AFTER, _MERGED = 1, 0.1  # after the second step; squared Mahalanobis distance of rows that are one
_AT_ONCE = 40_000  # detections times rows
AXES_STEPS = {"clock": 20.0, "latitude": 1e-3, "longitude": 1e-3}  # seconds and degrees; 1e-4 of other priors
_SAME = 4.0  # squared Mahalanobis distance below which two modes are one


@dataclass(frozen=True)
class Modes:
    """Modes of a batch of nodes.

    Attributes
    ----------
    node : ndarray of int, shape (m,)
        Which node each belongs to, not decreasing.
    eta : ndarray, shape (m, k)
    root : ndarray, shape (m, k, k)
        Lower root of the covariance of the normal approximation.
    ln_mass : ndarray, shape (m,)
        ln of the Laplace integral of prior times (L - L unmatched).
    """

    node: np.ndarray
    eta: Array
    root: Array
    ln_mass: Array

    @property
    def arrays(self) -> tuple[Array, Array, Array]:
        """All but the nodes."""
        return self.eta, self.root, self.ln_mass


def joined_modes(first: Modes, second: Modes) -> Modes:
    """Both, sorted by node."""
    node = np.concatenate([first.node, second.node])
    order = np.argsort(node, kind="stable")
    parts = zip(first.arrays, second.arrays, strict=True)
    return Modes(node[order], *(np.concatenate(pair)[order] for pair in parts))


class Frame:
    """Poses and quantities at given nodes and how they move with clock, site and further parameters."""

    def __init__(self, problem: Problem, u: Array, eta: Array) -> None:
        self.problem, self.u, self.eta = problem, u, eta
        nuisances = problem.nuisances
        self.poses = problem.poses(u, eta)
        self.pull = pull_at(problem, u, eta) if problem.data.quantities else None
        self.slope = {}
        for index in nuisances.moving:
            name = nuisances.name_of(index)
            if name == "refraction" or not problem.data.has_spots:
                continue
            step = AXES_STEPS.get(name, 1e-4)
            ahead, behind = eta.copy(), eta.copy()
            ahead[:, index] += step
            behind[:, index] -= step
            self.slope[index] = (problem.axes_at(u, ahead) - problem.axes_at(u, behind)) / (2 * step)

    def part(self, rows: np.ndarray) -> Frame:
        """The same for some rows."""
        new = object.__new__(Frame)
        new.problem, new.u, new.eta = self.problem, self.u[rows], self.eta[rows]
        new.poses = self.poses[rows]
        new.pull = None if self.pull is None else self.pull[rows]
        new.slope = {index: slope[rows] for index, slope in self.slope.items()}
        return new

    def poses_at(self, eta: Array) -> Poses:
        """Poses moved linearly from the frame's own eta, kept orthonormal to second order."""
        axes = self.poses.axes
        for index, slope in self.slope.items():
            axes = axes + slope * (eta[:, index] - self.eta[:, index])[:, None, None, None]
        gram = axes @ np.swapaxes(axes, -1, -2)
        return Poses((1.5 * np.eye(3) - 0.5 * gram) @ axes, self.poses.distance, self.poses.seen)

    def derivatives(
        self, poses: Poses, eta: Array, which: tuple[np.ndarray, np.ndarray], point: Array, stretch: Array
    ) -> Array:
        """d(point)/d(eta), shape (p, k, 3), of points (p, 3) in shots `which[1]` of trials `which[0]`."""
        trial, shot = which
        problem, k = self.problem, len(self.problem.nuisances.sigma)
        s = problem.data.n_shots
        out = np.zeros((len(trial), k, 3))
        rows = np.arange(len(trial))
        by_roll = np.cross(-poses.axes[trial, shot, 2], point)
        out[rows, shot] = by_roll
        out[rows, s + shot] = stretch
        mount = problem.nuisances.mount
        if mount is not None:
            out[:, mount] = by_roll * problem.data.equatorial[shot][:, None]
        if self.slope:
            total = rolled(poses.axes, problem.rolls(eta))
            body = np.einsum("pij,pj->pi", total[trial, shot], point)
            for index, slope in self.slope.items():
                tilted = rolled(slope, problem.rolls(eta))[trial, shot]
                out[:, index] = np.einsum("pi,pij->pj", body, tilted)
        return out


def pair_slopes(
    frame: Frame,
    poses: Poses,
    eta: Array,
    placed: Placed,
    trial: np.ndarray,
    first: np.ndarray,
    second: np.ndarray,
) -> Array:
    """d(offset)/d(eta) of pairs, shape (p, 2, k)."""
    shot = frame.problem.scene.detections.shot
    p1, p2 = placed.point[trial, first], placed.point[trial, second]
    d1 = frame.derivatives(poses, eta, (trial, shot[first]), p1, placed.stretch_y[trial, first])
    d2 = frame.derivatives(poses, eta, (trial, shot[second]), p2, placed.stretch_y[trial, second])
    return np.einsum("pci,pki->pck", tangent_basis(p1, p2), d2 - d1)


def pair_seeds(frame: Frame, width: Array, most: int, *, first_two: bool = False) -> tuple[np.ndarray, Array]:
    """Nuisances that bring single pairs together with the least strain on the priors.

    Parameters
    ----------
    frame : Frame
    width : ndarray, shape (k,)
        How far each nuisance may go from the frame's eta (standard deviations).
    most : int
        Seeds kept per row of the frame.
    first_two : bool
        Only pairs of the first two shots.

    Returns
    -------
    row : ndarray of int, shape (m,)
    eta : ndarray, shape (m, k)
    """
    problem = frame.problem
    scene, eta = problem.scene, frame.eta
    placed = place(scene, frame.poses, problem.rolls(eta), problem.squashes(eta))
    found, days = scene.detections, scene.days
    variance = (placed.spread**2).sum((-1, -2))
    loose = _reach2(frame, width)
    rows, etas, scores = [], [], []
    shots = 2 if first_two else len(days)
    for s in range(shots):
        for t in range(s + 1, shots):
            first, second = np.flatnonzero(found.shot == s), np.flatnonzero(found.shot == t)
            extra = drift_variances(days[t] - days[s])[-1]
            chord = 2 - 2 * placed.point[:, first] @ np.swapaxes(placed.point[:, second], 1, 2)
            bound = variance[:, first, None] + variance[:, None, second] + extra
            bound = bound + (loose[:, s] + loose[:, t])[:, None, None]
            b, i, j = np.nonzero(chord < world.GATE**2 * bound)
            i, j = first[i], second[j]
            delta, cov = tangent_offsets(
                placed.point[b, i], placed.point[b, j], placed.spread[b, i], placed.spread[b, j]
            )
            slope = pair_slopes(frame, frame.poses, eta, placed, b, i, j) * width
            cov = cov + extra * np.eye(2)
            whole = cov + slope @ np.swapaxes(slope, 1, 2)
            solved = np.linalg.solve(whole, delta[..., None])[..., 0]
            strain = np.einsum("pi,pi->p", delta, solved)
            good = strain < world.GATE**2
            step = -np.einsum("pck,pc->pk", slope, solved) * width
            rows.append(b[good])
            etas.append(eta[b[good]] + step[good])
            scores.append(strain[good])
    row, seed, score = np.concatenate(rows), np.concatenate(etas), np.concatenate(scores)
    chosen = best_of_each(row, -score, most)
    return row[chosen], seed[chosen]


def _reach2(frame: Frame, width: Array) -> Array:
    """Square of how far a point can move for one `width` of every nuisance, per row and shot."""
    s = frame.problem.data.n_shots
    reach = np.broadcast_to(width[:s] ** 2 + width[s : 2 * s] ** 2, frame.poses.distance.shape).copy()
    if frame.problem.nuisances.mount is not None:
        reach += width[frame.problem.nuisances.mount] ** 2
    for index, slope in frame.slope.items():
        reach += (slope**2).sum((-1, -2)) * width[index] ** 2
    return reach


def best_of_each(group: np.ndarray, value: Array, most: int) -> np.ndarray:
    """Indices of the `most` largest values of every group, sorted by group, then falling."""
    order = np.lexsort((-value, group))
    sorted_group = group[order]
    start = np.searchsorted(sorted_group, sorted_group)
    return order[np.arange(len(order)) - start < most]


def refine(
    frame: Frame, eta: Array, node: np.ndarray | None = None
) -> tuple[np.ndarray, Array, Array, Array, Array]:
    """Adjust eta (m, k) by pairs and priors; the frame has one row for each.

    Where `node` (m,) is given, rows of one node that run into each other are gone on with once.

    Returns
    -------
    rows : ndarray of int, shape (r,)
        Those that are left.
    eta : ndarray, shape (r, k)
    precision : ndarray, shape (r, k, k)
    ln_like, ln_unmatched : ndarray, shape (r,)
        Of the spots alone.
    """
    nuisances = frame.problem.nuisances
    prior = np.diag(1 / nuisances.width**2)
    pull = np.where(nuisances.uniform, 0.0, 1 / nuisances.width**2)
    tried: Array = eta.copy()
    best: Array = eta.copy()
    best_value = np.full(len(eta), -np.inf)
    left = np.ones(len(eta), dtype=bool)
    active = np.arange(len(eta))
    for count in range(_ITERATIONS):
        gradient, precision, value, _, others = _normal_equations(frame, tried, active, rough=True)
        value = value + others + nuisances.ln_prior(tried[active])
        better = value > best_value[active]
        best[active[better]], best_value[active[better]] = tried[active[better]], value[better]
        precision = precision + prior
        step = np.linalg.solve(precision, (gradient - pull * tried[active])[..., None])[..., 0]
        step = np.clip(step, -3 * nuisances.width, 3 * nuisances.width)
        moved = np.where(better, 1.0, 0.3)[:, None] * step + best[active]
        tried[active] = nuisances.inside(np.asarray(moved, dtype=float))
        moving = np.any(np.abs(step) > _SETTLED / np.sqrt(np.einsum("mkk->mk", precision)), axis=1)
        if node is not None and count == _MERGED_AFTER:
            order = best_of_each(node[active], best_value[active], len(active))
            alone = without_twins(
                node[active], nuisances.wrapped(tried[active]), precision, nuisances.periodic, order, _MERGED
            )
            left[active] = False
            left[active[alone]] = True
            moving &= left[active]
        active = active[moving]
        if len(active) == 0:
            break
    if len(active):
        _, _, value, _, others = _normal_equations(frame, tried, active, rough=True)
        worse = active[value + others + nuisances.ln_prior(tried[active]) < best_value[active]]
        tried[worse] = best[worse]
    rows = np.flatnonzero(left)
    _, precision, ln_like, ln_unmatched, _ = _normal_equations(frame, tried, rows)
    return rows, tried[rows], precision + prior, ln_like, ln_unmatched


def _normal_equations(
    frame: Frame, eta: Array, rows: np.ndarray, rough: bool = False
) -> tuple[Array, Array, Array, Array, Array]:
    """:func:`_equations` of some rows, some of them at a time: what fits the processor's cache goes faster."""
    step = max(1, _AT_ONCE // max(len(frame.problem.scene.detections.shot), 1))
    blocks = [rows[start : start + step] for start in range(0, len(rows), step)] or [rows]
    parts = [_equations(frame.part(block), eta[block], rough) for block in blocks]
    first, second, third, fourth, fifth = map(np.concatenate, zip(*parts, strict=True))
    return first, second, third, fourth, fifth


def _equations(frame: Frame, eta: Array, rough: bool) -> tuple[Array, Array, Array, Array, Array]:
    """Pull and precision of all pairs, each weighted with its chance, and of the quantities; then ln likelihood
    of the spots with and without matches, and that of the quantities, to first order from the frame."""
    problem = frame.problem
    poses = frame.poses_at(eta)
    result = problem.evaluate(frame.u, eta, poses, keep=True, rough=rough)
    pairs, m, k = result.pairs, len(eta), eta.shape[1]
    assert pairs is not None
    assert result.placed is not None
    gradient, precision = np.zeros((m, k)), np.zeros((m, k, k))
    if len(pairs):
        weight = pair_chances(pairs, result.by_rate)
        pairs, weight = pairs[weight > 1e-4], weight[weight > 1e-4]
    if len(pairs):
        slope = pair_slopes(frame, poses, eta, result.placed, pairs.trial, pairs.first, pairs.second)
        inverse = pair_precision(pairs) * np.reshape(weight * 2 / problem.data.n_shots, (-1, 1, 1))
        pulled = np.swapaxes(slope, 1, 2) @ inverse
        starts = np.flatnonzero(np.r_[True, np.diff(pairs.trial) > 0])
        who = pairs.trial[starts]
        gradient[who] = -np.add.reduceat((pulled @ pairs.delta[..., None])[..., 0], starts)
        precision[who] = np.add.reduceat(pulled @ slope, starts)
    if frame.pull is None:
        return gradient, precision, result.ln_like, result.ln_unmatched, np.zeros(m)
    pulled_too, tighter, ln_quantities = frame.pull.moved(eta - frame.eta).equations(problem.data.quantities)
    return gradient + pulled_too, precision + tighter, result.ln_like, result.ln_unmatched, ln_quantities


def pair_chances(pairs: PairList, by_rate: Array) -> Array:
    """Rough chance of each pair to be a true match: its weight against its own rivals."""
    share = np.exp(by_rate - by_rate.max(-1, keepdims=True))
    share /= share.sum(-1, keepdims=True)
    ratio = (np.exp(np.minimum(pairs.ln_ratio, 300)) * share[pairs.trial]).sum(-1)
    width = int(max(pairs.first.max(), pairs.second.max())) + 1
    row, column = pairs.trial * width + pairs.first, pairs.trial * width + pairs.second
    rivals = np.bincount(row, ratio)[row] + np.bincount(column, ratio)[column] - ratio
    return ratio / (1 + rivals)


def pair_precision(pairs: PairList) -> Array:
    """Inverse covariance (p, 2, 2) of offsets, averaged over the drift classes by their chances."""
    inverses, logs = [], []
    dx, dy = pairs.delta[:, 0], pairs.delta[:, 1]
    for index, share in enumerate(world.DRIFT_SHARES):
        xx, yy = pairs.cov[:, 0, 0] + pairs.extra[:, index], pairs.cov[:, 1, 1] + pairs.extra[:, index]
        xy = pairs.cov[:, 0, 1]
        det = xx * yy - xy**2
        inverse = np.stack([yy, -xy, -xy, xx], axis=-1) / det[:, None]
        strain = (yy * dx**2 - 2 * xy * dx * dy + xx * dy**2) / det
        logs.append(np.log(share) - 0.5 * np.log(det) - 0.5 * strain)
        inverses.append(inverse)
    chance = np.exp(logs[1] - np.logaddexp(*logs))[:, None]
    return (inverses[0] * (1 - chance) + inverses[1] * chance).reshape(-1, 2, 2)


def modes_from(frame: Frame, node: np.ndarray, seeds: Array, most: int) -> Modes:
    """Refine seeds (one frame row each), join equal ones, and integrate each by Laplace's method."""
    nuisances = frame.problem.nuisances
    rows, eta, precision, ln_like, ln_unmatched = refine(frame, seeds, node)
    node, eta = node[rows], nuisances.wrapped(eta)
    k = eta.shape[1]
    with np.errstate(divide="ignore"):
        surplus = ln_like + np.log(-np.expm1(np.minimum(ln_unmatched - ln_like, -1e-12)))
    covariance = np.asarray(np.linalg.inv(precision), dtype=float)
    root = np.asarray(np.linalg.cholesky((covariance + np.swapaxes(covariance, 1, 2)) / 2), dtype=float)
    ln_volume = 0.5 * k * np.log(2 * np.pi) + np.log(np.einsum("mkk->mk", root)).sum(-1)
    ln_mass = surplus + nuisances.ln_prior(eta) + ln_volume
    if frame.pull is not None:
        ln_mass = ln_mass + frame.problem.ln_quantities(frame.u[rows], eta)
    keep = np.flatnonzero(np.isfinite(ln_mass))
    order = keep[best_of_each(node[keep], ln_mass[keep], len(keep))]
    order = without_twins(node, eta, precision, nuisances.periodic, order)
    order = order[best_of_each(node[order], ln_mass[order], most)]
    return Modes(node[order], eta[order], root[order], ln_mass[order])


def without_twins(
    node: np.ndarray,
    eta: Array,
    precision: Array,
    periodic: np.ndarray,
    order: np.ndarray,
    same_as: float = _SAME,
) -> np.ndarray:
    """Drop every mode that lies on a heavier one of its node; `order` is by node, then falling mass."""
    alive = np.ones(len(order), dtype=bool)
    nodes = node[order]
    for back in range(1, 40):
        if back >= len(order):
            break
        same = nodes[back:] == nodes[:-back]
        if not same.any():
            break
        gap = eta[order[back:]] - eta[order[:-back]]
        gap = np.where(periodic, (gap + np.pi) % (2 * np.pi) - np.pi, gap)
        far = np.einsum("mi,mij,mj->m", gap, precision[order[:-back]], gap)
        alive[back:] &= ~(same & (far < same_as) & alive[:-back])
    return order[alive]

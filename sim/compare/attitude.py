"""The evidence when every shot may be turned in any way: what any story of a turning Sun could reach at best.

The first shot's attitude drops out (spots are uniform on the sphere); each further one is uniform over all
rotations (Haar). Roll and clock are absorbed. Plain sampling fails, a mode fills a ten-millionth of the
rotations, so the integral is split: nothing matched, one pair matched, and more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation
from scipy.special import gammaln

from ...models.geometry import Array
from . import world
from .hidden_parts import seen_fraction
from .likelihood import Evaluation, Scene, evaluate, offset_density, tangent_basis
from .matching import PairList
from .modes import best_of_each, pair_chances, pair_precision
from .numeric import ln_sum
from .poses import Poses

_HAAR_DRAWS = 400
_TWISTS = 12
_MOST_SEEDS, _MOST_MODES = 150, 16
_POINTS = 1024
_FREEDOM = 5.0


@dataclass(frozen=True)
class AttitudeEvidence:
    """ln evidence over all attitudes, its numerical error, and the best attitudes found (s, 3, 3)."""

    ln_evidence: float
    error: float
    best: Array
    ln_like_best: float


class _Turns:
    """Evaluates shots turned by rotations (m, s - 1, 3, 3) of the body against the first shot."""

    def __init__(self, scene: Scene, distance: Array, squash_sigma: Array) -> None:
        self.scene, self.distance, self.squash_sigma = scene, distance, squash_sigma
        self.n_shots = len(scene.days)

    def poses(self, turns: Array) -> Poses:
        m = len(turns)
        first = np.broadcast_to(_DISC, (m, 1, 3, 3))
        axes = np.concatenate([first, _DISC @ np.swapaxes(turns, -1, -2)], axis=1)
        distance = np.broadcast_to(self.distance, (m, self.n_shots))
        return Poses(axes, distance, seen_fraction(axes, distance, self.scene.hidden))

    def evaluate(
        self, turns: Array, *, keep: bool = False, squash: Array | None = None, rough: bool = False
    ) -> Evaluation:
        flat = np.zeros((len(turns), self.n_shots))
        squash = flat if squash is None else squash
        return evaluate(self.scene, self.poses(turns), flat, squash, keep=keep, rough=rough)

    def points(self) -> Array:
        """Places of all detections, each in the body frame of its own unturned shot."""
        from .likelihood import place

        flat = np.zeros((1, self.n_shots))
        return place(
            self.scene, self.poses(np.broadcast_to(np.eye(3), (1, self.n_shots - 1, 3, 3))), flat, flat
        ).point[0]


_DISC = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])  # right, up, away; +x faces us


def integrate_attitudes(
    scene: Scene, distance: Array, squash_sigma: Array, rng: np.random.Generator
) -> AttitudeEvidence:
    """Evidence over all attitudes of all further shots.

    Parameters
    ----------
    scene : Scene
        With a rigid law: without a pole there is no drift along parallels.
    distance : ndarray, shape (s,)
        Solar radii.
    squash_sigma : ndarray, shape (s,)
    rng : numpy.random.Generator

    Notes
    -----
    Two shots: Z = nothing matched (mean over Haar rotations) + one pair (its offset integrates to
    1/(4 pi); mean over twists) + two or more (local Student-t importance sampling, density against Haar:
    (1 - cos t)/(4 pi^2 t^2) per volume of rotation vectors). More shots: the plateau is the mean over
    Haar rotations, the rest comes from joint modes; partly matched states between are left out, which
    can only lower the value.
    """
    turns = _Turns(scene, distance, squash_sigma)
    haar = Rotation.from_quat(rng.standard_normal((_HAAR_DRAWS * (turns.n_shots - 1), 4))).as_matrix()
    haar = haar.reshape(_HAAR_DRAWS, turns.n_shots - 1, 3, 3)
    flat = turns.evaluate(haar)
    two = turns.n_shots == 2
    parts = [_ln_mean(flat.ln_unmatched), _one_pair(turns)] if two else [_ln_mean(flat.ln_like)]
    seeds = _seeds(turns)
    best, ln_best, error = haar[int(np.argmax(flat.ln_like))], float(flat.ln_like.max()), 0.0
    if len(seeds):
        modes, root, ln_mass, ln_like = _modes(turns, seeds)
        value, relative = _sampled(turns, modes, root, ln_mass, rng)
        parts.append(value)
        total = ln_sum(parts)
        error = relative * np.exp(value - total)
        if ln_like.max() > ln_best:
            best, ln_best = modes[int(np.argmax(ln_like))], float(ln_like.max())
    return AttitudeEvidence(float(ln_sum(parts)), float(error), best, ln_best)


def _ln_mean(values: Array) -> float:
    return float(ln_sum(values) - np.log(len(values)))


def _one_pair(turns: _Turns) -> float:
    """ln of the part in which exactly one pair is matched."""
    points, shot = turns.points(), turns.scene.detections.shot
    first, second = np.flatnonzero(shot == 0), np.flatnonzero(shot == 1)
    i, j = (grid.ravel() for grid in np.meshgrid(first, second, indexing="ij"))
    i, j = np.repeat(i, _TWISTS), np.repeat(j, _TWISTS)
    twist = np.tile(2 * np.pi * np.arange(_TWISTS) / _TWISTS, len(i) // _TWISTS)
    onto = _triad(points[i], _any_across(points[i])) @ np.swapaxes(
        _triad(points[j], _any_across(points[j])), 1, 2
    )
    turn = Rotation.from_rotvec(points[i] * twist[:, None]).as_matrix() @ onto
    result = turns.evaluate(turn[:, None], keep=True, rough=True)  # only its pairs are used
    pairs = result.pairs
    assert pairs is not None
    wanted = (pairs.first == i[pairs.trial]) & (pairs.second == j[pairs.trial])
    chosen = pairs[wanted]
    ln_g, _ = offset_density(0 * chosen.delta, chosen.cov, chosen.extra)
    ln_ratio = chosen.ln_ratio - ln_g[:, None] - np.log(4 * np.pi)
    by_rate = result.unmatched_by_rate[chosen.trial] + ln_ratio
    return float(ln_sum(by_rate) - np.log(by_rate.shape[1] * _TWISTS))


def _any_across(point: Array) -> Array:
    helper = np.where(np.abs(point[:, 2:3]) < 0.9, np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]))
    return np.cross(point, helper)


def _triad(first: Array, across: Array) -> Array:
    """Rotations (m, 3, 3) whose columns are `first`, the direction of `across`, and their product."""
    second = np.asarray(across / np.linalg.norm(across, axis=-1, keepdims=True), dtype=float)
    return np.stack([first, second, np.cross(first, second)], axis=-1)


def _seeds(turns: _Turns) -> Array:
    """Turns (m, s - 1, 3, 3) that carry two spots of each further shot onto two of the first seen ones."""
    points = turns.points()
    beam = np.empty((1, 0, 3, 3))
    for s in range(1, turns.n_shots):
        grown = []
        for earlier in beam:
            candidates = _aligning(turns, points, earlier, s)
            grown.append(
                np.concatenate(
                    [np.broadcast_to(earlier, (len(candidates), s - 1, 3, 3)), candidates[:, None]], axis=1
                )
            )
        beam = np.concatenate(grown)
        if len(beam) == 0:
            return np.empty((0, turns.n_shots - 1, 3, 3))
        rest = np.broadcast_to(np.eye(3), (len(beam), turns.n_shots - 1 - s, 3, 3))
        value = turns.evaluate(np.concatenate([beam, rest], axis=1), rough=True).ln_like
        most = _MOST_SEEDS if s == turns.n_shots - 1 else 5
        beam = beam[np.argsort(-value)[:most]]
    return beam


def _aligning(turns: _Turns, points: Array, earlier: Array, s: int) -> Array:
    """Rotations of shot s that carry a pair of its spots onto a pair of the shots before it."""
    shot = turns.scene.detections.shot
    moved = points.copy()
    for t in range(1, s):
        moved[shot == t] = points[shot == t] @ earlier[t - 1].T
    fixed, own = moved[shot < s], points[shot == s]
    spread = np.sqrt((turns.scene.detections.root**2).sum((-1, -2)).max())
    gap = world.GATE * np.sqrt(
        4 * (spread**2) + 2 * (world.DRIFT_RAD_PER_DAY[0] * np.ptp(turns.scene.days)) ** 2
    )
    a, b = np.triu_indices(len(fixed), 1)
    c, d = np.nonzero(~np.eye(len(own), dtype=bool))
    if len(a) == 0 or len(c) == 0:
        return np.empty((0, 3, 3))
    angle_fixed = np.arccos(np.clip((fixed[a] * fixed[b]).sum(-1), -1, 1))
    angle_own = np.arccos(np.clip((own[c] * own[d]).sum(-1), -1, 1))
    k, n = np.nonzero(
        (np.abs(angle_fixed[:, None] - angle_own) < gap)
        & (np.minimum(angle_fixed[:, None], angle_own) > 0.02)
    )
    onto = _middle_triad(fixed[a[k]], fixed[b[k]])
    return onto @ np.swapaxes(_middle_triad(own[c[n]], own[d[n]]), 1, 2)


def _middle_triad(first: Array, second: Array) -> Array:
    middle = first + second
    middle = middle / np.linalg.norm(middle, axis=-1, keepdims=True)
    return _triad(middle, np.cross(first, second))


def _modes(turns: _Turns, seeds: Array) -> tuple[Array, Array, Array, Array]:
    """Modes: turns (m, s - 1, 3, 3), root of covariance, ln of the Laplace mass, ln likelihood."""
    current = seeds.copy()
    k = 3 * (turns.n_shots - 1)
    weak = np.eye(k) * 0.3
    for _ in range(6):
        gradient, precision, _ = _pulls(turns, current)
        step = np.linalg.solve(precision + weak, gradient[..., None])[..., 0]
        step = np.clip(step, -0.1, 0.1).reshape(-1, turns.n_shots - 1, 3)
        current = Rotation.from_rotvec(step.reshape(-1, 3)).as_matrix().reshape(current.shape) @ current
    _, precision, ln_like = _pulls(turns, current)
    precision = precision + weak
    covariance = np.asarray(np.linalg.inv(precision), dtype=float)
    root = np.asarray(np.linalg.cholesky((covariance + np.swapaxes(covariance, 1, 2)) / 2), dtype=float)
    ln_mass = ln_like + 0.5 * k * np.log(2 * np.pi) + np.log(np.einsum("mkk->mk", root)).sum(-1)
    order = best_of_each(np.zeros(len(current), dtype=int), ln_mass, len(current))
    kept: list[int] = []
    for one in order:
        gaps = [_gap(current[one], current[other]) for other in kept]
        if all(gap @ precision[other] @ gap > 4 for gap, other in zip(gaps, kept, strict=True)):
            kept.append(int(one))
        if len(kept) == _MOST_MODES:
            break
    return current[kept], root[kept], ln_mass[kept], ln_like[kept]


def _gap(a: Array, b: Array) -> Array:
    return Rotation.from_matrix(a @ np.swapaxes(b, -1, -2)).as_rotvec().ravel()


def _pulls(turns: _Turns, current: Array) -> tuple[Array, Array, Array]:
    result = turns.evaluate(current, keep=True)
    pairs, placed = result.pairs, result.placed
    assert pairs is not None
    assert placed is not None
    m, k = len(current), 3 * (turns.n_shots - 1)
    gradient, precision = np.zeros((m, k)), np.zeros((m, k, k))
    if len(pairs) == 0:
        return gradient, precision, result.ln_like
    slope = _slopes(turns, pairs, placed.point, k)
    weight = pair_chances(pairs, result.by_rate) * 2 / turns.n_shots
    pulled = np.swapaxes(slope, 1, 2) @ (pair_precision(pairs) * weight[:, None, None])
    starts = np.flatnonzero(np.r_[True, np.diff(pairs.trial) > 0])
    gradient[pairs.trial[starts]] = -np.add.reduceat((pulled @ pairs.delta[..., None])[..., 0], starts)
    precision[pairs.trial[starts]] = np.add.reduceat(pulled @ slope, starts)
    return gradient, precision, result.ln_like


def _slopes(turns: _Turns, pairs: PairList, point: Array, k: int) -> Array:
    """d(offset)/d(rotation vectors of the further shots), (p, 2, k)."""
    shot = turns.scene.detections.shot
    p1, p2 = point[pairs.trial, pairs.first], point[pairs.trial, pairs.second]
    basis = tangent_basis(p1, p2)
    slope = np.zeros((len(pairs), 2, k))
    rows = np.arange(len(pairs))
    for sign, end, p in ((-1.0, pairs.first, p1), (1.0, pairs.second, p2)):
        by_vector = np.cross(np.eye(3)[None], p[:, None])
        change = sign * np.einsum("pci,pki->pck", basis, by_vector)
        place_ = 3 * (shot[end] - 1)
        for axis in range(3):
            inside = np.flatnonzero(place_ >= 0)
            slope[rows[inside], :, place_[inside] + axis] += change[inside, :, axis]
    return slope


def _sampled(
    turns: _Turns, modes: Array, root: Array, ln_mass: Array, rng: np.random.Generator
) -> tuple[float, float]:
    """ln of the part from the modes and its relative error, by Student-t draws about every mode."""
    m, k = root.shape[:2]
    share = np.exp(ln_mass - ln_sum(ln_mass)) * 0.9 + 0.1 / m
    pick = rng.choice(m, _POINTS, p=share / share.sum())
    stretch = np.sqrt(_FREEDOM / rng.chisquare(_FREEDOM, _POINTS))
    vector = np.einsum("nij,nj->ni", root[pick], rng.standard_normal((_POINTS, k))) * stretch[:, None]
    turn = Rotation.from_rotvec(vector.reshape(-1, 3)).as_matrix().reshape(_POINTS, -1, 3, 3) @ modes[pick]
    inverse = np.linalg.inv(root)
    ln_proposal = np.full(_POINTS, -np.inf)
    constant = gammaln((_FREEDOM + k) / 2) - gammaln(_FREEDOM / 2) - 0.5 * k * np.log(_FREEDOM * np.pi)
    for one in range(m):
        gap = turn @ np.swapaxes(modes[one], -1, -2)
        gap_vector = Rotation.from_matrix(gap.reshape(-1, 3, 3)).as_rotvec().reshape(_POINTS, k)
        strain = ((gap_vector @ inverse[one].T) ** 2).sum(-1)
        ln_t = constant - np.log(np.diag(root[one])).sum() - (_FREEDOM + k) / 2 * np.log1p(strain / _FREEDOM)
        angle = np.linalg.norm(gap_vector.reshape(_POINTS, -1, 3), axis=-1)
        ln_haar = np.log(np.maximum((1 - np.cos(angle)) / np.maximum(angle, 1e-9) ** 2, 0.2) / (4 * np.pi**2))
        ln_haar = np.where(angle < 1e-4, np.log(1 / (8 * np.pi**2)), ln_haar).sum(-1)
        ln_proposal = np.logaddexp(ln_proposal, np.log(share[one]) + ln_t - ln_haar)
    squash = rng.standard_normal((_POINTS, turns.n_shots)) * turns.squash_sigma
    ln_weight = _matched_part(turns, turn, squash) - ln_proposal
    if not np.isfinite(ln_weight).any():
        return -np.inf, 0.0
    value = ln_sum(ln_weight)
    effective = np.exp(2 * value - ln_sum(2 * ln_weight))
    return float(value - np.log(_POINTS)), float(np.sqrt(max(1 / effective - 1 / _POINTS, 0)))


def _matched_part(turns: _Turns, turn: Array, squash: Array) -> Array:
    """ln likelihood without the terms that are integrated elsewhere."""
    if turns.n_shots > 2:
        return turns.evaluate(turn, squash=squash).ln_like
    result = turns.evaluate(turn, squash=squash, keep=True)
    pairs = result.pairs
    assert pairs is not None
    single = np.zeros_like(result.by_rate)
    np.add.at(single, pairs.trial, np.exp(np.minimum(pairs.ln_ratio, 600)))
    with np.errstate(divide="ignore"):
        surplus = np.exp(np.minimum(result.by_rate - result.unmatched_by_rate, 600)) - 1 - single
        floor = 1e-4 * (1 + single)
        by_rate = result.unmatched_by_rate + np.log(np.where(surplus > floor, surplus, 0.0))
    return ln_sum(by_rate, axis=1) - np.log(by_rate.shape[1])

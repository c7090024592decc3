"""Which spot of one shot is which of another, without assuming a geometry.

Whatever carries the Sun from one shot to the next, near or far, shows as a rotation of the visible
hemisphere: about the line of sight where the disc turned, about another axis where the face swept by. All
rotations that bring two pairs of spots together, and all turns about the centre that bring one pair
together, are candidates; each is weighed by the spots it explains, their areas and darkness, the spots
it leaves over and the freedom it used (a Laplace approximation of its evidence). A match's probability
is the sum over candidates.

The numbers for a spot's own motion (0.25 deg in 12 h per axis, one in ten 1.5 deg) and for the chance
to be found again are choices after real umbrae tracked for a week.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.special import logsumexp

from ...models.geometry import Array

_USED = 24
_PAIRED = 12
_MODES = 40
_FAR_BELOW = 14.0  # nats under the best seed, where a candidate cannot matter any more
_TURN_SHARE, _SWEEP_SHARE, _NOTHING_SHARE = 0.75, 0.15, 0.10
_JITTER_DEG, _DRIFT_DEG, _EVOLVING_DEG, _SHEAR_DEG = 0.05, 0.25, 1.5, 0.2  # the last three in 12 h
_EVOLVING_SHARE = 0.1
_MIRROR_PRIOR = 0.02
_CERTAIN = math.log(20)
_BY_HAND = 1e12  # what a person's word weighs against the evidence of places


@dataclass(frozen=True)
class SpotTable:
    """Spots of one shot as arrays of length n: places, covariances (n, 2, 2), areas, darkness."""

    xy: Array
    covariance: Array
    area_msh: Array
    darkness: Array

    def __len__(self) -> int:
        return len(self.xy)

    def mirrored(self) -> SpotTable:
        """The same seen in a mirror."""
        flip = np.array([-1.0, 1.0])
        return SpotTable(self.xy * flip, self.covariance * np.outer(flip, flip), self.area_msh, self.darkness)

    def part(self, keep: Array | Sequence[int]) -> SpotTable:
        """Some of the spots."""
        index = np.asarray(keep)
        return SpotTable(self.xy[index], self.covariance[index], self.area_msh[index], self.darkness[index])


@dataclass(frozen=True)
class Match:
    """Spot number `a` (from 0) of the first shot is `b` of the second, with a probability."""

    a: int
    b: int
    probability: float


@dataclass(frozen=True)
class Matching:
    """Matches of two shots.

    Parameters
    ----------
    matches : tuple of Match
        Each spot at most once, the likelier the earlier; those under one half are doubtful.
    log_evidence : float
        Log of the summed evidence of all candidates.
    rotation : ndarray, shape (3, 3), or None
        The best rotation (x, y of the disc, z to the observer) from the first shot to the second.
    rival_turn_deg, rival_probability : float
        The best other candidate's turn about the centre and its share.
    """

    matches: tuple[Match, ...]
    log_evidence: float
    rotation: Array | None
    rival_turn_deg: float
    rival_probability: float


def match_spots(
    a: SpotTable, b: SpotTable, days: float | None = None, forced: Sequence[tuple[int, int]] = ()
) -> Matching:
    """Match the spots of two shots.

    Parameters
    ----------
    a, b : SpotTable
    days : float, optional
        Time between them; half a day where it is not known.
    forced : sequence of (int, int)
        Pairs that a person matched: they stand, and the others are matched so as to go with them.

    Returns
    -------
    Matching
    """
    if len(a) == 0 or len(b) == 0:
        return Matching((), math.log(_NOTHING_SHARE), None, math.nan, 0.0)
    use_a, use_b = _foremost(a, [i for i, _ in forced]), _foremost(b, [j for _, j in forced])
    pairs = [(int(np.flatnonzero(use_a == i)[0]), int(np.flatnonzero(use_b == j)[0])) for i, j in forced]
    problem = _Problem(a.part(use_a), b.part(use_b), 0.5 if days is None else abs(days), pairs)
    modes = problem.modes()
    if not modes:
        given = tuple(Match(i, j, 1.0) for i, j in forced)
        return Matching(given, math.log(_NOTHING_SHARE), None, math.nan, 0.0)
    logs = np.array([mode.log_evidence for mode in modes] + [math.log(_NOTHING_SHARE)])
    total = float(np.asarray(logsumexp(logs)))
    shares = np.exp(logs - total)
    probability = np.sum([s * mode.probability for s, mode in zip(shares, modes, strict=False)], axis=0)
    for i, j in pairs:
        probability[i, :], probability[:, j] = 0, 0
        probability[i, j] = 1
    rows, columns = linear_sum_assignment(-probability)
    found = [
        Match(int(use_a[i]), int(use_b[j]), float(min(probability[i, j], 1.0)))
        for i, j in zip(rows, columns, strict=True)
        if probability[i, j] > 0.1
    ]
    best = modes[int(np.argmax(shares[:-1]))]
    turn, rival_turn, rival = _turn_of(best.rotation), math.nan, 0.0
    for share, mode in zip(shares, modes, strict=False):
        other = _turn_of(mode.rotation)
        if abs(math.remainder(other - turn, 360)) > 5 and share > rival:
            rival_turn, rival = other, float(share)
    found.sort(key=lambda match: -match.probability)
    return Matching(tuple(found), total, best.rotation, rival_turn, rival)


def is_mirrored(a: SpotTable, b: SpotTable, days: float | None = None) -> bool | None:
    """Whether one shot is a mirror image of the other; None where fewer than three spots tell."""
    return mirror_verdict(match_spots(a, b, days), match_spots(a, b.mirrored(), days))


def mirror_verdict(plain: Matching, flipped: Matching) -> bool | None:
    """The same from the matching with the second shot as it is and that with it mirrored."""
    odds = flipped.log_evidence - plain.log_evidence + math.log(_MIRROR_PRIOR / (1 - _MIRROR_PRIOR))
    better = flipped if odds > 0 else plain
    if sum(match.probability > 0.5 for match in better.matches) < 3 or abs(odds) < _CERTAIN:
        return None
    return odds > 0


def _foremost(table: SpotTable, certain: Sequence[int] = ()) -> Any:
    """The spots that carry most darkness, and those that must be among them."""
    weight = np.nan_to_num(table.area_msh * table.darkness)
    weight[list(certain)] = np.inf
    return np.sort(np.argsort(-weight, kind="stable")[:_USED])


def _turn_of(rotation: Array) -> float:
    """Turn about the line of sight in degrees (the twist of the rotation)."""
    return math.degrees(math.atan2(rotation[1, 0] - rotation[0, 1], rotation[0, 0] + rotation[1, 1]))


@dataclass(frozen=True)
class _Mode:
    rotation: Array
    log_evidence: float
    probability: Array


class _Problem:
    """Two shots' spots on the unit sphere, z to the observer, and all that a candidate is weighed with."""

    def __init__(
        self, a: SpotTable, b: SpotTable, days: float, forced: Sequence[tuple[int, int]] = ()
    ) -> None:
        self.p, self.cov_p = _on_sphere(a)
        self.q, self.cov_q = _on_sphere(b)
        scale = days / 0.5
        core = math.hypot(_JITTER_DEG, scale * _DRIFT_DEG, scale * _SHEAR_DEG)
        wide = math.hypot(_JITTER_DEG, scale * _EVOLVING_DEG, 0.3)
        self.core, self.wide = math.radians(core) ** 2, math.radians(wide) ** 2
        self.tilt = math.radians(4 + 14 * days)
        self.find_p, self.find_q = _finding(a), _finding(b)
        self.kind = _alike(a, b)
        weight_p, weight_q = (np.nan_to_num(table.area_msh * table.darkness) for table in (a, b))
        for i, j in forced:
            self.kind[i, :], self.kind[:, j] = 0, 0
            self.kind[i, j] = _BY_HAND
            weight_p[i] = weight_q[j] = np.inf
        self.density = max(len(b), 2) / (2 * math.pi)
        self.order_p, self.order_q = np.argsort(-weight_p), np.argsort(-weight_q)

    def modes(self) -> list[_Mode]:
        seeds = np.concatenate([self._turn_seeds(), self._sweep_seeds()])
        if len(seeds) == 0:
            return []
        scores = self._quick_scores(seeds)
        order = np.argsort(-scores, kind="stable")
        order = order[scores[order] > scores[order[0]] - _FAR_BELOW]
        kept: list[Array] = []
        for index in order:
            seed = seeds[index]
            if all(_apart(seed, other) > math.radians(1.0) for other in kept):
                kept.append(seed)
            if len(kept) >= _MODES:
                break
        refined: list[Array] = []
        modes = []
        for seed in kept:
            rotation = self._refine(seed)
            if all(_apart(rotation, other) > math.radians(0.3) for other in refined):
                refined.append(rotation)
                modes.append(self._weigh(rotation))
        return modes

    def _turn_seeds(self) -> Array:
        """Turns about the centre that lay one spot on the direction of another at about its radius."""
        radius_p, radius_q = np.hypot(*self.p[:, :2].T), np.hypot(*self.q[:, :2].T)
        near = np.abs(radius_p[:, None] - radius_q) < 2 * math.sin(min(self.tilt, 1.0)) + 0.02
        i, j = np.nonzero(near)
        angle = np.arctan2(self.q[j, 1], self.q[j, 0]) - np.arctan2(self.p[i, 1], self.p[i, 0])
        return _about_z(angle)

    def _sweep_seeds(self) -> Array:
        """Rotations that lay a pair of spots on a pair of the same distance."""
        i, k = _pairs(self.order_p[:_PAIRED])
        j, m = _pairs(self.order_q[:_PAIRED])
        j, m = np.concatenate([j, m]), np.concatenate([m, j])
        if len(i) == 0 or len(j) == 0:
            return np.zeros((0, 3, 3))
        span_p = np.arccos(np.clip(np.sum(self.p[i] * self.p[k], axis=1), -1, 1))
        span_q = np.arccos(np.clip(np.sum(self.q[j] * self.q[m], axis=1), -1, 1))
        slack = 3 * math.sqrt(2 * self.core) + math.radians(0.4)
        first, second = np.nonzero((np.abs(span_p[:, None] - span_q) < slack) & (span_p[:, None] > 0.07))
        return _frames(self.q[j[second]], self.q[m[second]]) @ np.swapaxes(
            _frames(self.p[i[first]], self.p[k[first]]), -1, -2
        )

    def _quick_scores(self, rotations: Array) -> Array:
        """Isotropic score of many rotations, shape (n,)."""
        scores = np.empty(len(rotations))
        own = 0.5 * (np.trace(self.cov_p, axis1=1, axis2=2)[:, None] + np.trace(self.cov_q, axis1=1, axis2=2))
        for start in range(0, len(rotations), 256):
            turned = np.einsum("mij,nj->mni", rotations[start : start + 256], self.p)
            square = 2 - 2 * np.clip(turned @ self.q.T, -1, 1)
            gain = self._density_ratio(square, own + self.core, square, own + self.wide) * self.kind
            scores[start : start + 256] = np.sum(np.log(0.3 + np.max(gain, axis=2)), axis=1)
        return scores

    def _density_ratio(self, core_square: Array, core: Array, wide_square: Array, wide: Array) -> Array:
        """Density of a match's offset over that of a chance neighbour."""
        near = (1 - _EVOLVING_SHARE) * np.exp(-0.5 * core_square / core) / core
        far = _EVOLVING_SHARE * np.exp(-0.5 * wide_square / wide) / wide
        return (near + far) / (2 * math.pi * self.density)

    def _gains(self, rotation: Array) -> tuple[Array, Array, Array]:
        """Weights of every match over leaving both alone, and those of leaving each alone."""
        turned = self.p @ rotation.T
        basis = _tangents(self.q)
        covariance = self.cov_q[None] + (rotation @ self.cov_p @ rotation.T)[:, None]
        flat = basis[None] @ covariance @ np.swapaxes(basis, -1, -2)[None]
        offset = np.einsum("nik,mnk->mni", basis, turned[:, None] - self.q[None])
        near = np.sum(turned[:, None] * self.q[None], axis=-1) > 0.5
        total = np.zeros(near.shape)
        for share, spread in ((1 - _EVOLVING_SHARE, self.core), (_EVOLVING_SHARE, self.wide)):
            whole = flat + spread * np.eye(2)
            square = np.einsum("mni,mnij,mnj->mn", offset, np.linalg.inv(whole), offset)
            total += share * np.exp(-0.5 * square) / (2 * math.pi * np.sqrt(np.linalg.det(whole)))
        alone_p = 1 - self.find_p * _seen(turned[:, 2])
        alone_q = 1 - self.find_q * _seen((self.q @ rotation)[:, 2])
        gain = np.where(near, total, 0.0) * self.kind * self.find_p[:, None] / self.density
        return gain / (alone_p[:, None] * alone_q), alone_p, alone_q

    def _refine(self, rotation: Array) -> Array:
        """Best rotation for its own matches, held by the prior of the tilt where they are few."""
        for _ in range(6):
            gain, *_ = self._gains(rotation)
            rows, columns = linear_sum_assignment(-np.log(np.maximum(gain, 1.0)))
            matched = gain[rows, columns] > 1
            i, j = rows[matched], columns[matched]
            if len(i) == 0:
                return rotation
            square = np.sum((self.p[i] @ rotation.T - self.q[j]) ** 2, axis=1)
            own = 0.5 * (
                np.trace(self.cov_p[i], axis1=1, axis2=2) + np.trace(self.cov_q[j], axis1=1, axis2=2)
            )
            core = (1 - _EVOLVING_SHARE) * np.exp(-0.5 * square / (own + self.core)) / (own + self.core)
            wide = _EVOLVING_SHARE * np.exp(-0.5 * square / (own + self.wide)) / (own + self.wide)
            weight = (core / (own + self.core) + wide / (own + self.wide)) / np.maximum(core + wide, 1e-300)
            moment = np.einsum("n,ni,nj->ij", weight, self.q[j], self.p[i])
            moment[2, 2] += 1 / self.tilt**2
            u, _, v = np.linalg.svd(moment)
            better = u @ np.diag([1, 1, np.sign(np.linalg.det(u @ v))]) @ v
            moved = _apart(better, rotation)
            rotation = better
            if moved < 1e-6:
                break
        return rotation

    def _weigh(self, rotation: Array) -> _Mode:
        gain, alone_p, alone_q = self._gains(rotation)
        score = float(np.sum(np.log(alone_p)) + np.sum(np.log(alone_q)))
        rows, columns = linear_sum_assignment(-np.log(np.maximum(gain, 1.0)))
        curvature = np.zeros((3, 3))
        for i, j in zip(rows, columns, strict=True):
            if gain[i, j] <= 1:
                continue
            score += math.log(gain[i, j])
            turned = rotation @ self.p[i]
            basis = _tangents(self.q[j][None])[0]
            flat = basis @ (self.cov_q[j] + rotation @ self.cov_p[i] @ rotation.T) @ basis.T
            slope = -basis @ _cross(turned)
            curvature += slope.T @ np.linalg.solve(flat + self.core * np.eye(2), slope)
        tilt = math.acos(min(max(rotation[2, 2], -1.0), 1.0))
        turn_prior = _TURN_SHARE / (2 * math.pi) / (2 * math.pi * self.tilt**2)
        turn_prior *= math.exp(-0.5 * (tilt / self.tilt) ** 2)
        prior = turn_prior + _SWEEP_SHARE / (8 * math.pi**2)
        held = np.diag([1 / self.tilt**2, 1 / self.tilt**2, 1 / math.pi**2])
        volume = (2 * math.pi) ** 1.5 / math.sqrt(float(np.linalg.det(curvature + held)))
        probability = gain / (1 + gain.sum(axis=1, keepdims=True) + gain.sum(axis=0, keepdims=True) - gain)
        return _Mode(rotation, score + math.log(min(prior * volume, 1.0)), probability)


def _on_sphere(table: SpotTable) -> tuple[Array, Array]:
    """Unit vectors (n, 3) and their covariances (n, 3, 3)."""
    x, y = table.xy[:, 0], table.xy[:, 1]
    z = np.sqrt(np.maximum(1 - x**2 - y**2, 0.02))
    slope = np.zeros((len(x), 3, 2))
    slope[:, 0, 0] = slope[:, 1, 1] = 1
    slope[:, 2, 0], slope[:, 2, 1] = -x / z, -y / z
    vector = np.stack([x, y, z], axis=1)
    return vector / np.linalg.norm(vector, axis=1, keepdims=True), slope @ table.covariance @ np.swapaxes(
        slope, 1, 2
    )


def _finding(table: SpotTable) -> Array:
    """Chance that a spot of this size and depth is found in the other shot."""
    return np.where((table.darkness > 0.4) & (table.area_msh > 60), 0.9, 0.6)


def _seen(height: Array) -> Array:
    """1 well inside the disc, falling to 0 between r = 0.92 and 0.98; `height` towards the observer."""
    radius = np.sqrt(np.clip(1 - height**2, 0, 1))
    return np.where(height > 0, np.clip((0.98 - radius) / 0.06, 0, 1), 0.0)


def _alike(a: SpotTable, b: SpotTable) -> Array:
    """Density of the change of area and darkness for one spot over that for two, shape (n, m)."""

    def normal(value: Array, sigma: float) -> Array:
        return np.exp(-0.5 * (value / sigma) ** 2) / sigma

    area = np.log(np.maximum(a.area_msh, 1))[:, None] - np.log(np.maximum(b.area_msh, 1))
    depth = a.darkness[:, None] - b.darkness
    same = (0.85 * normal(area, 0.5) + 0.15 * normal(area, 1.5)) * (
        0.85 * normal(depth, 0.1) + 0.15 * normal(depth, 0.4)
    )
    ratio = same / (normal(area, 1.6) * normal(depth, 0.4))
    return np.where(np.isfinite(area + depth), ratio, 1.0)  # a spot placed by eye has neither


def _tangents(points: Array) -> Array:
    """Two unit vectors across each point, shape (n, 2, 3)."""
    axis = np.eye(3)[np.argmin(np.abs(points), axis=1)]
    first = np.cross(points, axis)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.asarray(np.stack([first, np.cross(points, first)], axis=1), float)


def _cross(vector: Array) -> Array:
    x, y, z = vector
    return np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])


def _about_z(angle: Array) -> Array:
    cos, sin = np.cos(angle), np.sin(angle)
    zero, one = np.zeros_like(cos), np.ones_like(cos)
    return np.stack([cos, -sin, zero, sin, cos, zero, zero, zero, one], axis=-1).reshape(-1, 3, 3)


def _pairs(order: Any) -> tuple[Any, Any]:
    first, second = np.triu_indices(len(order), 1)
    return order[first], order[second]


def _frames(u: Array, v: Array) -> Array:
    """Right-handed frames (columns) of pairs of unit vectors, symmetric in the pair."""
    middle = u + v
    normal = np.cross(u, v)
    middle /= np.linalg.norm(middle, axis=1, keepdims=True)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return np.stack([middle, np.cross(normal, middle), normal], axis=-1)


def _apart(one: Array, other: Array) -> float:
    """Angle of the rotation between two rotations."""
    return math.acos(min(max((float(np.sum(one * other)) - 1) / 2, -1.0), 1.0))

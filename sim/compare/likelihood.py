"""The likelihood of all detections given how the Sun's face stands in each shot, the same for every model.

True places, unseen spots and the matching between shots are summed out; see :func:`evaluate`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from ...models.geometry import Array
from ..rotation import RotationLaw
from . import world
from .data import Detections, OutingData
from .hidden_parts import Hidden, disc_place
from .matching import PairList, rough_sum, sum_over_matchings
from .poses import Poses, rolled
from .tracks import sum_over_tracks

_CHUNK = 120_000  # detections times trials handled at once


@dataclass(frozen=True)
class Scene:
    """What does not change between trials: the detections, times, rates, rotation law and what is hidden."""

    detections: Detections
    days: Array
    rates: world.Rates
    law: RotationLaw
    hidden: Hidden | None = None

    @classmethod
    def of(cls, data: OutingData, law: RotationLaw) -> Scene:
        """Scene of an outing."""
        return cls(data.detections, data.days, data.rates, law, data.hidden)


@dataclass(frozen=True)
class Placed:
    """Detections carried to the Sun's surface and to the time of the first shot.

    Attributes
    ----------
    point : ndarray, shape (b, n, 3)
        Body unit vectors.
    spread : ndarray, shape (b, n, 2, 3)
        Rows w of the place's covariance w' w.
    stretch_y : ndarray, shape (b, n, 3)
        Derivative of the place by the logarithm of the scale of y.
    ln_found : ndarray, shape (b, n)
        ln of (chance of detection / disc area per solid angle).
    ln_missed : ndarray, shape (b, n, s)
        ln of the chance that shot s misses a spot at this place; 0 for the own shot.
    """

    point: Array
    spread: Array
    stretch_y: Array
    ln_found: Array
    ln_missed: Array


@dataclass(frozen=True)
class Evaluation:
    """ln likelihoods of a batch of trials.

    Attributes
    ----------
    ln_like : ndarray, shape (b,)
        Averaged over the false rates.
    ln_unmatched : ndarray, shape (b,)
        The part in which nothing is matched.
    by_rate, unmatched_by_rate : ndarray, shape (b, f)
        The same for each false rate.
    pairs : PairList or None
        Pairs inside the gate with their weights (kept on request).
    placed : Placed or None
    """

    ln_like: Array
    ln_unmatched: Array
    by_rate: Array
    unmatched_by_rate: Array
    pairs: PairList | None = None
    placed: Placed | None = None


def no_spots(trials: int, rates: int) -> Evaluation:
    """The evaluation of `trials` trials where no spots are data: ln likelihood 0."""
    zero, by_rate = np.zeros(trials), np.zeros((trials, rates))
    none = np.empty(0, dtype=int)
    pairs = PairList(
        none,
        none,
        none,
        np.empty((0, rates)),
        np.empty((0, 2)),
        np.empty((0, 2, 2)),
        np.empty((0, 2)),
    )
    placed = Placed(
        np.empty((trials, 0, 3)),
        np.empty((trials, 0, 2, 3)),
        np.empty((trials, 0, 3)),
        np.empty((trials, 0)),
        np.empty((trials, 0, 0)),
    )
    return Evaluation(zero, zero, by_rate, by_rate, pairs, placed)


def evaluate(
    scene: Scene, poses: Poses, roll: Array, squash: Array, *, keep: bool = False, rough: bool = False
) -> Evaluation:
    """ln likelihood of every trial.

    Parameters
    ----------
    scene : Scene
    poses : Poses, length b
    roll : ndarray, shape (b, s)
        Camera's anticlockwise roll beyond what was undone, radians.
    squash : ndarray, shape (b, s)
        Logarithm of the factor by which y is still to be stretched.
    keep : bool
        Keep pairs and places (for derivatives, residuals, drawing).
    rough : bool
        A cheap stand-in for the sum over matchings, good enough to steer a search.

    Notes
    -----
    L = exp(-S F - N f) SUM over partitions of the detections into tracks PROD w(track), with
    w(single) = F/pi + N/(4 pi) D/J PROD_others (1 - D) and
    w(track) = N/(4 pi) SUM_drift share PROD D/J G PROD_others (1 - D); after Reid 1979 and
    Budavari & Szalay 2008 (from memory). A spot that the model hides in another shot, or that something in
    front of the Sun hid there, is no miss.
    """
    b, n = len(poses), len(scene.detections.shot)
    step = max(1, _CHUNK // max(n, 1))
    if keep or b <= step:
        return _evaluate(scene, poses, roll, squash, keep, rough)
    parts = []
    for start in range(0, b, step):
        part = slice(start, start + step)
        local = _part_of(scene, part)
        parts.append(_evaluate(local, poses[part], roll[part], squash[part], False, rough))
    return Evaluation(
        np.concatenate([p.ln_like for p in parts]),
        np.concatenate([p.ln_unmatched for p in parts]),
        np.concatenate([p.by_rate for p in parts]),
        np.concatenate([p.unmatched_by_rate for p in parts]),
    )


def _part_of(scene: Scene, part: slice) -> Scene:
    found = scene.detections
    if len(found.z) == 1:
        return scene
    cut = Detections(found.z[part], found.root[part], found.shot, found.valid[part], found.area)
    return replace(scene, detections=cut)


def _evaluate(scene: Scene, poses: Poses, roll: Array, squash: Array, keep: bool, rough: bool) -> Evaluation:
    found, rates = scene.detections, scene.rates
    placed = place(scene, poses, roll, squash)
    b = len(poses)
    density = rates.spots / (4 * np.pi)
    ln_single_real = placed.ln_found + placed.ln_missed.sum(-1)
    single = rates.false / np.pi + density * np.exp(ln_single_real)[..., None]
    ln_single = np.where(np.broadcast_to(found.valid, (b, len(found.shot)))[..., None], np.log(single), 0.0)
    empty = -(len(scene.days) * rates.false) - poses.seen[:, None] * rates.spots
    ln_unmatched = empty + ln_single.sum(1)
    pairs = pair_list(scene, placed, ln_single, np.log(density))
    if rough:
        ln_sum = rough_sum(pairs, b, len(scene.days))
    elif len(scene.days) == 2:
        ln_sum = sum_over_matchings(pairs, b)
    else:
        ln_sum = sum_over_tracks(scene, placed, pairs, ln_single, np.log(density), b)
    by_rate = ln_unmatched + ln_sum
    return Evaluation(
        _log_mean(by_rate),
        _log_mean(ln_unmatched),
        by_rate,
        ln_unmatched,
        pairs if keep else None,
        placed if keep else None,
    )


def _log_mean(by_rate: Array) -> Array:
    top = by_rate.max(-1)
    return top + np.log(np.exp(by_rate - top[:, None]).mean(-1))


def place(scene: Scene, poses: Poses, roll: Array, squash: Array) -> Placed:
    """Carry all detections to the surface; arguments as in :func:`evaluate`."""
    found, days = scene.detections, scene.days
    b, n = len(poses), len(found.shot)
    axes = rolled(poses.axes, roll)
    point, spread = np.empty((b, n, 3)), np.empty((b, n, 2, 3))
    stretch = np.empty((b, n, 3))
    ln_found = np.empty((b, n))
    missed = np.zeros((b, n, len(days)))
    for s in range(len(days)):
        own = np.flatnonzero(found.shot == s)
        if len(own) == 0:
            continue
        ground = _on_surface(found, own, poses.distance[:, s], squash[:, s])
        vectors = ground.vectors @ axes[:, s][:, None]
        ln_found[:, own] = ground.ln_found
        carried = _carry(vectors, -(days[s] - days[0]), scene.law)
        point[:, own], spread[:, own], stretch[:, own] = (
            carried[:, :, 0],
            carried[:, :, 1:3],
            carried[:, :, 3],
        )
        for other in range(len(days)):
            if other == s:
                continue
            there = _carry(vectors[:, :, :1], days[other] - days[s], scene.law)[:, :, 0]
            cos = np.einsum("bni,bi->bn", there, -axes[:, other, 2])
            ln_missed = _ln_missed(found.area[own], cos, poses.distance[:, other])
            if scene.hidden is not None and scene.hidden.grids[other].any():
                local = there @ np.swapaxes(axes[:, other], 1, 2)
                ln_missed[scene.hidden.at(other, *disc_place(local, poses.distance[:, other]))] = 0.0
            missed[:, own, other] = ln_missed
    return Placed(point, spread, stretch, ln_found, missed)


@dataclass(frozen=True)
class _Ground:
    vectors: Array  # (b, n, 4, 3): place, two rows of spread, derivative by ln(scale of y); disc axes
    ln_found: Array


def _on_surface(found: Detections, own: np.ndarray, distance: Array, squash: Array) -> _Ground:
    """Inverse projection with its derivatives: a = (x^2+y^2)/(d^2-1), P.s = (-a d - sqrt(1-x^2-y^2))/(1+a)."""
    factor = np.exp(squash)[:, None]
    x, y = found.z[:, own, 0], found.z[:, own, 1] * factor
    x = np.broadcast_to(x, y.shape)
    rho2 = x**2 + y**2
    inside = np.minimum(rho2, 1 - 1e-4)
    d = distance[:, None]
    k2 = 1 / (d**2 - 1)
    a, w = inside * k2, np.sqrt(1 - inside)
    away = (-a * d - w) / (1 + a)
    slope = ((1 / (2 * w) - k2 * d) * (1 + a) - (-a * d - w) * k2) / (1 + a) ** 2
    k = np.sqrt(k2)
    scale = (d + away) * k
    place_ = np.stack([scale * x, scale * y, away], axis=-1)
    place_ /= np.linalg.norm(place_, axis=-1, keepdims=True)
    lean = np.stack([k * x, k * y, np.ones_like(x)], axis=-1) * (2 * slope)[..., None]
    by_x, by_y = lean * x[..., None], lean * y[..., None]
    by_x[..., 0] += scale
    by_y[..., 1] += scale
    root = np.broadcast_to(found.root[:, own], (*y.shape[:1], len(own), 2, 2))
    stretched = by_y * factor[..., None]
    spread_0 = root[..., 0, 0, None] * by_x + root[..., 1, 0, None] * stretched
    spread_1 = root[..., 0, 1, None] * by_x + root[..., 1, 1, None] * stretched
    vectors = np.stack([place_, spread_0, spread_1, by_y * y[..., None]], axis=-2)
    area = (d**2 - 1) * (-d * away - 1) / (d + away) ** 3
    with np.errstate(divide="ignore"):
        chance = np.log(np.maximum(world.detection(np.sqrt(rho2)), 1e-6))
    return _Ground(vectors, chance - np.log(np.maximum(area, 1e-6)))


def _carry(vectors: Array, days: float, law: RotationLaw) -> Array:
    """Turn vectors (b, n, k, 3) about the pole by the drift of the place vectors[:, :, 0] in `days`."""
    if days == 0 or law.name == "rigid":
        return vectors
    angle = law.drift(np.arcsin(np.clip(vectors[:, :, 0, 2], -1, 1))) * days
    cos, sin = np.cos(angle)[..., None], np.sin(angle)[..., None]
    x, y = vectors[..., 0], vectors[..., 1]
    return np.stack([cos * x - sin * y, sin * x + cos * y, vectors[..., 2]], axis=-1)


def _ln_missed(area: Array, cos_psi: Array, distance: Array) -> Array:
    radius = world.disc_radius(cos_psi, distance[:, None])
    chance = world.detection(radius)
    if np.isfinite(area).all():
        visible = area + np.log(np.maximum(cos_psi, 1e-3))
        chance = chance * ndtr(visible / world.AREA_SOFTNESS)
    return np.log1p(-chance)


def pair_list(scene: Scene, placed: Placed, ln_single: Array, ln_density: Array) -> PairList:
    """All pairs from different shots inside the gate, with ln of w(pair) / (w(single) w(single))."""
    shot, days = scene.detections.shot, scene.days
    point, spread = placed.point, placed.spread
    variance = (spread**2).sum((-1, -2))
    valid = scene.detections.valid
    pieces: list[tuple[np.ndarray, ...]] = []
    for s in range(len(days)):
        for t in range(s + 1, len(days)):
            first, second = np.flatnonzero(shot == s), np.flatnonzero(shot == t)
            extra = drift_variances(days[t] - days[s])
            chord = 2 - 2 * point[:, first] @ np.swapaxes(point[:, second], 1, 2)
            bound = variance[:, first, None] + variance[:, None, second] + extra[-1]
            near = chord < world.GATE**2 * bound
            near &= valid[:, first, None] & valid[:, None, second]
            b, i, j = np.nonzero(near)
            pieces.append((b, first[i], second[j], np.broadcast_to(extra, (len(b), 2))))
    b, i, j = (np.concatenate([piece[k] for piece in pieces]).astype(int) for k in range(3))
    extra = np.concatenate([piece[3] for piece in pieces])
    if len(pieces) > 1:
        order = np.argsort(b, kind="stable")
        b, i, j, extra = b[order], i[order], j[order], extra[order]
    delta, cov = tangent_offsets(point[b, i], point[b, j], spread[b, i], spread[b, j])
    ln_g, inside = offset_density(delta, cov, extra)
    b, i, j = b[inside], i[inside], j[inside]
    delta, cov, extra = delta[inside], cov[inside], extra[inside]
    ln_real = placed.ln_found[b, i] + placed.ln_found[b, j]
    if len(days) > 2:
        both = placed.ln_missed[b, i].copy()
        both[np.arange(len(b)), shot[j]] = 0.0
        ln_real = ln_real + both.sum(-1)
    ln_ratio = (ln_real + ln_g[inside])[:, None] + ln_density - ln_single[b, i] - ln_single[b, j]
    return PairList(b, i, j, ln_ratio, delta, cov, extra)


def drift_variances(days: float) -> Array:
    """Variance per axis from drift and jitter over `days` between two shots, for each drift class."""
    return (np.array(world.DRIFT_RAD_PER_DAY) * days) ** 2 + 2 * world.JITTER_RAD**2


def tangent_basis(first: Array, second: Array) -> Array:
    """Two unit vectors across the mean of two points, shape (..., 2, 3)."""
    middle = first + second
    middle = middle / np.linalg.norm(middle, axis=-1, keepdims=True)
    flat = np.hypot(middle[..., 0], middle[..., 1])
    safe = np.where(flat > 1e-9, flat, 1.0)
    east = np.stack(
        [
            np.where(flat > 1e-9, -middle[..., 1] / safe, 1.0),
            np.where(flat > 1e-9, middle[..., 0] / safe, 0.0),
            np.zeros_like(flat),
        ],
        axis=-1,
    )
    return np.stack([east, np.cross(middle, east)], axis=-2)


def tangent_offsets(first: Array, second: Array, spread_1: Array, spread_2: Array) -> tuple[Array, Array]:
    """Offset (p, 2) from first to second in the tangent plane and its covariance (p, 2, 2).

    Written out by components: small matrix products are many times slower.
    """
    ax, ay, az = (np.ascontiguousarray(first[:, k]) for k in range(3))
    bx, by, bz = (np.ascontiguousarray(second[:, k]) for k in range(3))
    mx, my, mz = ax + bx, ay + by, az + bz
    size = np.sqrt(mx**2 + my**2 + mz**2)
    mx, my, mz = mx / size, my / size, mz / size
    flat = np.hypot(mx, my)
    safe = np.where(flat > 1e-9, flat, 1.0)
    ex, ey = np.where(flat > 1e-9, -my / safe, 1.0), np.where(flat > 1e-9, mx / safe, 0.0)
    nx, ny, nz = -mz * ey, mz * ex, mx * ey - my * ex
    dx, dy, dz = bx - ax, by - ay, bz - az
    delta = np.stack([ex * dx + ey * dy, nx * dx + ny * dy + nz * dz], axis=-1)
    xx = yy = xy = np.zeros_like(mx)
    for spread in (spread_1, spread_2):
        for row in (0, 1):
            wx, wy, wz = spread[:, row, 0], spread[:, row, 1], spread[:, row, 2]
            east, north = ex * wx + ey * wy, nx * wx + ny * wy + nz * wz
            xx, xy, yy = xx + east**2, xy + east * north, yy + north**2
    return delta, np.stack([xx, xy, xy, yy], axis=-1).reshape(-1, 2, 2)


def offset_density(delta: Array, cov: Array, extra: Array) -> tuple[Array, np.ndarray]:
    """ln of the drift-mixed normal density of offsets, and which of them lie inside the gate."""
    terms = []
    distance2 = np.zeros(len(delta))
    for index, share in enumerate(world.DRIFT_SHARES):
        xx, yy = cov[:, 0, 0] + extra[:, index], cov[:, 1, 1] + extra[:, index]
        xy = cov[:, 0, 1]
        det = xx * yy - xy**2
        distance2 = (yy * delta[:, 0] ** 2 - 2 * xy * delta[:, 0] * delta[:, 1] + xx * delta[:, 1] ** 2) / det
        terms.append(np.log(share / (2 * np.pi)) - 0.5 * np.log(det) - 0.5 * distance2)
    return np.logaddexp(*terms), distance2 <= world.GATE**2

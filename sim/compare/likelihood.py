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

_CHUNK = 40_000  # detections times trials handled at once: what fits the processor's cache goes faster


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
    placed = place(scene, poses, roll, squash)
    b = len(poses)
    ln_single, ln_unmatched = singles(scene, placed, poses)
    ln_density = np.log(scene.rates.density)
    pairs = pair_list(scene, placed, ln_single, ln_density)
    if rough:
        ln_sum = rough_sum(pairs, b, len(scene.days))
    elif len(scene.days) == 2:
        ln_sum = sum_over_matchings(pairs, b)
    else:
        ln_sum = sum_over_tracks(scene, placed, pairs, ln_single, ln_density, b)
    by_rate = ln_unmatched + ln_sum
    return Evaluation(
        log_mean(by_rate),
        log_mean(ln_unmatched),
        by_rate,
        ln_unmatched,
        pairs if keep else None,
        placed if keep else None,
    )


def singles(scene: Scene, placed: Placed, poses: Poses) -> tuple[Array, Array]:
    """ln weight of every detection alone (b, n, f), and ln likelihood with nothing matched (b, f)."""
    rates, valid = scene.rates, scene.detections.valid
    real = rates.density * np.exp(placed.ln_found + placed.ln_missed.sum(-1))[..., None]
    shape = (len(poses), valid.shape[1], 1)
    ln_single = np.where(np.broadcast_to(valid[..., None], shape), np.log(rates.false / np.pi + real), 0.0)
    empty = -(len(scene.days) * rates.false) - poses.seen[:, None] * rates.spots
    return ln_single, empty + ln_single.sum(1)


def log_mean(by_rate: Array) -> Array:
    """ln of the mean over the false rates, (b,)."""
    top = by_rate.max(-1)
    return top + np.log(np.exp(by_rate - top[:, None]).mean(-1))


def place(scene: Scene, poses: Poses, roll: Array, squash: Array) -> Placed:
    """Carry all detections to the surface; arguments as in :func:`evaluate`."""
    found, days = scene.detections, scene.days
    b, n = len(poses), len(found.shot)
    axes = rolled(poses.axes, roll)
    vectors = np.empty((b, n, 4, 3))
    ln_found = np.empty((b, n))
    missed = np.zeros((b, n, len(days)))
    for s in range(len(days)):
        own = _run(np.flatnonzero(found.shot == s))
        if own is None:
            continue
        local, ln_found[:, own] = _on_surface(found, own, poses.distance[:, s], squash[:, s])
        turned = (local.reshape(b, -1, 3) @ axes[:, s]).reshape(local.shape)
        vectors[:, own] = _carry(turned, -(days[s] - days[0]), scene.law)
        for other in range(len(days)):
            if other == s:
                continue
            there = _carry(turned[:, :, :1], days[other] - days[s], scene.law)[:, :, 0]
            cos = (there @ -axes[:, other, 2, :, None])[..., 0]
            ln_missed = _ln_missed(found.area[own], cos, poses.distance[:, other])
            if scene.hidden is not None and scene.hidden.grids[other].any():
                seen_at = there @ np.swapaxes(axes[:, other], 1, 2)
                ln_missed[scene.hidden.at(other, *disc_place(seen_at, poses.distance[:, other]))] = 0.0
            missed[:, own, other] = ln_missed
    return Placed(vectors[:, :, 0], vectors[:, :, 1:3], vectors[:, :, 3], ln_found, missed)


def _run(places: np.ndarray) -> np.ndarray | slice | None:
    """Places that follow each other as a slice, which needs no copy; None for none."""
    if len(places) == 0:
        return None
    start, stop = int(places[0]), int(places[-1]) + 1
    return slice(start, stop) if stop - start == len(places) else places


def _on_surface(
    found: Detections, own: np.ndarray | slice, distance: Array, squash: Array
) -> tuple[Array, Array]:
    """Inverse projection with its derivatives: a = (x^2+y^2)/(d^2-1), P.s = (-a d - sqrt(1-x^2-y^2))/(1+a).

    Returns vectors (b, n, 4, 3) along the disc's axes (place, two rows of spread, derivative by the logarithm of the
    scale of y) and ln of (chance of detection / disc area per solid angle), (b, n).
    """
    factor = np.exp(squash)[:, None]
    y = found.z[:, own, 1] * factor
    x = np.broadcast_to(found.z[:, own, 0], y.shape)
    rho2 = x**2 + y**2
    inside = np.minimum(rho2, 1 - 1e-4)
    d = distance[:, None]
    k2 = 1 / (d**2 - 1)
    k = np.sqrt(k2)
    one_a, w = 1 + inside * k2, np.sqrt(1 - inside)
    away = (-(d * k2) * inside - w) / one_a
    slope = 2 * ((0.5 / w - k2 * d) - away * k2) / one_a
    scale = (d + away) * k
    root = found.root[:, own]
    vectors = np.empty((*y.shape, 4, 3))
    size = 1 / np.sqrt(scale**2 * rho2 + away**2)
    for axis, part in enumerate((scale * x, scale * y, away)):
        np.multiply(part, size, out=vectors[..., 0, axis])
    for row, (by_x, by_y) in enumerate(
        (
            (root[..., 0, 0], root[..., 1, 0] * factor),
            (root[..., 0, 1], root[..., 1, 1] * factor),
            (0.0, y),
        ),
        start=1,
    ):
        lean = slope * (by_x * x + by_y * y)
        vectors[..., row, 0] = lean * (k * x) + by_x * scale
        vectors[..., row, 1] = lean * (k * y) + by_y * scale
        vectors[..., row, 2] = lean
    area = (d**2 - 1) * (-d * away - 1) / (d + away) ** 3
    with np.errstate(divide="ignore"):
        chance = np.log(np.maximum(world.detection(np.sqrt(rho2)), 1e-6))
    return vectors, chance - np.log(np.maximum(area, 1e-6))


def _carry(vectors: Array, days: float, law: RotationLaw) -> Array:
    """Turn vectors (b, n, k, 3) about the pole by the drift of the place vectors[:, :, 0] in `days`."""
    if days == 0 or law.name == "rigid":
        return vectors
    angle = law.drift(np.arcsin(np.clip(vectors[:, :, 0, 2], -1, 1))) * days
    cos, sin = np.cos(angle)[..., None], np.sin(angle)[..., None]
    x, y = vectors[..., 0], vectors[..., 1]
    turned = np.empty_like(vectors)
    turned[..., 0] = cos * x - sin * y
    turned[..., 1] = sin * x + cos * y
    turned[..., 2] = vectors[..., 2]
    return turned


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
    variance = np.einsum("bnij,bnij->bn", spread, spread)
    valid = scene.detections.valid
    pieces: list[tuple[np.ndarray, ...]] = []
    for s in range(len(days)):
        for t in range(s + 1, len(days)):
            first, second = np.flatnonzero(shot == s), np.flatnonzero(shot == t)
            extra = drift_variances(days[t] - days[s])
            near = _near(point, variance, first, second, extra[-1])
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
    if not inside.all():
        b, i, j, ln_g = b[inside], i[inside], j[inside], ln_g[inside]
        delta, cov, extra = delta[inside], cov[inside], extra[inside]
    ln_real = placed.ln_found[b, i] + placed.ln_found[b, j]
    if len(days) > 2:
        both = placed.ln_missed[b, i].copy()
        both[np.arange(len(b)), shot[j]] = 0.0
        ln_real = ln_real + both.sum(-1)
    ln_ratio = (ln_real + ln_g)[:, None] + ln_density - ln_single[b, i] - ln_single[b, j]
    return PairList(b, i, j, ln_ratio, delta, cov, extra)


def _near(point: Array, variance: Array, first: np.ndarray, second: np.ndarray, extra: float) -> np.ndarray:
    """Pairs (b, n, m) that may lie inside the gate: chord^2 < gate^2 (both variances + `extra`), by one product."""
    half = 0.5 * world.GATE**2 * variance
    left, right = np.empty((len(point), len(first), 5)), np.empty((len(point), 5, len(second)))
    left[..., :3], left[..., 3], left[..., 4] = point[:, first], half[:, first], 1.0
    right[:, :3], right[:, 3], right[:, 4] = np.swapaxes(point[:, second], 1, 2), 1.0, half[:, second]
    return left @ right > 1 - 0.5 * world.GATE**2 * extra


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

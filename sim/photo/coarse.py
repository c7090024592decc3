"""Finding the Sun's disc without parameters: block means, thresholds, bright blobs, a robust ellipse."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .grids import BLOCKS, block_means, median_of_nine, overview
from .load import Photo

_SMALL_BLOCKS = 60
_LEAST_TO_HALVE, _WHOLE = 200, 0.97  # blocks; share of the outline's directions
_FILL = 9  # blocks
_MANY = 40_000  # blocks, of which a quarter tells the percentiles
_TRIALS = 200
_VOTERS = 150
_TRIED_RATIOS = (1.0, 0.94, 0.88, 0.81)
_ALL = 0.97  # of a blob's edge on one ellipse: no other can be better
_TOLERANCE = 0.03
_SAME = 0.02  # radii: starts as near as this to a refined ellipse lead to it
_LEAST_GAP = 2.0  # codes between thresholds
_RATIOS = (0.70, 1.12)

Ellipse = tuple[float, float, float, float]
"""Column, row, semi-axes across and along."""


@dataclass(frozen=True)
class CoarseDisc:
    """A first ellipse in pixels, its axes along and across the direction given to :func:`find_disc`.

    `covered` is the share of the outline's directions that have an edge, `inside` and `outside` the mean
    codes within and around the disc, `horizon` points (columns, rows) of a straight cut, if any.
    """

    column: float
    row: float
    a: float
    b: float
    covered: float
    inside: float
    outside: float
    horizon: tuple[Array, Array] | None


def find_disc(photo: Photo, level: float, rng: np.random.Generator) -> CoarseDisc | None:
    """The most convincing bright disc of a picture, None where no blob has a round edge.

    Parameters
    ----------
    photo : Photo
    level : float
        Radians; how far the picture's right lies anticlockwise of the level, the axes being along it.
    rng : numpy.random.Generator
        For the random picks of edge points.
    """
    step, blocks = photo.overview
    if min(blocks.shape) > _LEAST_TO_HALVE:
        # A large disc whose outline is seen all round needs no finer look.
        quick = _find(2 * step, block_means(blocks, 2), (0, 0), level, rng)
        if (
            quick is not None
            and quick.covered > _WHOLE
            and quick.a > _SMALL_BLOCKS * step
            and quick.horizon is None
        ):
            return quick
    best = _find(step, blocks, (0, 0), level, rng)
    if best is not None and best.a < _SMALL_BLOCKS * max(photo.luma.shape) / BLOCKS:
        reach = 1.6 * best.a
        top, left = max(int(best.row - reach), 0), max(int(best.column - reach), 0)
        cut = photo.codes[top : int(best.row + reach) + 1, left : int(best.column + reach) + 1]
        best = (_find(*overview(cut), (top, left), level, rng) if min(cut.shape) >= 16 else None) or best
    return best


def _find(
    step: int,
    blocks: npt.NDArray[np.float32],
    corner: tuple[int, int],
    level: float,
    rng: np.random.Generator,
) -> CoarseDisc | None:
    top, left = corner
    means = median_of_nine(blocks).astype(float)
    candidates = _candidates(means, level, rng)
    best = _best(means, candidates)
    if best is None or _bright_beyond(means, best):
        # Branches and wires cut the disc into pieces: once more with thin dark things filled.
        best = _best(means, candidates + _candidates(ndimage.grey_closing(means, _FILL), level, rng))
    if best is None:
        return None
    shift = (step - 1) / 2
    horizon = best.horizon
    if horizon is not None:
        horizon = (horizon[0] * step + shift + left, horizon[1] * step + shift + top)
    return CoarseDisc(
        best.column * step + shift + left,
        best.row * step + shift + top,
        best.a * step,
        best.b * step,
        best.covered,
        best.inside,
        best.outside,
        horizon,
    )


def _candidates(means: Array, level: float, rng: np.random.Generator) -> list[CoarseDisc]:
    return [
        found
        for threshold in _thresholds(means)
        for found in _discs_above(means, threshold, level, rng)
        if found.inside - found.outside > 8
    ]


def _fall(means: Array, disc: CoarseDisc) -> float:
    """Median over the directions of how far the codes fall across the outline."""
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    near = max(0.02, 2.5 / disc.a)
    levels = []
    for share in (1 - near, 1 + near):
        rows = np.rint(disc.row + share * disc.b * np.sin(angle)).astype(int)
        columns = np.rint(disc.column + share * disc.a * np.cos(angle)).astype(int)
        levels.append(means[np.clip(rows, 0, means.shape[0] - 1), np.clip(columns, 0, means.shape[1] - 1)])
    return float(np.median(levels[0] - levels[1]))


def _best(means: Array, candidates: list[CoarseDisc]) -> CoarseDisc | None:
    """The disc with the strongest edge for its size; of two within each other, such as the Sun in an eyepiece's
    field, the inner one if its edge is of the same kind (contours within the disc are round too, but faint)."""
    if not candidates:
        return None
    best = max(
        candidates,
        key=lambda disc: min(disc.covered, 0.9) * np.log(disc.a) * np.sqrt(disc.inside - disc.outside),
    )
    inner = [
        disc
        for disc in candidates
        if disc.a < 0.85 * best.a
        and disc.covered > 0.45
        and np.hypot(disc.column - best.column, disc.row - best.row) + 0.3 * disc.a < best.a
        and disc.inside - disc.outside > 0.15 * (best.inside - best.outside)
        and _fall(means, disc) > 0.22 * _fall(means, best)
        and disc.inside > best.inside
        and disc.a > 0.15 * best.a
    ]
    return max(inner, key=lambda disc: disc.covered * (disc.inside - disc.outside)) if inner else best


def _bright_beyond(means: Array, disc: CoarseDisc) -> bool:
    """Whether as bright things as the disc take up much room outside of it."""
    bright = means > (disc.inside + disc.outside) / 2
    rows, columns = np.ogrid[: means.shape[0], : means.shape[1]]
    beyond = (columns - disc.column) ** 2 + (rows - disc.row) ** 2 > (1.15 * disc.a) ** 2
    return bool(np.count_nonzero(bright & beyond) > 0.3 * np.pi * disc.a * disc.b)


def _thresholds(means: Array) -> list[float]:
    """Otsu's threshold, those of the brighter part, and half of the way up."""
    found: list[float] = []
    part = means.ravel()
    for _ in range(3):
        if part.size < 50 or np.ptp(part) < 8:
            break
        found.append(_otsu(part))
        part = part[part > found[-1]]
    low, high = np.percentile(means[::2, ::2] if means.size > _MANY else means, [20, 99.5])
    found.append((low + high) / 2)
    apart: list[float] = []
    for value in sorted(found):
        if not apart or value - apart[-1] >= _LEAST_GAP:
            apart.append(value)
    return apart


def _otsu(values: Array) -> float:
    """Threshold of greatest variance between the classes (Otsu 1979)."""
    low, high = float(values.min()), float(values.max())
    width = (high - low) / 256
    counts = np.bincount(((values - low) / width).astype(np.intp), minlength=256)
    counts = np.append(counts[:255], counts[255:].sum())
    middles = low + width * (np.arange(256) + 0.5)
    below = np.cumsum(counts)
    above = below[-1] - below
    sums = np.cumsum(counts * middles)
    with np.errstate(divide="ignore", invalid="ignore"):
        between = below * above * (sums / below - (sums[-1] - sums) / above) ** 2
    between = np.where((below > 0) & (above > 0), between, -1)
    return low + width * (1 + int(np.argmax(between)))


def _discs_above(means: Array, threshold: float, level: float, rng: np.random.Generator) -> list[CoarseDisc]:
    """Ellipses of the three largest blobs brighter than `threshold`."""
    labels: Any = ndimage.label(means > threshold)[0]  # type: ignore[index]
    if not np.any(labels):
        return []
    sizes = np.bincount(labels.ravel())[1:]
    boxes = ndimage.find_objects(labels)
    found = []
    for label in np.argsort(sizes)[::-1][:3] + 1:
        if sizes[label - 1] < 60:
            break
        box = tuple(slice(max(part.start - 1, 0), part.stop + 1) for part in boxes[label - 1])
        edge = _edge_points(means[box], _filled(labels[box] == label), threshold)
        disc = _fit_edge(means, edge + np.array([box[1].start, box[0].start]), level, rng)
        if disc is not None:
            found.append(disc)
    return found


def _filled(blob: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """The blob with its holes: what is dark and not joined to the border."""
    dark: Any = ndimage.label(~blob)[0]  # type: ignore[index]
    hole = np.ones(int(dark.max()) + 1, bool)
    for border in (dark[0], dark[-1], dark[:, 0], dark[:, -1]):
        hole[border] = False
    hole[0] = True
    return hole[dark]


def _edge_points(means: Array, blob: npt.NDArray[np.bool_], threshold: float) -> Array:
    """Places (n, 2: column, row) where the edge crosses the threshold between neighbouring blocks."""
    points = []
    for axis in (0, 1):
        change = np.diff(blob.astype(np.int8), axis=axis) != 0
        rows, columns = np.nonzero(change)
        here = means[rows, columns]
        there = means[rows + (axis == 0), columns + (axis == 1)]
        span = np.where(there == here, 1.0, there - here)
        share = np.clip((threshold - here) / span, 0, 1)
        points.append(np.column_stack([columns + share * (axis == 1), rows + share * (axis == 0)]))
    return np.concatenate(points)


def _fit_edge(means: Array, edge: Array, level: float, rng: np.random.Generator) -> CoarseDisc | None:
    """The ellipse through most of a blob's edge points (n, 2: column, row)."""
    if len(edge) < 24:
        return None
    # In this turned frame (right along the level, down) the axes lie along the coordinates.
    turn = np.array([[np.cos(level), np.sin(level)], [-np.sin(level), np.cos(level)]])
    points = edge @ turn.T
    ellipse = _ransac(points, max(means.shape), rng)
    if ellipse is None:
        return None
    column, row, a, b = ellipse
    radius = np.hypot((points[:, 0] - column) / a, (points[:, 1] - row) / b)
    near = np.abs(radius - 1) < max(_TOLERANCE, 1.2 / a)
    angle = np.arctan2(points[near, 1] - row, points[near, 0] - column)
    covered = (
        np.count_nonzero(np.bincount(((angle + np.pi) / (2 * np.pi) * 71.999).astype(int), minlength=72)) / 72
    )
    place = np.array([column, row]) @ turn
    inside, outside = _levels(means, (float(place[0]), float(place[1]), a, b))
    cut = _straight_cut(points, ellipse, rng)
    if cut is not None:
        ends = np.column_stack(cut) @ turn
        cut = ends[:, 0], ends[:, 1]
    return CoarseDisc(float(place[0]), float(place[1]), a, b, covered, inside, outside, cut)


def _ransac(points: Array, size: int, rng: np.random.Generator) -> Ellipse | None:
    """Ellipse with level axes through the most points: circles of three points at several squashes."""
    starts: list[tuple[float, Ellipse]] = []
    for ratio in _TRIED_RATIOS:
        stretched = points / np.array([1.0, ratio])
        for votes, (column, row, radius) in _circles(stretched, size, rng):
            starts.append((votes, (column, row * ratio, radius, radius * ratio)))
        if ratio == 1 and starts:
            whole = _refine(points, starts[0][1])
            if whole is not None and _near(points, whole) > _ALL * len(points):
                return whole
    best, most = None, 0.0
    tried: list[Ellipse] = []
    for _, start in sorted(starts, key=lambda one: -one[0])[:6]:
        if any(np.max(np.abs(np.subtract(start, other))) < _SAME * other[2] for other in tried):
            continue
        refined = _refine(points, start)
        if refined is not None:
            tried.append(refined)
            votes = _near(points, refined) / np.sqrt(refined[2])
            if votes > most:
                best, most = refined, votes
    return best


def _near(points: Array, ellipse: Ellipse) -> int:
    """How many points lie next to an ellipse."""
    column, row, a, b = ellipse
    off = np.abs(np.hypot((points[:, 0] - column) / a, (points[:, 1] - row) / b) - 1)
    return int(np.count_nonzero(off < max(0.015, 0.8 / a)))


def _circles(
    points: Array, size: int, rng: np.random.Generator
) -> list[tuple[float, tuple[float, float, float]]]:
    """The two circles of three random points that most points lie near, with their votes."""
    picks = points[rng.integers(0, len(points), (_TRIALS, 3))]
    p, q, r = picks[:, 0], picks[:, 1], picks[:, 2]
    u, v = q - p, r - p
    cross = 2 * (u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])
    good = np.abs(cross) > 1e-6
    u, v, p, cross = u[good], v[good], p[good], cross[good]
    uu, vv = np.sum(u**2, axis=1), np.sum(v**2, axis=1)
    centre = np.column_stack([v[:, 1] * uu - u[:, 1] * vv, u[:, 0] * vv - v[:, 0] * uu]) / cross[:, None]
    radius = np.hypot(centre[:, 0], centre[:, 1])
    centre = centre + p
    good = (radius > 5) & (radius < 0.9 * size)
    centre, radius = centre[good], radius[good]
    if len(radius) == 0:
        return []
    voters = points[:: -(-len(points) // _VOTERS)]
    square = (voters[:, 0] - centre[:, :1]) ** 2 + (voters[:, 1] - centre[:, 1:]) ** 2
    slack = np.maximum(0.02 * radius, 0.8)[:, None]
    near = (square > (radius[:, None] - slack) ** 2) & (square < (radius[:, None] + slack) ** 2)
    votes = np.count_nonzero(near, axis=1) / np.sqrt(radius)
    votes *= len(points) / len(voters)
    return [
        (float(votes[i]), (float(centre[i, 0]), float(centre[i, 1]), float(radius[i])))
        for i in np.argsort(-votes, kind="stable")[:2]
    ]


def _refine(points: Array, start: Ellipse) -> Ellipse | None:
    """Least squares of x^2 + B y^2 + C x + D y + E = 0 on the points near the ellipse, narrowing."""
    column, row, a, b = (float(value) for value in start)
    for tolerance in (0.05, _TOLERANCE, _TOLERANCE, 0.02):
        x, y = (points[:, 0] - column) / a, (points[:, 1] - row) / a
        near = np.abs(np.hypot(x, y * a / b) - 1) < max(tolerance, 1.2 / a)
        if np.count_nonzero(near) < 12:
            return None
        x, y = x[near], y[near]
        design = np.stack([y**2, x, y, np.ones_like(x)])
        normal, right = design @ design.T, -(design @ x**2)
        square, along, up, constant = np.linalg.lstsq(normal, right, rcond=None)[0]
        if not 1 / _RATIOS[1] ** 2 < square < 1 / _RATIOS[0] ** 2:
            square = 1.0
            right = right[1:] - normal[1:, 0]
            along, up, constant = np.linalg.lstsq(normal[1:, 1:], right, rcond=None)[0]
        mid_x, mid_y = -along / 2, -up / (2 * square)
        size = mid_x**2 + square * mid_y**2 - constant
        if size <= 0:
            return None
        column, row, a = column + a * mid_x, row + a * mid_y, a * float(np.sqrt(size))
        b = a / float(np.sqrt(square))
    return column, row, a, b


def _levels(means: Array, ellipse: Ellipse) -> tuple[float, float]:
    """Median codes just inside and just outside the outline."""
    column, row, a, b = ellipse
    near, far = max(0.03, 1.5 / a), max(0.09, 4 / a)
    top, left = max(int(row - (1 + far) * b), 0), max(int(column - (1 + far) * a), 0)
    part = means[top : max(int(row + (1 + far) * b) + 2, 0), left : max(int(column + (1 + far) * a) + 2, 0)]
    rows, columns = np.ogrid[: part.shape[0], : part.shape[1]]
    square = ((columns + left - column) / a) ** 2 + ((rows + top - row) / b) ** 2
    within = part[(square < (1 - near) ** 2) & (square > (1 - far) ** 2)]
    around = part[(square > (1 + near) ** 2) & (square < (1 + far) ** 2)]
    return (
        float(np.median(within)) if within.size else 0.0,
        float(np.median(around)) if around.size else 0.0,
    )


def _straight_cut(points: Array, ellipse: Ellipse, rng: np.random.Generator) -> tuple[Array, Array] | None:
    """End points (columns, rows) of a straight edge across the disc, such as the horizon, lit part right."""
    column, row, a, b = ellipse
    radius = np.hypot((points[:, 0] - column) / a, (points[:, 1] - row) / b)
    inner = points[radius < 1 - max(0.03, 1.5 / a)]
    if len(inner) < 12:
        return None
    picks = inner[rng.integers(0, len(inner), (200, 2))]
    along = picks[:, 1] - picks[:, 0]
    length = np.hypot(along[:, 0], along[:, 1])
    picks, along, length = picks[length > 0.2 * a], along[length > 0.2 * a], length[length > 0.2 * a]
    if len(length) == 0:
        return None
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / length[:, None]
    off = np.abs(normal @ inner.T - np.sum(normal * picks[:, 0], axis=1)[:, None])
    close = off < max(0.015 * a, 0.8)
    best = int(np.argmax(close.sum(axis=1)))
    line = inner[close[best]]
    middle = line.mean(axis=0)
    direction = np.linalg.svd(line - middle, full_matrices=False)[2][0]
    reach = (line - middle) @ direction
    if np.ptp(reach) < 0.4 * a:
        return None
    ends = middle + np.outer([reach.min(), reach.max()], direction)
    # The limb that is seen lies on the lit side: the ends are put so that it is to the cut's right.
    lit = points[np.abs(radius - 1) < max(_TOLERANCE, 1.2 / a)].mean(axis=0) - middle
    if direction[0] * lit[1] - direction[1] * lit[0] < 0:
        ends = ends[::-1]
    return ends[:, 0], ends[:, 1]

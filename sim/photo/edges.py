"""Edge of the disc on rays across a known outline: where the smoothed profile has its inflection."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .discmap import DiscMap

RAYS = 720
_STEP_PX, _STEP_SHARE = 0.5, 0.4  # between samples; of the smoothing
_WEAK = 0.3
_HORIZON_MARGIN = 0.03


@dataclass(frozen=True)
class EdgeSet:
    """Edge places per ray, pixels; `good` tells where one was found, `blur_px` the limb's Gaussian sigma."""

    columns: Array
    rows: Array
    good: npt.NDArray[np.bool_]
    blur_px: float


def ray_angles() -> Array:
    """Directions of the rays, radians."""
    return np.linspace(0, 2 * np.pi, RAYS, endpoint=False)


def sample(luma: npt.NDArray[Any], table: npt.NDArray[np.float32], columns: Array, rows: Array) -> Array:
    """Linear light between pixels (bilinear, after the inverse tone curve); nan outside the picture."""
    height, width = luma.shape
    within = (
        np.min(columns) >= 0
        and np.min(rows) >= 0
        and np.max(columns) <= width - 1
        and np.max(rows) <= height - 1
    )
    inside = None
    if not within:
        inside = (columns >= 0) & (rows >= 0) & (columns <= width - 1) & (rows <= height - 1)
        columns, rows = np.where(inside, columns, 0.0), np.where(inside, rows, 0.0)
    left = np.minimum(columns.astype(np.int32), width - 2)
    top = np.minimum(rows.astype(np.int32), height - 2)
    u, v = (columns - left).astype(np.float32), (rows - top).astype(np.float32)
    flat, at = luma.reshape(-1), top * np.intp(width) + left
    corners: list[Any] = [table.take(flat.take(at + aside)) for aside in (0, 1, width, width + 1)]
    upper, upper_right, lower, lower_right = corners
    upper += u * (upper_right - upper)
    lower += u * (lower_right - lower)
    upper += v * (lower - upper)
    return upper if inside is None else np.where(inside, upper, np.float32(np.nan))


def normals(disc: DiscMap, angles: Array) -> tuple[tuple[Array, Array], Array, Array]:
    """Limb points (columns, rows) and the unit vectors (2, n) along the limb and outward, in pixels."""
    columns, rows = disc.to_pixels(np.cos(angles), np.sin(angles))
    ahead = disc.to_pixels(np.cos(angles + 1e-4), np.sin(angles + 1e-4))
    along = np.stack([ahead[0] - columns, ahead[1] - rows])
    along /= np.hypot(along[0], along[1])
    outward = np.stack([along[1], -along[0]])
    away = np.sign(outward[0] * (columns - disc.column) + outward[1] * (rows - disc.row))
    return (columns, rows), along, outward * away


def edge_points(
    luma: npt.NDArray[Any],
    table: npt.NDArray[np.float32],
    disc: DiscMap,
    angles: Array,
    reach_px: float,
    smooth_px: float,
    horizon: tuple[Array, Array] | None,
    sides: int = 9,
) -> EdgeSet:
    """Inflection of the edge's profile on each ray within `reach_px` of the outline.

    The profile is averaged along the limb over up to the rays' spacing, in at most `sides` places, and
    smoothed along the ray with a Gaussian of `smooth_px`, which is what an edge of that blur asks for
    against white noise.
    """
    return edge_points_by(luma, (table,), disc, angles, reach_px, smooth_px, horizon, sides)[0]


def edge_points_by(
    luma: npt.NDArray[Any],
    tables: Sequence[npt.NDArray[np.float32]],
    disc: DiscMap,
    angles: Array,
    reach_px: float,
    smooth_px: float,
    horizon: tuple[Array, Array] | None,
    sides: int = 9,
) -> list[EdgeSet]:
    """The same by each of several rising tables of light by code.

    The picture is sampled by the first; the profiles averaged along the limb then pass on to the others.
    """
    (base_columns, base_rows), along, outward = normals(disc, angles)
    pad = 3 * smooth_px
    step = max(_STEP_PX, _STEP_SHARE * smooth_px)
    offsets = np.arange(-reach_px - pad, reach_px + pad + step, step)
    spacing = 2 * np.pi * disc.a / len(angles)
    count = int(np.clip(round(spacing), 1, sides))
    profile = np.zeros((len(angles), len(offsets)))
    columns = base_columns[:, None] + outward[0][:, None] * offsets
    rows = base_rows[:, None] + outward[1][:, None] * offsets
    for side in (np.arange(count) - (count - 1) / 2) * (spacing / count if count > 1 else 0.0):
        profile += sample(
            luma, tables[0], columns + (side * along[0])[:, None], rows + (side * along[1])[:, None]
        )
    profile /= count
    base = base_columns, base_rows
    return [
        _inflections(
            profile if table is tables[0] else np.interp(profile, tables[0], table),
            offsets,
            reach_px,
            smooth_px,
            base,
            outward,
            disc,
            horizon,
        )
        for table in tables
    ]


def _inflections(
    profile: Array,
    offsets: Array,
    reach_px: float,
    smooth_px: float,
    base: tuple[Array, Array],
    outward: Array,
    disc: DiscMap,
    horizon: tuple[Array, Array] | None,
) -> EdgeSet:
    complete = np.all(np.isfinite(profile), axis=1)
    profile = np.where(complete[:, None], profile, 0.0)
    sigma = smooth_px / (offsets[1] - offsets[0])
    fall = -ndimage.gaussian_filter1d(profile, sigma, axis=1, order=1, mode="nearest")
    bend = ndimage.gaussian_filter1d(profile, sigma, axis=1, order=2, mode="nearest")
    window = np.abs(offsets) <= reach_px
    index = np.argmax(np.where(window, fall, -np.inf), axis=1)
    each = np.arange(len(profile))
    steepest = fall[each, index]
    place, crossed = _zero_crossing(bend, index, offsets)
    usual = float(np.median(steepest[complete])) if np.any(complete) else 0.0
    good = complete & crossed & (steepest > _WEAK * usual) & (steepest > 0) & (np.abs(place) < reach_px)
    columns = base[0] + outward[0] * place
    rows = base[1] + outward[1] * place
    if horizon is not None:
        good &= ~beyond_line(columns, rows, disc, horizon, _HORIZON_MARGIN)
    return EdgeSet(columns, rows, good, _blur(profile, offsets, place, good, smooth_px))


def _zero_crossing(bend: Array, index: npt.NDArray[np.intp], offsets: Array) -> tuple[Array, Any]:
    """Where the second derivative passes zero upward next to the steepest sample, linearly between."""
    each = np.arange(len(index))
    index = np.clip(index, 1, bend.shape[1] - 2)
    before, here, after = bend[each, index - 1], bend[each, index], bend[each, index + 1]
    earlier = here > 0
    low, high = np.where(earlier, before, here), np.where(earlier, here, after)
    crossed = (low <= 0) & (high >= 0) & (high > low)
    share = np.where(crossed, -low / np.where(high > low, high - low, 1.0), 0.0)
    return offsets[index] + (offsets[1] - offsets[0]) * (share - earlier), crossed


def beyond_line(
    columns: Array, rows: Array, disc: DiscMap, horizon: tuple[Array, Array], margin: float
) -> Any:
    """Which points lie beyond a straight cut across the disc, or within `margin` radii of it.

    The cut's ends stand in such an order that the lit part lies to its right as the picture is seen.
    """
    (left, right), (top, bottom) = horizon
    normal = np.array([-(bottom - top), right - left]) / np.hypot(right - left, bottom - top)
    return normal[0] * (columns - left) + normal[1] * (rows - top) < margin * disc.a


def _blur(profile: Array, offsets: Array, place: Array, good: Any, smooth_px: float) -> float:
    """Sigma of the edge from the mean profile of the good rays, each shifted to its edge."""
    if np.count_nonzero(good) < 20:
        return smooth_px
    span = float(offsets[-1]) * 0.6
    grid = np.arange(-span, span, 0.25)
    rows = np.nonzero(good)[0][::4]
    at = (grid + place[rows, None] - offsets[0]) / (offsets[1] - offsets[0])
    at = np.clip(at, 0, len(offsets) - 1)
    left = np.minimum(at.astype(np.intp), len(offsets) - 2)
    chosen = profile[rows]
    before, after = (np.take_along_axis(chosen, places, axis=1) for places in (left, left + 1))
    mean = np.mean(before + (at - left) * (after - before), axis=0)
    slope = np.maximum(-ndimage.gaussian_filter1d(mean, 1.0, order=1, mode="nearest"), 0.0)
    peak = int(np.argmax(slope))
    above = slope > 0.5 * slope[peak]
    first, last = peak, peak
    while first > 0 and above[first - 1]:
        first -= 1
    while last < len(slope) - 1 and above[last + 1]:
        last += 1
    width = 0.25 * (last - first + 1)
    return float(np.sqrt(max((width / 2.3548) ** 2 - 0.25**2, 0.3**2)))

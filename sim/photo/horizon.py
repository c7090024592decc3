"""The horizon as a level: a straight edge between bright sky and dark ground, fitted below a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .discmap import DiscMap
from .edges import sample
from .grids import blurred
from .limb import Limb
from .load import Photo, linear_table

_SMOOTHING_BLOCKS = 1.25
_TRIALS = 300
_MOST_ROLL = math.radians(25)
_POINTS = 400
_TERRAIN_DEG = 0.1  # a sea horizon is straighter; hills far off are not level (common practice, no source)
_STRAIGHT = 0.003  # rms against length that still counts as a straight line


@dataclass(frozen=True)
class Horizon:
    """The horizon's line and the roll it shows.

    `columns` and `rows` are those of its two ends; `roll_deg` is the camera's anticlockwise roll seen from
    behind it, under which the line is level.
    """

    columns: tuple[float, float]
    rows: tuple[float, float]
    roll_deg: float
    sigma_deg: float


def find_horizon(photo: Photo, limb: Limb) -> Horizon | None:
    """The horizon in the picture, None where no straight edge with dark ground below reaches across it.

    Parameters
    ----------
    photo : Photo
    limb : Limb
        Its cut of the disc, if any, is taken up; otherwise the sky around the disc is searched.
    """
    start = None
    if limb.horizon is not None:
        (left, right), (top, bottom) = limb.horizon
        start = np.array([left, top, right, bottom], float)
    else:
        start = _search(photo, limb.disc)
    return None if start is None else _refine(photo, start, limb.disc)


def _search(photo: Photo, disc: DiscMap) -> Array | None:
    """Ends of the straight line through most columns' steepest fall from bright to dark, going down."""
    step, means = photo.overview
    means = blurred(means, _SMOOTHING_BLOCKS)
    fall: Array = means[:-1] - means[1:]
    height, width = fall.shape
    rows, columns = np.ogrid[:height, :width]
    shift = (step - 1) / 2
    column, row = (disc.column - shift) / step, (disc.row - shift) / step
    fall[np.hypot(columns - column, rows - row) < 1.08 * disc.a / step + 2] = 0
    fall[:2] = fall[-2:] = 0
    place = np.argmax(fall, axis=0)
    steep = fall[place, np.arange(width)]
    noise = 1.4826 * float(np.median(np.abs(fall[::2, ::2])))
    points = np.column_stack([np.arange(width), place + 0.5])[steep > max(6 * noise, 0.7)]
    if len(points) < 0.4 * width:
        return None
    rng = np.random.default_rng(20260321)
    picks = points[rng.integers(0, len(points), (_TRIALS, 2))]
    run = picks[:, 1, 0] - picks[:, 0, 0]
    slope = (picks[:, 1, 1] - picks[:, 0, 1]) / np.where(run == 0, np.nan, run)
    slope[np.abs(slope) > math.tan(_MOST_ROLL)] = np.nan
    off = points[:, 1] - (picks[:, 0, 1][:, None] + slope[:, None] * (points[:, 0] - picks[:, 0, 0][:, None]))
    votes = np.sum(np.abs(np.nan_to_num(off, nan=np.inf)) < 1.0, axis=1)
    best = int(np.argmax(votes))
    if votes[best] < 0.4 * width:
        return None
    near = points[np.abs(off[best]) < 1.0]
    tilt, foot = np.polyfit(near[:, 0], near[:, 1], 1)
    ends = np.array([0.0, width - 1.0])
    heights = tilt * ends + foot
    return np.array([ends[0], heights[0], ends[1], heights[1]]) * step + shift


def _refine(photo: Photo, start: Array, disc: DiscMap) -> Horizon | None:
    """Straight line through the inflections across the coarse one, over the picture's width."""
    line = start.copy()
    table = linear_table(photo.luma)
    for reach in (max(0.02 * disc.a, 8.0), 6.0):
        found = _line_pass(photo, table, line, reach)
        if found is None:
            return None
        line, sigma, rms = found
    length = float(np.hypot(line[2] - line[0], line[3] - line[1]))
    if rms > max(_STRAIGHT * length, 1.0) or length < 60:
        return None
    up = _lit_side(photo, line, disc)
    roll = math.atan2(up[0], -up[1])
    if disc.mirrored:
        roll = -roll
    return Horizon(
        (float(line[0]), float(line[2])),
        (float(line[1]), float(line[3])),
        math.degrees(roll),
        math.hypot(math.degrees(sigma), _TERRAIN_DEG),
    )


def _lit_side(photo: Photo, line: Array, disc: DiscMap) -> Array:
    """Unit vector (column, row) across the line to its bright side."""
    along = np.array([line[2] - line[0], line[3] - line[1]])
    along /= np.hypot(*along)
    across = np.array([along[1], -along[0]])
    table = linear_table(photo.luma)
    share = np.linspace(0.1, 0.9, 41)
    middle = np.column_stack([line[0] + share * (line[2] - line[0]), line[1] + share * (line[3] - line[1])])
    away = max(0.03 * disc.a, 6.0)
    light = [
        np.nanmean(sample(photo.luma, table, *(middle + side * away * across).T)) for side in (1.0, -1.0)
    ]
    return across if light[0] >= light[1] else -across


def _line_pass(
    photo: Photo, table: npt.NDArray[np.float32], line: Array, reach: float
) -> tuple[Array, float, float] | None:
    """A better line (ends), the sigma of its direction in radians, and the rms across it."""
    rows, columns = photo.luma.shape
    along = np.array([line[2] - line[0], line[3] - line[1]])
    length = float(np.hypot(*along))
    along /= length
    across = np.array([along[1], -along[0]])
    middle = np.array([line[0] + line[2], line[1] + line[3]]) / 2
    span = math.hypot(rows, columns)
    t = np.linspace(-span / 2, span / 2, 2 * _POINTS)
    offsets = np.arange(-reach - 6, reach + 6.5, 0.5)
    base = middle + t[:, None] * along
    place_c = base[:, :1] + across[0] * offsets
    place_r = base[:, 1:] + across[1] * offsets
    profile = sample(photo.luma, table, place_c, place_r)
    inside = np.all(np.isfinite(profile), axis=1)
    profile = np.where(inside[:, None], profile, 0.0)
    slope = ndimage.gaussian_filter1d(profile, 2.0, axis=1, order=1, mode="nearest")
    window = np.abs(offsets) <= reach
    sign = np.sign(np.median(slope[inside][:, window].sum(axis=1))) if np.any(inside) else 1.0
    slope *= sign or 1.0
    index = np.clip(np.argmax(np.where(window, slope, -np.inf), axis=1), 1, len(offsets) - 2)
    each = np.arange(len(t))
    peak, before, after = slope[each, index], slope[each, index - 1], slope[each, index + 1]
    curve = before - 2 * peak + after
    shift = np.where(curve < 0, 0.5 * (before - after) / np.where(curve < 0, curve, -1.0), 0.0)
    off = offsets[index] + 0.5 * np.clip(shift, -1, 1)
    noise = 1.4826 * np.median(np.abs(slope - np.median(slope, axis=1, keepdims=True)), axis=1)
    good = inside & (peak > 5 * noise + 1e-5) & (np.abs(off) < reach)
    if np.count_nonzero(good) < 40:
        return None
    return _robust_line(t, off, good, middle, along, across)


def _robust_line(
    t: Array, off: Array, good: Array, middle: Array, along: Array, across: Array
) -> tuple[Array, float, float] | None:
    weight = good.astype(float)
    slope = foot = 0.0
    scale = 1.0
    for turn in range(12):
        if np.count_nonzero(weight > 0) < 30:
            return None
        slope, foot = np.polyfit(t, np.where(good, off, 0.0), 1, w=np.sqrt(weight))
        left = np.where(good, off - slope * t - foot, np.nan)
        scale = max(1.4826 * float(np.nanmedian(np.abs(left))), 0.02)
        ratio = np.where(good, left, np.inf) / (4.685 * (scale if turn else 3 * scale))
        weight = np.where(np.abs(ratio) < 1, (1 - np.minimum(ratio**2, 1)) ** 2, 0.0)
    use = weight > 0.05
    if np.count_nonzero(use) < 0.5 * np.count_nonzero(good):
        return None
    left = np.where(use, off - slope * t - foot, 0.0)
    rms = float(np.sqrt(np.sum(left**2) / np.count_nonzero(use)))
    spread = float(np.sum((t[use] - t[use].mean()) ** 2))
    # Long waves along the line count with all the points that they carry away together.
    waves = np.exp(-2j * np.pi * np.arange(2, 9)[:, None] * (t - t[use].min()) / np.ptp(t[use])) @ left
    inflation = max(float(np.mean(np.abs(waves) ** 2)) / max(float(np.sum(left**2)), 1e-12), 1.0)
    ends = np.array([t[use].min(), t[use].max()])
    places = middle + ends[:, None] * along + (slope * ends + foot)[:, None] * across
    return places.ravel(), rms * math.sqrt(inflation / spread), rms

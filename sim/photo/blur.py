"""Width of the limb by direction: a shaken or doubled picture has a wide edge along its motion.

The width of a ray is the edge's whole step over its steepest slope: the smear's length for an even smear,
twice the blur for two equal images apart. Squash and motion both have two waves round the limb; only the
width tells them apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .discmap import DiscMap
from .edges import EdgeSet, normals, sample

_STEP_PX, _WIDE_STEP_PX, _WIDE_REACH_PX = 0.5, 1.0, 25.0
_GROUPS = 72


@dataclass(frozen=True)
class Motion:
    """How far the picture moved during the exposure.

    Parameters
    ----------
    length_px : float
        Excess of the limb's width along the motion, 0 where the width is the same all round.
    direction_deg : float
        Of the motion in the picture, anticlockwise from its right, 0 to 180.
    still_px : float
        Width of the limb across the motion.
    """

    length_px: float
    direction_deg: float
    still_px: float = 0.0


STILL = Motion(0.0, 0.0)


def limb_motion(
    luma: npt.NDArray[Any], table: npt.NDArray[np.float32], disc: DiscMap, edges: EdgeSet, angles: Array
) -> Motion:
    """The motion that the width of the limb shows.

    Parameters
    ----------
    luma, table : ndarray
        The picture and its inverse tone curve.
    disc : DiscMap
    edges : EdgeSet
    angles : ndarray
        Directions of the rays on the disc, radians, a multiple of 72.
    """
    (columns, rows), _, outward = normals(disc, angles)
    reach = max(0.03 * disc.a, 5 * edges.blur_px, min(14.0, 0.12 * disc.a))
    step = _STEP_PX if reach < _WIDE_REACH_PX else _WIDE_STEP_PX
    offsets = np.arange(-reach, reach + step, step)
    profile = sample(
        luma,
        table,
        columns[:, None] + outward[0][:, None] * offsets,
        rows[:, None] + outward[1][:, None] * offsets,
    )
    seen = edges.good & np.all(np.isfinite(profile), axis=1)
    direction = np.arctan2(-outward[1], outward[0])
    count = seen.reshape(_GROUPS, -1).sum(axis=1)
    enough = count >= 0.6 * len(angles) / _GROUPS

    def means(values: Array) -> Array:
        sums = values.reshape(_GROUPS, -1, values.shape[1]).sum(axis=1)
        return sums[enough] / count[enough, None]

    width = _widths(means(np.where(seen[:, None], profile, 0)), step)
    ray = np.angle(means(np.where(seen, np.exp(1j * direction), 0)[:, None]))[:, 0]
    known = np.isfinite(width)
    middles, widths = ray[known], width[known]
    if len(widths) < _GROUPS // 3:
        return STILL
    return _along(middles, widths)


def _widths(profiles: Array, spacing_px: float) -> Array:
    """Step over steepest slope of each profile, pixels; nan where the light does not fall."""
    ends = max(profiles.shape[1] // 8, 2)
    step = np.mean(profiles[:, :ends], axis=1) - np.mean(profiles[:, -ends:], axis=1)
    slope = -ndimage.gaussian_filter1d(profiles, 1.0, axis=1, order=1, mode="nearest")
    steepest = np.max(slope, axis=1)
    falls = (steepest > 0) & (step > 0)
    return np.where(falls, spacing_px * step / np.where(falls, steepest, 1.0), np.nan)


def _along(direction: Array, width: Array) -> Motion:
    """Least squares of width^2 = w0^2 + length^2 cos^2(direction - motion)."""
    design = np.column_stack([np.ones_like(direction), np.cos(2 * direction), np.sin(2 * direction)])
    # A bar over the limb may widen a few rays out of all measure.
    square = np.minimum(width, 3 * float(np.median(width))) ** 2
    coefficients = np.linalg.lstsq(design, square, rcond=None)[0]
    off = square - design @ coefficients
    swing = math.hypot(coefficients[1], coefficients[2])
    doubt = float(np.std(off)) * math.sqrt(2 / len(width)) * 2
    if swing < 4 * doubt or swing < 0.15 * coefficients[0]:
        return STILL
    turned = math.degrees(math.atan2(coefficients[2], coefficients[1]) / 2) % 180
    still = float(np.percentile(width, 10))
    return Motion(math.sqrt(2 * swing), turned, still)

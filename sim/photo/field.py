"""The disc at the scale of detection: depth below the background, its noise, and what is no disc."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .background import Background, fit_background
from .edges import beyond_line
from .limb import Limb
from .load import Photo

_DETECT_DIAMETER_PX = 900
_BRIGHT, _NEARLY_WHITE = 1.5, 0.6
_LEAST_MARK_PIXELS = 6


@dataclass(frozen=True)
class DiscField:
    """The disc at the detection's scale.

    Parameters
    ----------
    step, left, top : int
        Full-size pixels per pixel, and where the field's corner lies in the picture.
    depth, smooth, sigma : ndarray, shape (rows, columns)
        Depth below the background, as it is and smoothed; noise of the smoothed one.
    usable, marked : ndarray of bool, same shape
        The disc that was searched; bright captions and the ringing round them.
    background : Background
    smoothing_px : float
        Sigma of the smoothing in the field's pixels.
    """

    step: int
    left: int
    top: int
    depth: Array
    smooth: Array
    sigma: Array
    usable: npt.NDArray[np.bool_]
    marked: npt.NDArray[np.bool_]
    background: Background
    smoothing_px: float

    def full_place(self, column: float, row: float) -> tuple[float, float]:
        """Column and row in the picture of a place in the field."""
        shift = (self.step - 1) / 2
        return self.left + self.step * column + shift, self.top + self.step * row + shift


def disc_field(photo: Photo, table: npt.NDArray[np.float32], limb: Limb) -> tuple[DiscField | None, float]:
    """The field, None where next to nothing of the disc can be used, and the share that is clipped.

    `table`: linear light of every luma value (:func:`whichsun.sim.photo.load.linear_table`).
    """
    disc, luma = limb.disc, photo.luma
    step = max(1, -(-int(2 * disc.a) // _DETECT_DIAMETER_PX))
    columns, rows = disc.outline()
    left, top = max(int(columns.min()) - 2, 0), max(int(rows.min()) - 2, 0)
    width = (min(int(columns.max()) + 3, luma.shape[1]) - left) // step
    height = (min(int(rows.max()) + 3, luma.shape[0]) - top) // step
    cut = luma[top : top + height * step, left : left + width * step]
    light = table[cut]
    full_scale = len(table) - 1
    clipped = (cut >= 0.992 * full_scale).astype(np.float32)
    if step > 1:
        light = light.reshape(height, step, width, step).mean(axis=(1, 3))
        clipped = clipped.reshape(height, step, width, step).mean(axis=(1, 3))
    light = light.astype(float)
    shift = (step - 1) / 2
    grid_rows, grid_columns = np.mgrid[:height, :width].astype(float)
    full_columns, full_rows = left + step * grid_columns + shift, top + step * grid_rows + shift
    x, y = disc.to_disc(full_columns, full_rows)
    rho = np.hypot(x, y)
    edge = min(0.988, 1 - 2.2 * limb.edge_sigma_px / disc.a - 0.5 * step / disc.a)
    usable = rho < edge
    if limb.horizon is not None:
        usable &= ~beyond_line(full_columns, full_rows, disc, limb.horizon, 0.02)
    share = float(np.mean(clipped[usable] > 0.5)) if np.any(usable) else 1.0
    usable &= clipped < 0.1
    if np.count_nonzero(usable) < 400:
        return None, share
    background = fit_background(light, x, y, usable)
    ratio = light / np.maximum(background.at(x, y), 1e-6)
    marked = _bright_marks(ratio, usable, light)
    usable &= ~marked
    background = fit_background(light, x, y, usable)
    depth = np.where(usable, 1 - light / np.maximum(background.at(x, y), 1e-6), 0.0)
    width_px = max(0.8, 0.7 * limb.edge_sigma_px / step)
    weight = ndimage.gaussian_filter(usable.astype(float), width_px)
    smooth = np.where(usable, ndimage.gaussian_filter(depth, width_px) / np.maximum(weight, 0.05), 0.0)
    sigma = _noise(smooth, rho, usable)
    return DiscField(step, left, top, depth, smooth, sigma, usable, marked, background, width_px), share


def _bright_marks(ratio: Array, usable: npt.NDArray[np.bool_], light: Array) -> npt.NDArray[np.bool_]:
    """Captions and other nearly white marks on a darker disc, with the ringing round them.

    A lone bright pixel or two belong to faculae.
    """
    core = usable & (ratio > _BRIGHT) & (light > _NEARLY_WHITE)
    if np.count_nonzero(core) < _LEAST_MARK_PIXELS:
        return np.zeros_like(core)
    labels: Any = ndimage.label(usable & (ratio > 1.2), structure=np.ones((3, 3)))[0]  # type: ignore[index]
    grown = (np.bincount(labels[core], minlength=int(labels.max()) + 1) >= _LEAST_MARK_PIXELS)[labels]
    grown &= labels > 0
    return np.logical_and(ndimage.binary_dilation(grown, iterations=3), usable)


def _noise(depth: Array, rho: Array, usable: Any) -> Array:
    """Robust sigma of the spotless disc as a function of the radius, per pixel."""
    edges = np.array([0, 0.35, 0.55, 0.7, 0.8, 0.87, 0.92, 0.95, 0.975, 1.0])
    middles, values = [], []
    for low, high in pairwise(edges):
        ring = depth[usable & (rho >= low) & (rho < high)]
        if len(ring) > 60:
            # The upper half holds the spots; the lower half does not.
            low_side = np.median(ring) - np.percentile(ring, 15.87)
            middles.append((low + high) / 2)
            values.append(max(low_side, 1.4826 * np.median(np.abs(ring - np.median(ring))), 1e-4))
    if not values:
        return np.full(depth.shape, np.inf)
    return np.interp(rho, middles, values)

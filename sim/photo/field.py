"""The disc at the scale of detection: depth below the background, its noise, and what is no disc."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .background import Background, fit_background, thinning
from .discmap import DiscMap
from .edges import beyond_line
from .grids import Floats, block_light, blurred, every_eighth, grown, spread
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

    def places_of(self, columns: Array, rows: Array) -> Array:
        """Row and column in the field, shape (..., 2), of pixels of the picture."""
        shift = (self.step - 1) / 2
        return np.stack([rows - self.top - shift, columns - self.left - shift], axis=-1) / self.step


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
    light = block_light(cut, table, step)
    white = np.uint16(math.ceil(0.992 * (len(table) - 1)))
    clipped = _block_shares(cut, white, step) if cut.size and cut.max() >= white else None
    places = left, top, step, height, width
    x, y = _disc_places(disc, *places)
    rho = np.sqrt(x * x + y * y)
    edge = min(0.988, 1 - 2.2 * limb.edge_sigma_px / disc.a - 0.5 * step / disc.a)
    usable = rho < edge
    if limb.horizon is not None:
        usable &= ~beyond_line(*_pixel_places(*places), disc, limb.horizon, 0.02)
    share = 0.0 if np.any(usable) else 1.0
    if clipped is not None and np.any(usable):
        share = float(np.mean(clipped[usable] > 0.5))
        usable &= clipped < 0.1
    if np.count_nonzero(usable) < 400:
        return None, share
    background = fit_background(light, x, y, usable)
    ratio = background.ratio(light, x, y)
    marked = _bright_marks(ratio, usable, light)
    if np.any(marked):
        usable &= ~marked
        background = fit_background(light, x, y, usable)
        ratio = background.ratio(light, x, y)
    depth = np.subtract(1, ratio, out=ratio)
    depth *= usable
    width_px = max(0.8, 0.7 * limb.edge_sigma_px / step)
    weight = blurred(usable, width_px)
    smooth = blurred(depth, width_px)
    smooth /= np.maximum(weight, np.float32(0.05), out=weight)
    smooth *= usable
    sigma = _noise(smooth, rho, usable)
    return DiscField(step, left, top, depth, smooth, sigma, usable, marked, background, width_px), share


def _pixel_places(left: int, top: int, step: int, height: int, width: int) -> tuple[Array, Array]:
    """Columns, and rows as a column, of the field's pixels in the picture."""
    shift = (step - 1) / 2
    columns: Any = left + shift + step * np.arange(width, dtype=np.float32)
    rows: Any = (top + shift + step * np.arange(height, dtype=np.float32))[:, None]
    return columns, rows


def _disc_places(
    disc: DiscMap, left: int, top: int, step: int, height: int, width: int
) -> tuple[Floats, Floats]:
    """Disc places of the field's pixels; between every eighth of them they run straight to 1e-5 radii."""
    columns, rows = _pixel_places(left, top, step, height, width)
    some = columns[0] + step * every_eighth(width), rows[:1] + step * every_eighth(height)[:, None]
    x, y = disc.to_disc(*some)
    field_y = spread(y, (height, width))
    if disc.tilt != 0:
        return spread(x, (height, width)), field_y
    # Only the squash's own direction is bent: x is the sum of a row's part and a column's.
    of_row = disc.to_disc(columns[0], rows)[0] - x[0, 0]
    return np.add(disc.to_disc(columns, rows[0])[0], of_row, dtype=np.float32), field_y


def _block_shares(cut: npt.NDArray[Any], least: Any, step: int) -> Floats:
    """Share of the pixels of each block that reach `least`."""
    return block_light((cut >= least).view(np.uint8), np.array([0, 1], np.float32), step)


def _bright_marks(ratio: Array, usable: npt.NDArray[np.bool_], light: Array) -> npt.NDArray[np.bool_]:
    """Captions and other nearly white marks on a darker disc, with the ringing round them.

    A lone bright pixel or two belong to faculae.
    """
    core = usable & (ratio > _BRIGHT) & (light > _NEARLY_WHITE)
    if np.count_nonzero(core) < _LEAST_MARK_PIXELS:
        return np.zeros_like(core)
    labels: Any = ndimage.label(usable & (ratio > 1.2), structure=np.ones((3, 3)))[0]  # type: ignore[index]
    marks = (np.bincount(labels[core], minlength=int(labels.max()) + 1) >= _LEAST_MARK_PIXELS)[labels]
    marks &= labels > 0
    return np.logical_and(grown(grown(grown(marks))), usable)


def _noise(depth: Array, rho: Array, usable: Any) -> Array:
    """Robust sigma of the spotless disc as a function of the radius, per pixel."""
    thin = slice(None, None, thinning(depth.size))
    known = usable[thin, thin]
    ring_depth, ring_rho = depth[thin, thin][known], rho[thin, thin][known]
    # Every edge is a whole number of 200ths.
    edges = np.array([0, 0.35, 0.55, 0.7, 0.8, 0.87, 0.92, 0.95, 0.975, 1.0])
    ring_at = np.digitize((np.arange(201) + 0.5) / 200, edges[1:-1]).astype(np.int8)
    ring_of = ring_at.take((ring_rho * np.float32(200)).astype(np.uint8), mode="clip")
    order = np.argsort(ring_of, kind="stable")
    starts = np.searchsorted(ring_of[order], np.arange(len(edges)))
    middles, values = [], []
    for ring_edges, (start, end) in zip(pairwise(edges), pairwise(starts), strict=True):
        if end - start > 60:
            # The upper half holds the spots; the lower half does not.
            ring = np.sort(ring_depth[order[start:end]])
            below, middle = ring[[round(0.1587 * (len(ring) - 1)), len(ring) // 2]]
            middles.append(np.mean(ring_edges))
            values.append(max(middle - below, 1.4826 * np.median(np.abs(ring - middle)), 1e-4))
    if not values:
        return np.full(depth.shape, np.inf)
    table: Any = np.interp(np.linspace(0, 1, 256), middles, values).astype(np.float32)
    return table.take(np.minimum(rho * np.float32(255) + np.float32(0.5), 255).astype(np.uint8), mode="clip")

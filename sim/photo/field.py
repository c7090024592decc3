"""The disc at the scale of detection: depth below the background, its noise, and what is no disc."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .background import LARGE_FIELD, Background, fit_background
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
    light: Any = _block_light(cut, table, step)
    white = cut >= 0.992 * (len(table) - 1)
    clipped = _block_sums(white.view(np.uint8), step) / np.float32(step**2)
    shift = (step - 1) / 2
    full_columns: Any = left + shift + step * np.arange(width, dtype=np.float32)
    full_rows: Any = (top + shift + step * np.arange(height, dtype=np.float32))[:, None]
    x, y = disc.to_disc(full_columns, full_rows)
    rho = np.sqrt(x * x + y * y)
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
    if np.any(marked):
        usable &= ~marked
        background = fit_background(light, x, y, usable)
        ratio = light / np.maximum(background.at(x, y), 1e-6)
    depth = np.where(usable, 1 - ratio, 0)
    width_px = max(0.8, 0.7 * limb.edge_sigma_px / step)
    weight = ndimage.gaussian_filter(usable.astype(np.float32), width_px)
    smooth = np.where(usable, ndimage.gaussian_filter(depth, width_px) / np.maximum(weight, 0.05), 0)
    sigma = _noise(smooth, rho, usable)
    return DiscField(step, left, top, depth, smooth, sigma, usable, marked, background, width_px), share


def _block_light(cut: npt.NDArray[Any], table: npt.NDArray[np.float32], step: int) -> npt.NDArray[np.float32]:
    """Mean linear light of blocks of step x step pixels."""
    if cut.dtype != np.uint8:
        light = np.zeros((cut.shape[0] // step, cut.shape[1] // step), np.float32)
        for row in range(step):
            for column in range(step):
                light += table.take(cut[row::step, column::step])
        return light / np.float32(step**2)
    # 8-bit codes: two byte tables give 16-bit light, several times as fast as a table of floats.
    fine = np.round(table * 65535).astype(np.uint16)
    codes = cut.tobytes()
    high, low = (
        _block_sums(
            np.frombuffer(codes.translate(part.astype(np.uint8).tobytes()), np.uint8).reshape(cut.shape), step
        )
        for part in (fine >> 8, fine & 255)
    )
    return (np.float32(256) * high + low) / np.float32(65535 * step**2)


def _block_sums(values: npt.NDArray[np.uint8], step: int) -> npt.NDArray[np.uint32]:
    """Sums over blocks of step x step; the shape must be a multiple of the step."""
    rows, columns = (size // step for size in values.shape)
    lines = np.add.reduce(values.reshape(rows, step, columns * step), axis=1, dtype=np.uint32)
    sums = lines[:, ::step].copy()
    for column in range(1, step):
        sums += lines[:, column::step]
    return sums


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
    if depth.size > LARGE_FIELD:
        thin = slice(None, None, 2)
        ring_depth, ring_rho, ring_usable = depth[thin, thin], rho[thin, thin], usable[thin, thin]
    else:
        ring_depth, ring_rho, ring_usable = depth, rho, usable
    ring_depth, ring_rho = ring_depth[ring_usable], ring_rho[ring_usable]
    edges = np.array([0, 0.35, 0.55, 0.7, 0.8, 0.87, 0.92, 0.95, 0.975, 1.0])
    middles, values = [], []
    for low, high in pairwise(edges):
        ring = ring_depth[(ring_rho >= low) & (ring_rho < high)]
        if len(ring) > 60:
            # The upper half holds the spots; the lower half does not.
            below, middle = np.percentile(ring, [15.87, 50])
            low_side = middle - below
            middles.append((low + high) / 2)
            values.append(max(low_side, 1.4826 * np.median(np.abs(ring - middle)), 1e-4))
    if not values:
        return np.full(depth.shape, np.inf)
    steps = np.linspace(0, 1, 257)
    table: Any = np.interp(steps, middles, values).astype(np.float32)
    return table.take(np.minimum(rho * 256 + 0.5, 256).astype(np.int32))

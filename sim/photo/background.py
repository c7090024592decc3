"""The disc without its spots: limb darkening, slopes of sky and lens, and a smooth remainder."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage

from ...models.geometry import Array
from .grids import Floats, every_eighth, spread, strips

_BLOCKS_ACROSS = 24
_LEAST_SHARE = 0.25
_FITTED = 6_000
_SETTLED = 1e-3
_LARGE_FIELD, _VERY_LARGE_FIELD = 250_000, 500_000  # pixels


@dataclass(frozen=True)
class Background:
    """Light of the spotless disc as a function of the disc place, in the picture's linear units.

    A polynomial in mu (a limb darkening law with free coefficients) plus slopes in x and y, times a smooth
    remainder on a grid of block medians over the disc's square.
    """

    coefficients: Array
    remainder: Array

    def at(self, x: Array, y: Array) -> Array:
        """Light at disc places (limb radii)."""
        x, y = np.asarray(x), np.asarray(y)
        return _smooth(x, y, self.coefficients) * _between(self.remainder, x, y)

    def ratio(self, light: Floats, x: Floats, y: Floats) -> Floats:
        """Light over the background's in a field of neighbouring pixels, its remainder straight over eight of them."""
        # Beyond the field's last row and column, where no disc is, the last one stands for the next.
        some = np.ix_(*(np.minimum(every_eighth(size), size - 1).astype(np.intp) for size in x.shape))
        field = spread(_between(self.remainder, x[some], y[some]), x.shape)
        for rows, _ in strips(len(field)):
            part = field[rows]
            part *= _smooth(x[rows], y[rows], self.coefficients)
            np.divide(light[rows], np.maximum(part, np.float32(1e-6), out=part), out=part)
        return field


def thinning(pixels: int) -> int:
    """Every how manyth row and column of a field of that many pixels serves statistics: blocks keep a hundred."""
    return 1 + (pixels > _LARGE_FIELD) + (pixels > _VERY_LARGE_FIELD)


def _design(x: Array, y: Array) -> Array:
    mu = np.sqrt(np.clip(1 - np.asarray(x) ** 2 - np.asarray(y) ** 2, 0, 1))
    return np.stack([np.ones_like(mu), mu, mu**2, mu**3, x, y, x * mu, y * mu], axis=-1)


def _smooth(x: Array, y: Array, coefficients: Array) -> Array:
    """The polynomial of :func:`_design` without its matrix."""
    c = [float(value) for value in coefficients]
    mu = np.sqrt(np.maximum(1 - x * x - y * y, 0))
    return ((c[3] * mu + c[2]) * mu + (c[1] + c[6] * x + c[7] * y)) * mu + (c[0] + c[4] * x + c[5] * y)


def _between(grid: Array, x: Array, y: Array) -> Array:
    """A square grid over the disc's square, linear between its blocks' middles and level beyond them."""
    size = grid.shape[0]
    row, column = (np.clip((z + 1) * (size / 2) - 0.5, 0, size - 1) for z in (y, x))
    top, left = (np.minimum(place.astype(np.int32), size - 2) for place in (row, column))
    v, u = row - top, column - left
    flat, at = np.ravel(grid).astype(x.dtype), top * size + left
    upper = flat.take(at) * (1 - u) + flat.take(at + 1) * u
    lower = flat.take(at + size) * (1 - u) + flat.take(at + size + 1) * u
    return upper * (1 - v) + lower * v


def fit_background(light: Array, x: Array, y: Array, usable: Any) -> Background:
    """Robust fit to the pixels of the disc.

    Parameters
    ----------
    light, x, y : ndarray, shape (rows, columns)
        Linear light and disc places.
    usable : ndarray of bool, same shape
        Inside the limb, not clipped, not masked.
    """
    chosen = np.flatnonzero(usable)
    chosen = chosen[:: max(1, len(chosen) // _FITTED)]
    values, *places = (np.ravel(field)[chosen].astype(float) for field in (light, x, y))
    design = _design(*places)
    keep = np.ones(len(values), bool)
    coefficients = np.zeros(design.shape[1])
    for _ in range(6):
        kept = design[keep]
        coefficients = np.linalg.lstsq(kept.T @ kept, kept.T @ values[keep], rcond=None)[0]
        ratio = values / np.maximum(design @ coefficients, 1e-6) - 1
        middle = np.median(ratio[keep])
        sigma = 1.4826 * np.median(np.abs(ratio[keep] - middle)) + 1e-4
        last, keep = keep, np.abs(ratio - middle) < 3.5 * sigma
        if np.count_nonzero(last ^ keep) < _SETTLED * len(keep):
            break
    thin = slice(None, None, thinning(usable.size))
    known = usable[thin, thin]
    light, x, y = light[thin, thin][known], x[thin, thin][known], y[thin, thin][known]
    ratio = light / np.maximum(_smooth(x, y, np.asarray(coefficients, float)), 1e-6)
    return Background(np.asarray(coefficients, float), _remainder(ratio, x, y))


def _remainder(ratio: Array, x: Array, y: Array) -> Array:
    """Block medians of the ratio on a square grid, holes filled from neighbours, smoothed; arrays of one length."""
    size = _BLOCKS_ACROSS
    column, row = (np.clip(((z + 1) * (size / 2)).astype(np.int16), 0, size - 1) for z in (x, y))
    block = row * np.int16(size) + column
    order = np.argsort(ratio)
    order = order[np.argsort(block[order], kind="stable")]
    values, block = ratio[order], block[order]
    starts = np.searchsorted(block, np.arange(size * size))
    counts = np.diff(starts, append=len(block))
    enough = counts > _LEAST_SHARE * np.max(counts, initial=1)
    middle = starts[enough] + counts[enough] // 2
    medians = np.full(size * size, np.nan)
    medians[enough] = (values[middle] + values[middle - 1 + counts[enough] % 2]) / 2
    medians = medians.reshape(size, size)
    weight = np.isfinite(medians).astype(float)
    filled = np.where(np.isfinite(medians), medians, 0.0)
    filled, weight = ndimage.median_filter(np.where(weight > 0, filled, 1.0), 3), weight
    smooth = ndimage.gaussian_filter(filled * weight, 0.8, mode="constant")
    total = ndimage.gaussian_filter(weight, 0.8, mode="constant")
    return np.where(total > 0.05, smooth / np.maximum(total, 0.05), 1.0)

"""The disc without its spots: limb darkening, slopes of sky and lens, and a smooth remainder."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage

from ...models.geometry import Array

_BLOCKS_ACROSS = 24
_LEAST_SHARE = 0.25


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
        x, y = np.asarray(x, float), np.asarray(y, float)
        smooth = _design(x, y) @ self.coefficients
        size = self.remainder.shape[0]
        rows, columns = (y + 1) * size / 2 - 0.5, (x + 1) * size / 2 - 0.5
        places = np.stack([rows.ravel(), columns.ravel()])
        factor = ndimage.map_coordinates(self.remainder, places, order=1, mode="nearest")
        return smooth * factor.reshape(x.shape)


def _design(x: Array, y: Array) -> Array:
    mu = np.sqrt(np.clip(1 - np.asarray(x) ** 2 - np.asarray(y) ** 2, 0, 1))
    return np.stack([np.ones_like(mu), mu, mu**2, mu**3, x, y, x * mu, y * mu], axis=-1)


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
    chosen = chosen[:: max(1, len(chosen) // 40000)]
    values, design = light.ravel()[chosen], _design(x.ravel()[chosen], y.ravel()[chosen])
    keep = np.ones(len(values), bool)
    coefficients = np.zeros(design.shape[1])
    for _ in range(6):
        coefficients = np.linalg.lstsq(design[keep], values[keep], rcond=None)[0]
        ratio = values / np.maximum(design @ coefficients, 1e-6) - 1
        sigma = 1.4826 * np.median(np.abs(ratio[keep] - np.median(ratio[keep]))) + 1e-4
        keep = np.abs(ratio - np.median(ratio[keep])) < 3.5 * sigma
    ratio = np.full(light.shape, np.nan)
    ratio[usable] = light[usable] / np.maximum(_design(x[usable], y[usable]) @ coefficients, 1e-6)
    return Background(np.asarray(coefficients, float), _remainder(ratio, x, y))


def _remainder(ratio: Array, x: Array, y: Array) -> Array:
    """Block medians of the ratio on a square grid, holes filled from neighbours, smoothed."""
    size = _BLOCKS_ACROSS
    known = np.isfinite(ratio)
    column = np.clip(((x[known] + 1) * size / 2).astype(int), 0, size - 1)
    row = np.clip(((y[known] + 1) * size / 2).astype(int), 0, size - 1)
    block, values = row * size + column, ratio[known]
    order = np.argsort(block, kind="stable")
    block, values = block[order], values[order]
    starts = np.searchsorted(block, np.arange(size * size))
    ends = np.searchsorted(block, np.arange(size * size), side="right")
    enough = _LEAST_SHARE * np.max(ends - starts, initial=1)
    medians = np.array(
        [np.median(values[a:b]) if b - a > enough else np.nan for a, b in zip(starts, ends, strict=True)]
    ).reshape(size, size)
    weight = np.isfinite(medians).astype(float)
    filled = np.where(np.isfinite(medians), medians, 0.0)
    filled, weight = ndimage.median_filter(np.where(weight > 0, filled, 1.0), 3), weight
    smooth = ndimage.gaussian_filter(filled * weight, 0.8, mode="constant")
    total = ndimage.gaussian_filter(weight, 0.8, mode="constant")
    return np.where(total > 0.05, smooth / np.maximum(total, 0.05), 1.0)

"""Cutting the dark regions of the disc into single spots by the depth of the saddles between their peaks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .grids import labelled

WEIGHT_SHARE = 0.15
_SADDLE_SHARE = 0.5
_LEAST_PROMINENCE_SIGMAS = 4.0
_MOST_PIXELS = 40_000


@dataclass(frozen=True)
class Piece:
    """A dark region: its box's origin (row, column), mask, peak (row, column), peak depth, raw depth."""

    origin: tuple[int, int]
    mask: npt.NDArray[np.bool_]
    peak: tuple[int, int]
    depth: float
    significance: float
    raw: Array

    def extent(self) -> tuple[int, int, int, int]:
        """First and last row, first and last column."""
        rows, columns = np.nonzero(self.mask)
        return (
            self.origin[0] + int(rows.min()),
            self.origin[0] + int(rows.max()),
            self.origin[1] + int(columns.min()),
            self.origin[1] + int(columns.max()),
        )


def cut_pieces(smooth: Array, raw: Array, sigma: Array, low: Array, high: Array, usable: Any) -> list[Piece]:
    """Dark pieces, each the part above 15 % of its own peak.

    Parameters
    ----------
    smooth, raw : ndarray, shape (rows, columns)
        Depth below the background, smoothed and as it is.
    sigma, low, high : ndarray, same shape
        Noise of `smooth`, the depth down to which a region grows, the depth that its peak must pass.
    usable : ndarray of bool, same shape

    Notes
    -----
    Two peaks of a region are one spot (umbrae in one penumbra) where the saddle between them is deeper
    than half of the fainter peak, or the fainter rises less than 4 sigma above it; else they are two.
    """
    places, labels, count = labelled(usable & (smooth > low), corners=True)
    if count == 0:
        return []
    deep = np.bincount(labels[smooth.ravel()[places] > high.ravel()[places]], minlength=count) > 0
    order = np.argsort(labels, kind="stable")
    pieces: list[Piece] = []
    for part in np.split(places[order], np.cumsum(np.bincount(labels))[:-1]):
        if not deep[labels[np.searchsorted(places, part[0])]]:
            continue
        rows, columns = np.divmod(part, smooth.shape[1])
        box = np.s_[rows[0] : rows[-1] + 1, columns.min() : columns.max() + 1]
        region = np.zeros(smooth[box].shape, bool)
        region[rows - rows[0], columns - columns.min()] = True
        depth = np.where(region, smooth[box], -1.0)
        alone = np.count_nonzero(region) >= _MOST_PIXELS or _one_peak(depth, region)
        basins = region * 1 if alone else _basins(depth, region, sigma[box])
        for basin in range(1, int(basins.max()) + 1):
            piece = _piece(depth, basins == basin, box, raw[box], sigma, high)
            if piece is not None:
                pieces.append(piece)
    return pieces


def _piece(depth: Array, own: Any, box: Any, raw: Array, sigma: Array, high: Array) -> Piece | None:
    values = np.where(own, depth, -1.0)
    row, column = (int(i) for i in np.unravel_index(int(np.argmax(values)), values.shape))
    peak = float(values[row, column])
    place = (box[0].start + row, box[1].start + column)
    if peak <= high[place]:
        return None
    parts: Any = ndimage.label(own & (depth > WEIGHT_SHARE * peak), structure=np.ones((3, 3)))[0]  # type: ignore[index]
    mask = np.asarray(parts == parts[row, column])
    return Piece((box[0].start, box[1].start), mask, place, peak, peak / float(sigma[place]), raw)


def _one_peak(depth: Array, region: npt.NDArray[np.bool_]) -> bool:
    """Whether every pixel but one has a deeper neighbour."""
    padded = np.pad(depth, 1, constant_values=-1.0)
    height, width = depth.shape
    around = np.full(depth.shape, -1.0, depth.dtype)
    for down in range(3):
        for right in range(3):
            if (down, right) != (1, 1):
                np.maximum(around, padded[down : down + height, right : right + width], out=around)
    return bool(np.count_nonzero(region & (depth >= around)) <= 1)


def _basins(depth: Array, region: npt.NDArray[np.bool_], sigma: Array) -> npt.NDArray[np.int64]:
    """Label each pixel with its peak: flood from the deepest down, joining peaks at high saddles."""
    height, width = region.shape
    labels = np.zeros((height + 2, width + 2), dtype=np.int64)
    rows, columns = np.nonzero(region)
    order = np.argsort(-depth[rows, columns], kind="stable")
    parent: list[int] = [0]
    peaks: list[float] = [0.0]

    def root(label: int) -> int:
        while parent[label] != label:
            parent[label] = parent[parent[label]]
            label = parent[label]
        return label

    for pick in order:
        row, column = int(rows[pick]), int(columns[pick])
        value = float(depth[row, column])
        around = labels[row : row + 3, column : column + 3]
        near = sorted({root(int(label)) for label in around.ravel() if label}, key=lambda r: -peaks[r])
        if not near:
            parent.append(len(parent))
            peaks.append(value)
            labels[row + 1, column + 1] = len(parent) - 1
            continue
        labels[row + 1, column + 1] = near[0]
        for other in near[1:]:
            rise = peaks[other] - value
            if value > _SADDLE_SHARE * peaks[other] or rise < _LEAST_PROMINENCE_SIGMAS * sigma[row, column]:
                parent[other] = near[0]
    roots = np.array([root(label) for label in range(len(parent))])
    _, joined = np.unique(roots, return_inverse=True)
    return joined[labels[1:-1, 1:-1]]

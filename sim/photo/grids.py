"""Passes over whole pictures and fields, each several times as fast as the plain one of numpy or scipy."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from ...models.geometry import Array

Floats = npt.NDArray[Any]
"""Of float32; plain for the type checker, since all else is float64."""
Bools = npt.NDArray[np.bool_]

BLOCKS = 500
_STRIP_ROWS = 32  # so that a strip with its temporaries stays in the processor's cache
_SPACING = 8
_TRUNCATE = 3.0  # sigmas
_MANY = 20_000  # pixels


def strips(rows: int, step: int = 1) -> Iterator[tuple[slice, slice]]:
    """Slices of the rows of a field, a few at a time, and of the `step` times as many rows that they stand for."""
    for top in range(0, rows, _STRIP_ROWS):
        end = min(top + _STRIP_ROWS, rows)
        yield slice(top, end), slice(top * step, end * step)


def block_means(values: npt.NDArray[Any], step: int) -> Floats:
    """Means over blocks of step x step pixels, 8-bit codes or float32; what is left over at the right and below is
    dropped."""
    if step == 1:
        return values.astype(np.float32)
    rows, columns = (size // step for size in values.shape)
    cut = values[: rows * step, : columns * step].reshape(rows, step, columns * step)
    whole = np.uint16 if step <= 257 else np.uint32
    sums = np.add.reduce(cut, axis=1, dtype=whole if values.dtype == np.uint8 else np.float32)
    # Sums of whole numbers below 2^24: float32 holds them exactly.
    weights = np.ones(step, np.float32)
    return (sums.astype(np.float32).reshape(-1, step) @ weights / np.float32(step**2)).reshape(rows, columns)


def overview(codes: npt.NDArray[np.uint8]) -> tuple[int, Floats]:
    """Pixels a side and :func:`block_means` of blocks, at most 500 along the longer side."""
    step = max(1, -(-max(codes.shape) // BLOCKS))
    return step, block_means(codes, step)


def block_light(cut: npt.NDArray[Any], table: Floats, step: int) -> Floats:
    """Mean of `table` at the codes of blocks of step x step pixels; the shape must be a multiple of the step."""
    light = np.empty((cut.shape[0] // step, cut.shape[1] // step), np.float32)
    for some, full in strips(len(light), step):
        part = table.take(cut[full], mode="clip")
        lines = sum((part[row::step] for row in range(1, step)), part[::step])
        columns = (lines[:, column::step] for column in range(1, step))
        np.multiply(sum(columns, lines[:, ::step]), np.float32(1 / step**2), out=light[some])
    return light


def spread(values: Array, shape: tuple[int, int]) -> Floats:
    """A field given at every eighth row and column (:func:`every_eighth`) at all of them, linear between."""
    at = np.arange(shape[1]) / _SPACING
    left = np.minimum(at.astype(np.intp), values.shape[1] - 2)
    share = (at - left).astype(np.float32)
    given = values.astype(np.float32)
    wide = given[:, left] * (1 - share) + given[:, left + 1] * share
    field = np.empty((len(given) - 1, _SPACING, shape[1]), np.float32)
    rise = np.diff(wide, axis=0)
    for row in range(_SPACING):
        np.multiply(rise, np.float32(row / _SPACING), out=field[:, row])
        field[:, row] += wide[:-1]
    return field.reshape(-1, shape[1])[: shape[0]]


def every_eighth(size: int) -> Array:
    """Indices 0, 8, ... that reach beyond `size` rows or columns, two at least."""
    return np.arange(0, size + _SPACING, _SPACING, dtype=float)


def blurred(values: npt.NDArray[Any], sigma: float) -> Floats:
    """Gaussian filter of a two-dimensional field, mirrored at its borders."""
    reach = int(_TRUNCATE * sigma + 0.5)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel = (kernel / kernel.sum())[reach:].astype(np.float32)
    padded = np.pad(values.astype(np.float32, copy=False), reach, mode="symmetric")
    field = np.empty(values.shape, np.float32)
    width = values.shape[1]
    for some, _ in strips(len(values)):
        rows = some.stop - some.start
        part = padded[some.start : some.stop + 2 * reach]
        lines = kernel[0] * part[reach : reach + rows]
        for i in range(1, reach + 1):
            lines += kernel[i] * (part[reach - i : reach - i + rows] + part[reach + i : reach + i + rows])
        out = field[some]
        np.multiply(lines[:, reach : reach + width], kernel[0], out=out)
        for i in range(1, reach + 1):
            out += kernel[i] * (
                lines[:, reach - i : reach - i + width] + lines[:, reach + i : reach + i + width]
            )
    return field


def grown(mask: Bools) -> Bools:
    """The mask with the neighbours above, below and beside its pixels."""
    wider = mask.copy()
    wider[1:] |= mask[:-1]
    wider[:-1] |= mask[1:]
    wider[:, 1:] |= mask[:, :-1]
    wider[:, :-1] |= mask[:, 1:]
    return wider


def labelled(mask: Bools, *, corners: bool) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], int]:
    """Flat indices of a mask's pixels, which connected part (0, 1, ...) each is of, and how many parts there are.

    `corners`: whether pixels that touch by a corner are connected. For a few pixels in a large field.
    """
    places = np.flatnonzero(mask)
    if len(places) > _MANY:
        structure = np.ones((3, 3)) if corners else None
        labels, count = cast("tuple[Any, int]", ndimage.label(mask, structure))
        return places, labels.ravel()[places].astype(np.intp) - 1, count
    width = mask.shape[1]
    column = places % width
    first, second = [], []
    for right, down in ((1, 0), (0, 1), (1, 1), (-1, 1))[: 4 if corners else 2]:
        other = places + (down * width + right)
        at = np.minimum(np.searchsorted(places, other), len(places) - 1)
        joined = (places[at] == other) & (column + right >= 0) & (column + right < width)
        first.append(np.flatnonzero(joined))
        second.append(at[joined])
    ends = np.concatenate(first), np.concatenate(second)
    graph = coo_array((np.ones(len(ends[0]), np.int8), ends), shape=(len(places), len(places)))
    count, labels = connected_components(graph, directed=False)
    return places, labels.astype(np.intp), int(count)


def median_of_nine(values: npt.NDArray[Any]) -> Floats:
    """Median of each 3 by 3 square by a sorting network, mirrored at the borders."""
    padded = np.pad(values.astype(np.float32, copy=False), 1, mode="symmetric")
    rows, columns = values.shape
    nine = [padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3)]

    def sort(*pairs: tuple[int, int]) -> None:
        for low, high in pairs:
            nine[low], nine[high] = np.minimum(nine[low], nine[high]), np.maximum(nine[low], nine[high])

    sort((1, 2), (4, 5), (7, 8), (0, 1), (3, 4), (6, 7), (1, 2), (4, 5), (7, 8), (0, 3), (5, 8), (4, 7))
    sort((3, 6), (1, 4), (2, 5), (4, 7), (4, 2), (6, 4), (4, 2))
    return nine[4]

"""Parts of the disc that a photo does not show: a grid over the disc, kept as text that a person can read.

The grid has 40 by 40 cells of 0.05 limb radii in the disc frame, rows from the top, columns from the left.
In the text ``#`` is a cell in which no spot could have been found (below the horizon, behind a branch, wire or
cloud bar, beyond the picture's edge, clipped white, under a caption), ``.`` one that was searched, a blank lies
outside of the disc.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..models.geometry import Array

CELLS = 40
HIDDEN, SEEN, OUTSIDE = "#", ".", " "

Grid = npt.NDArray[np.bool_]


def cell_middles() -> tuple[Array, Array]:
    """x (1, 40) and y (40, 1) of the cells' middles, limb radii."""
    line = (np.arange(CELLS) + 0.5) * 2 / CELLS - 1
    return line[None, :], -line[:, None]


def hidden_text(grid: Grid) -> str | None:
    """Text of a grid (40, 40), ending in a line break; None where nothing is hidden."""
    inside = np.hypot(*cell_middles()) < 1
    if not np.any(grid & inside):
        return None
    marks = np.where(inside, np.where(grid, HIDDEN, SEEN), OUTSIDE)
    return "".join("".join(row).rstrip() + "\n" for row in marks)


def hidden_grid(text: str) -> Grid:
    """Grid (40, 40) of a text; blanks at the ends of its lines may be missing.

    Raises
    ------
    ValueError
        Not 40 lines of at most 40 of the marks ``#``, ``.`` and blank; says which line.
    """
    lines = text.strip("\n").split("\n")
    if len(lines) != CELLS:
        raise ValueError(f"expected {CELLS} lines, got {len(lines)}")
    grid = np.zeros((CELLS, CELLS), dtype=bool)
    for number, line in enumerate(lines, start=1):
        marks = line.rstrip()
        if len(marks) > CELLS or set(marks) - {HIDDEN, SEEN, OUTSIDE}:
            raise ValueError(
                f"expected at most {CELLS} of the marks '#', '.' and blank in line {number}, got {marks!r}"
            )
        grid[number - 1, : len(marks)] = [mark == HIDDEN for mark in marks]
    return grid


def cell_of(x: Array, y: Array) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Row and column of the cells of places (limb radii), those outside of the grid at its edge."""
    column, row = np.floor((np.asarray(x) + 1) * (CELLS / 2)), np.floor((1 - np.asarray(y)) * (CELLS / 2))
    return np.clip(row, 0, CELLS - 1).astype(int), np.clip(column, 0, CELLS - 1).astype(int)


def is_hidden(grid: Grid, x: Array, y: Array) -> Grid:
    """Whether places of the disc frame (limb radii, any shape) lie in hidden cells; the grid ends at the limb."""
    return grid[cell_of(x, y)]

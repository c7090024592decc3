"""What something in front of the Sun hides of each shot: a spot there is no miss, under any model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from ...models.geometry import Array
from ..hidden import CELLS, Grid, cell_middles, cell_of, is_hidden
from . import world

_SOFT_CELLS = 5
"""Width over which edges are softened for the chance to be seen, wider than the lattice of points it is summed on."""
_AT_ONCE = 1_000_000


@dataclass(frozen=True)
class Hidden:
    """The hidden cells of all shots.

    Attributes
    ----------
    grids : ndarray of bool, shape (s, 40, 40)
        Cells of the disc frame (see :mod:`whichsun.sim.hidden`).
    soft : ndarray, shape (s, 40, 40)
        Share of the disc that is shown round each cell; the mean over its ring where the shot's roll is unknown.
    """

    grids: Grid
    soft: Array

    @classmethod
    def of(cls, grids: Sequence[Grid | None], unknown_roll: np.ndarray) -> Hidden | None:
        """From the shots' grids; None where nothing is hidden in any of them."""
        if all(grid is None or not grid.any() for grid in grids):
            return None
        none = np.zeros((CELLS, CELLS), dtype=bool)
        stacked = np.stack([none if grid is None else grid for grid in grids])
        inside = np.hypot(*cell_middles()) < 1
        weight = ndimage.uniform_filter(inside.astype(float), _SOFT_CELLS, mode="constant")
        soft = []
        for grid, unknown in zip(stacked, unknown_roll, strict=True):
            shown = inside & ~grid
            share = ndimage.uniform_filter(shown.astype(float), _SOFT_CELLS, mode="constant")
            soft.append(_ring_means(shown) if unknown else share / np.maximum(weight, 1e-9))
        return cls(stacked, np.array(soft))

    @property
    def open_share(self) -> Array:
        """Share of the spots found on a whole disc that each shot shows, (s,), spots lying evenly on the Sun."""
        radius = np.hypot(*cell_middles())
        weight = world.detection(radius) / np.sqrt(np.maximum(1 - radius**2, 0.02))
        return (~self.grids * weight).sum((1, 2)) / weight.sum()

    def flipped(self, shots: tuple[int, ...], *, up_down: bool) -> Hidden:
        """The same with the grids of some shots mirrored left to right, and upside down as well."""
        grids, soft = self.grids.copy(), self.soft.copy()
        for s in shots:
            for grid in (grids, soft):
                grid[s] = grid[s][:: -1 if up_down else 1, ::-1]
        return Hidden(grids, soft)

    def at(self, shot: int, x: Array, y: Array) -> Grid:
        """Whether disc places of a shot are hidden."""
        return is_hidden(self.grids[shot], x, y)


def _ring_means(shown: Grid) -> Array:
    """Share of each cell's ring about the centre that is shown."""
    ring = (np.hypot(*cell_middles()) * (CELLS / 2)).astype(int)
    count = np.bincount(ring.ravel())
    return (np.bincount(ring.ravel(), shown.ravel()) / np.maximum(count, 1))[ring]


def disc_place(local: Array, distance: Array) -> tuple[Array, Array]:
    """Disc places x, y (b, n) of body points (b, n, 3) given along right, up and away of the disc."""
    scale = np.sqrt(distance**2 - 1)[:, None] / (distance[:, None] + local[..., 2])
    return local[..., 0] * scale, local[..., 1] * scale


def seen_fraction(axes: Array, distance: Array, hidden: Hidden | None) -> Array:
    """Chance that a random spot of the sphere is found at all, (b,), where parts of the shots are hidden.

    Parameters
    ----------
    axes : ndarray, shape (b, s, 3, 3)
        Rows are the disc's right, up and the direction away from the observer.
    distance : ndarray, shape (b, s)
        In solar radii.
    hidden : Hidden or None

    Notes
    -----
    As :func:`whichsun.sim.compare.world.seen_fraction`, each shot's chance times the share that is shown there.
    Small rolls beyond those of `axes` are left out.
    """
    if hidden is None:
        return world.seen_fraction(-axes[:, :, 2], distance)
    b, s = distance.shape
    result = np.empty(b)
    step = max(1, _AT_ONCE // len(world.LATTICE))
    for start in range(0, b, step):
        part = slice(start, start + step)
        missed = np.ones((len(axes[part]), len(world.LATTICE)))
        for shot in range(s):
            local = world.LATTICE @ np.swapaxes(axes[part, shot], 1, 2)
            chance = world.detection(world.disc_radius(-local[..., 2], distance[part, shot, None]))
            if hidden.grids[shot].any():
                chance = chance * hidden.soft[shot][cell_of(*disc_place(local, distance[part, shot]))]
            missed *= 1 - chance
        result[part] = 1 - missed.mean(axis=-1)
    return result

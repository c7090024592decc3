"""Which cells of the disc a photo does not show, from what the search for spots had to leave out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from scipy import ndimage

from ...models.geometry import Array
from ..hidden import CELLS, cell_of, hidden_text
from .discmap import DiscMap
from .field import DiscField
from .pieces import Piece

_FINE = 4  # points along a cell
_SPOT = 0.03  # limb radii: a spot whose middle is nearer to something than this is cut by it
_RIM = 0.03  # limb radii inward from the last place searched, to keep clear of its steps
_DARK = 0.08  # of the bright disc's light: behind something thick, where the background follows it
_OBSTACLES = ("longer than", "lettering", "part of a bright caption")


def hidden_part(
    disc: DiscMap, field: DiscField, pieces: Sequence[Piece], refused: Mapping[int, str], found: Sequence[Any]
) -> str | None:
    """The hidden cells as text, None where there are none (see :mod:`whichsun.sim.hidden`).

    Parameters
    ----------
    disc : DiscMap
    field : DiscField
    pieces : sequence of Piece
    refused : mapping of int to str
        Why pieces are no spots, by their place in the list.
    found : sequence of MeasuredSpot
        Where a spot was found, nothing hides it.

    Notes
    -----
    Hidden is a cell half of which, or more, lies within 0.03 radii (a spot's size) of what could not be
    searched or of a thing in front of the Sun. Towards the limb, where the search ends for every photo, a
    place is taken for what lies inward of it.
    """
    covered, spots = ~field.usable, np.zeros(field.usable.shape, bool)
    for index, piece in enumerate(pieces):
        mask, (top, left) = piece.mask, piece.origin
        box = np.s_[top : top + mask.shape[0], left : left + mask.shape[1]]
        if refused.get(index, "").startswith(_OBSTACLES):
            covered[box] |= mask
        elif index not in refused:
            spots[box] |= mask
    line = (np.arange(CELLS * _FINE) + 0.5) * 2 / (CELLS * _FINE) - 1
    x, y = np.meshgrid(line, -line)
    rho = np.hypot(x, y)
    place = _pixels(disc, field, x, y)
    free = ~_at(covered, place) & (rho < 1)
    light = field.background.at(x, y) * (1 - _at(field.smooth, place))
    dark = light < _DARK * np.percentile(light[free], 90) if np.any(free) else free
    dark &= ~_at(spots, place)
    edge = float(rho[free].max(initial=_RIM)) - _RIM
    rim = (rho > edge) & (rho < 1)
    free[rim] = ~_at(covered, _pixels(disc, field, *(edge * part[rim] / rho[rim] for part in (x, y))))
    points = (~free | dark) & (rho < 1)
    if not np.any(points):
        return None
    reach = round(_SPOT * CELLS * _FINE / 2)
    down, right = np.ogrid[-reach : reach + 1, -reach : reach + 1]
    points = np.asarray(ndimage.binary_dilation(points, down**2 + right**2 <= reach**2))
    cells = points.reshape(CELLS, _FINE, CELLS, _FINE).mean(axis=(1, 3))
    x, y = (np.array([getattr(spot, name) for spot in found]) for name in ("x", "y"))
    cells[cell_of(x, y)] = 0
    return hidden_text(cells >= 0.5)


def _pixels(disc: DiscMap, field: DiscField, x: Array, y: Array) -> Any:
    """Row and column, shape (2, ...), of the field's pixels at disc places."""
    return np.moveaxis(np.rint(field.places_of(*disc.to_pixels(x, y))).astype(int), -1, 0)


def _at(values: Any, place: Any) -> Any:
    """The field's values at its pixels; 1 or True outside of it."""
    row, column = place
    height, width = values.shape
    there = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    picked = values[np.clip(row, 0, height - 1), np.clip(column, 0, width - 1)]
    return np.where(there, picked, np.ones((), values.dtype))

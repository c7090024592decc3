"""Ghost images: faint copies of the disc and its spots, shifted, turned by half a turn or mirrored by the optics.

Light that is reflected twice between lenses or filter makes an upright or an inverted second image; an odd number
of mirrors on its way mirrors it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from ...models.geometry import Array
from .pieces import Piece

_DEEP, _COPY_SHARE, _COPIES_SHOWN = 0.4, 0.45, 0.7
_SENSES = np.array([(1, 1), (-1, -1), (1, -1), (-1, 1)])  # of rows and columns: upright, inverted, mirrored
_ACROSS = 0.03  # limb radii to either side of the ghost's limb
_ASIDE = 0.06  # limb radii that a ghost's limb must lie off the Sun's own to be seen
_LEAST_STEP, _STEP_SHARE, _STEP_SIGMAS = 0.01, 0.2, 6.0
_LEAST_ARC = 12  # points of 72


def ghost_copies(
    pieces: Sequence[Piece], smooth: Array, usable: npt.NDArray[np.bool_], outline: Array | None
) -> set[int]:
    """Places in the list of faint copies of deep spots.

    Parameters
    ----------
    pieces : sequence of Piece
    smooth : ndarray, shape (rows, columns)
        Depth below the background.
    usable : ndarray of bool, same shape
    outline : ndarray, shape (n, 2), optional
        Row and column of points along the limb.

    Notes
    -----
    A faint piece and a deep one give, for each of the four senses, one ghost image. It is believed where it shows
    a dip of the right depth for most other deep spots (one of them is enough for an upright image, two for
    the others) unless the limb of the ghost's disc is missing or surely fainter than such dips ask for, or where
    that limb is plain to see as a step in brightness.
    """
    peaks, depths = np.array([piece.peak for piece in pieces]), np.array([piece.depth for piece in pieces])
    if len(pieces) == 0:
        return set()
    deep = np.flatnonzero(depths > _DEEP)
    copy, source = np.nonzero(depths[:, None] <= _COPY_SHARE * depths[deep])
    if len(copy) == 0:
        return set()
    source = deep[source]
    share = depths[copy] / depths[source]
    found: set[int] = set()
    for sense in _SENSES:
        away = peaks[copy] - sense * peaks[source]
        shown, due = _shown(smooth, usable, away, sense, share, peaks[deep], depths[deep], source, deep)
        good = (shown >= (1 if np.all(sense == 1) else 2)) & (shown >= _COPIES_SHOWN * due)
        if outline is not None:
            step, sigma = _limb_step(smooth, usable, away, sense, outline)
            least = np.maximum(_LEAST_STEP, _STEP_SHARE * depths[copy])
            good &= ~(step < np.maximum(np.minimum(least, 3 * sigma), least - 3 * sigma))
            good |= (step > least) & (step > _STEP_SIGMAS * sigma)
        found |= {int(index) for index in copy[good]}
    return found


def _shown(
    smooth: Array,
    usable: npt.NDArray[np.bool_],
    away: Array,
    sense: Array,
    share: Array,
    peaks: Array,
    depths: Array,
    source: npt.NDArray[np.intp],
    deep: npt.NDArray[np.intp],
) -> tuple[Array, Array]:
    """How many other deep spots each ghost shows, and how many it should: the part of the disc searched."""
    place = sense * peaks[None] + away[:, None]
    row, column, searched = _picked(place, usable)
    due = searched & (deep[None] != source[:, None])
    last_row, last_column = np.subtract(usable.shape, 1)
    dip = np.max(
        [
            smooth[np.clip(row + down, 0, last_row), np.clip(column + right, 0, last_column)]
            for down in (-1, 0, 1)
            for right in (-1, 0, 1)
        ],
        axis=0,
    )
    expected = share[:, None] * depths
    return (due & (dip > 0.5 * expected) & (dip < 2 * expected)).sum(1), due.sum(1)


def _picked(
    place: npt.NDArray[Any], usable: npt.NDArray[np.bool_]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
    """Rows and columns of places (..., 2), 0 outside of the field, and which of them were searched."""
    inside = np.all((place >= 0) & (place < usable.shape), axis=-1)
    row, column = np.moveaxis(np.where(inside[..., None], place, 0), -1, 0)
    return row, column, inside & usable[row, column]


def _limb_step(
    smooth: Array, usable: npt.NDArray[np.bool_], away: Array, sense: Array, outline: Array
) -> tuple[Array, Array]:
    """Step in brightness along each ghost's limb, brighter inside, and its sigma; nan where it cannot be seen."""
    centre = outline.mean(0)
    radius = float(np.hypot(*(outline - centre).T).mean())
    ghost = sense * centre + away
    sides = []
    for scale in (1 - _ACROSS, 1 + _ACROSS):
        place = np.rint(ghost[:, None] + sense * scale * (outline - centre)).astype(int)
        row, column, searched = _picked(place, usable)
        sides.append(np.where(searched, smooth[row, column], np.nan))
    step = sides[1] - sides[0]
    count = np.isfinite(step).sum(1)
    seen = (count >= _LEAST_ARC) & (np.hypot(*(ghost - centre).T) > _ASIDE * radius)
    height, sigma = np.full(len(away), np.nan), np.full(len(away), np.nan)
    if np.any(seen):
        height[seen] = np.nanmedian(step[seen], axis=1)
        spread = 1.4826 * np.nanmedian(np.abs(step[seen] - height[seen, None]), axis=1)
        sigma[seen] = 1.25 * spread / np.sqrt(count[seen])
    return height, sigma

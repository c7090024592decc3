"""Dark pieces on a picture of the disc that cannot be spots: single pixels, lettering, wires, clouds."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .ghosts import ghost_copies
from .grids import grown
from .pieces import Piece

_LARGEST = 0.30
_LEAST_PIXELS = 3
_ONE_PIXEL_SHARE = 0.35
_LETTERS = ((0.6, 4), (0.25, 6))  # depth of the pieces, how many make a line
_LETTER_HEIGHT_PX = 5
_WORDS = (0.4, 4)  # the same for small print whose letters run together: tops and bases on two lines
_LONGEST_WORD = 8.0  # heights
_SHALLOW, _STEP_SHARE, _SECTORS = 0.2, 0.4, 8


def impostors(
    pieces: list[Piece],
    usable: npt.NDArray[np.bool_],
    marked: npt.NDArray[np.bool_],
    *,
    blur_px: float,
    radius_px: float,
    smooth: Array | None = None,
    outline: Array | None = None,
) -> dict[int, str]:
    """Reasons why pieces are no spots, by their place in the list.

    Parameters
    ----------
    pieces : list of Piece
    usable : ndarray of bool
        The part of the disc that was searched.
    marked : ndarray of bool
        Bright captions and the ringing round them.
    blur_px, radius_px : float
        Sigma of the limb's blur and radius of the disc, in the pieces' pixels.
    smooth : ndarray, optional
        Depth below the background, to look beside shallow pieces: the edge of a ghost image or of haze is dark
        on one side and bright on the other.
    outline : ndarray, shape (n, 2), optional
        Row and column of points along the limb, to look for that of a ghost's disc.
    """
    reasons: dict[int, str] = {}
    beside_marks = grown(grown(marked)) if np.any(marked) else marked
    beyond = grown(~(usable | marked))
    for index, piece in enumerate(pieces):
        first, last, start, end = piece.extent()
        rows, columns = np.nonzero(piece.mask)
        if max(last - first, end - start) > _LARGEST * radius_px:
            reasons[index] = "longer than any spot (cloud, wire, branch or lettering)"
        elif _sharper_than_optics(piece, blur_px):
            reasons[index] = "sharper than the picture (hot pixel or dust)"
        elif np.any(beyond[rows + piece.origin[0], columns + piece.origin[1]]):
            reasons[index] = "cut off (by the limb, the horizon or clipped light)"
        elif np.any(beside_marks[rows + piece.origin[0], columns + piece.origin[1]]):
            reasons[index] = "part of a bright caption"
        elif smooth is not None and piece.depth < _SHALLOW and _on_a_step(piece, smooth, usable):
            reasons[index] = "on a step in brightness (ghost image or edge of haze)"
    for index in _lettering(pieces):
        reasons.setdefault(index, "lettering")
    left = [index for index in range(len(pieces)) if index not in reasons]
    for index in () if smooth is None else ghost_copies([pieces[k] for k in left], smooth, usable, outline):
        reasons[left[index]] = "the ghost image of another spot"
    return reasons


def _sharper_than_optics(piece: Piece, blur_px: float) -> bool:
    """Whether the piece gathers in one pixel more than a point through this blur could."""
    if np.count_nonzero(piece.mask) < _LEAST_PIXELS:
        return True
    around = ndimage.binary_dilation(np.pad(piece.mask, 1))[1:-1, 1:-1]
    raw = np.where(around, piece.raw, 0.0)
    total = max(float(raw.sum()), float(raw.max()))
    pixel = math.erf(0.5 / (max(blur_px, 0.45) * math.sqrt(2))) ** 2
    return total <= 0 or float(raw.max()) / total > max(1.25 * pixel, _ONE_PIXEL_SHARE)


def _on_a_step(piece: Piece, smooth: Array, usable: npt.NDArray[np.bool_]) -> bool:
    """Whether a sector beside the piece is about as bright as the piece is dark."""
    rows, columns = np.nonzero(piece.mask)
    row, column = piece.origin[0] + rows.mean(), piece.origin[1] + columns.mean()
    inner = 1.3 * math.sqrt(len(rows) / math.pi) + 1.5
    outer = 1.6 * inner + 2
    top, left = max(int(row - outer), 0), max(int(column - outer), 0)
    box = np.s_[top : int(row + outer) + 2, left : int(column + outer) + 2]
    down, right = np.indices(smooth[box].shape)
    down, right = down + top - row, right + left - column
    ring = usable[box] & (np.hypot(down, right) > inner) & (np.hypot(down, right) < outer)
    sector = ((np.arctan2(down, right) / (2 * np.pi) * _SECTORS) % _SECTORS).astype(int)
    values = smooth[box]
    means = [values[ring & (sector == k)].mean() for k in range(_SECTORS) if np.any(ring & (sector == k))]
    return bool(means) and min(means) < -_STEP_SHARE * piece.depth


def _lettering(pieces: list[Piece]) -> set[int]:
    """Pieces that stand on one base line closely side by side, and what lies in the band of such a line."""
    boxes = [piece.extent() for piece in pieces]
    found: set[int] = set()
    for least_depth, letters, words in (*((*one, False) for one in _LETTERS), (*_WORDS, True)):
        dark = [index for index, piece in enumerate(pieces) if piece.depth > least_depth]
        for seed in dark:
            if boxes[seed][1] - boxes[seed][0] + 1 >= _LETTER_HEIGHT_PX:
                found |= _line_with(seed, dark, boxes, letters, words)
    return found


def _line_with(
    seed: int, dark: list[int], boxes: list[tuple[int, int, int, int]], letters: int, words: bool
) -> set[int]:
    """Runs of `letters` or more pieces on the base line of `seed`, with all that touches their band."""
    top, base = boxes[seed][:2]
    height = base - top + 1
    slack = max(1.0, 0.12 * height)

    def fits(index: int) -> bool:
        first, last, start, end = boxes[index]
        if words:
            alike = abs(first - top) <= slack and end - start + 1 < _LONGEST_WORD * height
        else:
            alike = 0.6 <= (last - first + 1) / height <= 1.67 and end - start + 1 < 1.6 * height
        return abs(last - base) <= slack and alike

    row = sorted((index for index in dark if fits(index)), key=lambda index: boxes[index][2])
    found: set[int] = set()
    run: list[int] = []
    for index in row:
        if run and boxes[index][2] - boxes[run[-1]][3] > 1.3 * height:
            run = []
        run = [*run, index]
        if len(run) >= letters:
            found |= set(run)
    if not found:
        return found
    start = min(boxes[index][2] for index in found) - 2.5 * height
    end = max(boxes[index][3] for index in found) + 2.5 * height
    for index, (first, last, left, right) in enumerate(boxes):
        in_band = first > base - 1.6 * height and last < base + 0.6 * height and left > start and right < end
        if in_band and last - first + 1 < 2 * height:
            found.add(index)
    return found

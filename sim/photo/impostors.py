"""Dark pieces on a picture of the disc that cannot be spots: single pixels, lettering, wires, clouds."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from .pieces import Piece

_LARGEST = 0.30
_LEAST_PIXELS = 3
_ONE_PIXEL_SHARE = 0.35
_LETTERS = ((0.6, 4), (0.25, 6))  # depth of the pieces, how many make a line
_LETTER_HEIGHT_PX = 5


def impostors(
    pieces: list[Piece],
    usable: npt.NDArray[np.bool_],
    marked: npt.NDArray[np.bool_],
    *,
    blur_px: float,
    radius_px: float,
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
    """
    reasons: dict[int, str] = {}
    beside_marks = ndimage.binary_dilation(marked, iterations=2) if np.any(marked) else marked
    beyond = ndimage.binary_dilation(~usable & ~marked, iterations=1)
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
    for index in _lettering(pieces):
        reasons.setdefault(index, "lettering")
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


def _lettering(pieces: list[Piece]) -> set[int]:
    """Pieces that stand on one base line closely side by side, and what lies in the band of such a line."""
    boxes = [piece.extent() for piece in pieces]
    found: set[int] = set()
    for least_depth, letters in _LETTERS:
        dark = [index for index, piece in enumerate(pieces) if piece.depth > least_depth]
        for seed in dark:
            height = boxes[seed][1] - boxes[seed][0] + 1
            if height >= _LETTER_HEIGHT_PX:
                found |= _line_with(seed, height, dark, boxes, letters)
    return found


def _line_with(
    seed: int, height: int, dark: list[int], boxes: list[tuple[int, int, int, int]], letters: int
) -> set[int]:
    """Runs of `letters` or more pieces on the base line of `seed`, with all that touches their band."""
    base, slack = boxes[seed][1], max(1.0, 0.12 * height)

    def fits(index: int) -> bool:
        first, last, start, end = boxes[index]
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

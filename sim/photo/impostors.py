"""Dark pieces on a picture of the disc that cannot be spots: single pixels, lettering, wires, clouds."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from .pieces import Piece

_LARGEST = 0.30
_LEAST_PIXELS = 3
_ONE_PIXEL_SHARE = 0.35
_LETTERS = 4
_LETTER_HEIGHT_PX = 5
_LETTER_DEPTH = 0.6


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
    """Pieces of one height on one base line, closely spaced and evenly dark."""
    boxes = {index: piece.extent() for index, piece in enumerate(pieces) if piece.depth > _LETTER_DEPTH}
    found: set[int] = set()
    for seed, (first, last, *_rest) in boxes.items():
        height = last - first + 1
        if height < _LETTER_HEIGHT_PX:
            continue
        slack = max(1.0, 0.15 * height)
        row = sorted(
            (box[2], box[3], index)
            for index, box in boxes.items()
            if abs(box[1] - last) <= slack and abs(box[0] - first) <= slack
        )
        run = [row[0]] if row else []
        for before, after in pairwise(row):
            if after[0] - before[1] > 1.5 * height:
                run = _closed(run, found)
            run.append(after)
        _closed(run, found)
        if seed in found:
            continue
    return found


def _closed(run: list[tuple[int, int, int]], found: set[int]) -> list[tuple[int, int, int]]:
    if len(run) >= _LETTERS:
        found.update(index for _, _, index in run)
    return []

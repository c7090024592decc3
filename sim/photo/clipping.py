"""Whether one colour stands at its end over the disc, though the brightness does not: a deep red Sun.

A second decode in colour would cost most of a first one, even at an eighth of the size. The camera's thumbnail
saves it where it shows the same picture and no colour near its end. Else the disc's uppermost part saves most of
it, by its colour: the brightness at which the first colour of such light reaches its end lies clearly above the
disc's. Else the rows down to the disc's middle tell, the disc being as bright below as above.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from .decoded import LUMA
from .discmap import DiscMap
from .formats import decode_thumbnail, decode_top_rgb
from .load import Photo, linear_table

_INNER = 0.7  # half of the square's side, in radii
_FULL = 254
_LEAST_LUMA = 0.114  # blue's share of the luma, the smallest
CLIPPED_COLOUR = 0.2
"""Shares up to this are not worth knowing."""
_NEAR_END, _FEW = 246, 0.1  # of the thumbnail: codes that may be clipped after its own coding; their share
_LEAST_THUMB_PX, _ALIKE = 5.0, 6.0  # radius; median difference in codes of the same picture
_EVEN = 0.9  # of the lower half's brightness: nothing hides the upper one
_TOP_REACH = 0.25  # radii above the disc's middle where the rows may end
_CAP, _WITHIN = 0.86, 0.96  # radii above the middle where the cap ends; from the middle out to its rim
_LEAST_CAP = 30  # pixels of the small picture
_BLUER = np.array([1.05, 1.1, 1.25], np.float32)
"""How much more of a colour there may be farther in, for the same brightness: limb darkening takes away a quarter
more of the blue than of the red (:mod:`whichsun.render.limb_darkening`), and low air reddens what is lower."""


def clipped_colour(photo: Photo, disc: DiscMap) -> float:
    """Greatest share of the disc's inner square on which one colour stands at its end; 0 where clearly small."""
    top, bottom, left, right = _square(disc, photo.luma.shape)
    box = photo.luma[top:bottom:16, left:right:16]
    # A colour at its end gives at least its own share of the full luma.
    possible = np.iinfo(photo.luma.dtype).max * _LEAST_LUMA
    if box.size == 0 or np.mean(box >= possible) < CLIPPED_COLOUR:
        return 0.0
    if _thumbnail_clear(photo, disc) or _cap_clear(photo, disc, box):
        return 0.0
    half = len(box) // 2
    small = _upper_half(photo, disc) if np.mean(box[:half]) > _EVEN * np.mean(box[half:]) else None
    bottom = bottom if small is None else min(bottom, int(disc.row))
    small = photo.small_rgb() if small is None else small
    scale = photo.luma.shape[1] / small.shape[1]
    inner = small[int(top / scale) : int(bottom / scale) + 1, int(left / scale) : int(right / scale) + 1]
    return float((inner.reshape(-1, 3) >= _FULL).mean(axis=0).max()) if inner.size else 0.0


def _square(disc: DiscMap, shape: tuple[int, ...]) -> tuple[int, int, int, int]:
    """First and last row, first and last column of the inner square round the disc's centre within the picture."""
    reach = _INNER * min(disc.a, disc.b)
    top, left = max(int(disc.row - reach), 0), max(int(disc.column - reach), 0)
    return top, min(int(disc.row + reach), shape[0]), left, min(int(disc.column + reach), shape[1])


def _upper_half(photo: Photo, disc: DiscMap) -> npt.NDArray[np.uint8] | None:
    """Small colour of the rows from the top to about the disc's middle, None where they cannot be had alone."""
    height = photo.luma.shape[0]
    small = decode_top_rgb(photo.path, disc.row / height) if 0 < disc.row < 0.8 * height else None
    if small is None:
        return None
    reached = len(small) * photo.luma.shape[1] / small.shape[1]
    return small if reached > disc.row - _TOP_REACH * disc.b else None


def _thumbnail_clear(photo: Photo, disc: DiscMap) -> bool:
    """Whether a thumbnail of the same picture shows no colour near its end on the disc."""
    thumbnail = decode_thumbnail(photo.path)
    if thumbnail is None:
        return False
    # Thumbnails of another shape than the photo have bars on two sides.
    height, width = photo.luma.shape
    scale = max(width / thumbnail.shape[1], height / thumbnail.shape[0])
    if min(disc.a, disc.b) / scale < _LEAST_THUMB_PX:
        return False
    top, bottom, left, right = _square(disc, photo.luma.shape)
    margin = np.array(thumbnail.shape[:2]) - np.array([height, width]) / scale
    first_row, last_row = (np.array([top, bottom]) / scale + margin[0] / 2).astype(int)
    first, last = (np.array([left, right]) / scale + margin[1] / 2).astype(int)
    inner = thumbnail[first_row + 1 : last_row, first + 1 : last].astype(float)
    rows, columns = (
        (scale * (np.arange(start + 1, end) + 0.5 - gap / 2)).astype(int)
        for start, end, gap in ((first_row, last_row, margin[0]), (first, last, margin[1]))
    )
    seen: Any = photo.luma[np.ix_(rows, columns)] / (np.iinfo(photo.luma.dtype).max / 255)
    same = float(np.median(np.abs(inner @ np.array(LUMA) - seen))) < _ALIKE
    return same and float((inner >= _NEAR_END).mean(axis=(0, 1)).max()) < _FEW


def _cap_clear(photo: Photo, disc: DiscMap, box: npt.NDArray[Any]) -> bool:
    """Whether the colour of the disc's uppermost part leaves all colours within the disc below their ends.

    `box`: luma of some pixels of the inner square.
    """
    height, width = photo.luma.shape
    last = disc.row - _CAP * disc.b
    small = decode_top_rgb(photo.path, last / height) if 0 < last < 0.8 * height else None
    if small is None:
        return False
    scale = width / small.shape[1]
    top = max(int((disc.row - disc.b) / scale), 0)
    part = small[top:]
    rows, columns = np.ogrid[top : len(small), : small.shape[1]]
    x, y = disc.to_disc(scale * (columns + 0.5) - 0.5, scale * (rows + 0.5) - 0.5)
    cap = part[np.hypot(x, y) < _WITHIN]
    if len(cap) < _LEAST_CAP:
        return False
    luma = cap @ np.array(LUMA, np.float32)
    bright = luma > 0.5 * np.median(box) * (255 / np.iinfo(photo.luma.dtype).max)
    if np.count_nonzero(bright) < 0.7 * len(cap) or np.mean(cap >= _FULL, axis=0).max() > 0:
        return False  # something hides it, or it is clipped itself
    light = linear_table(small)
    colour = np.median(light[cap[bright]] / light[np.rint(luma[bright]).astype(int), None], axis=0)
    first = light[_FULL] / float(np.max(colour * _BLUER))
    return float(np.mean(linear_table(photo.luma)[box] >= first)) < _FEW

"""Reading a photo: luma the right way up, and what the file says of time, place and lens."""

from __future__ import annotations

import datetime as dt
import os
import warnings
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from ...models.errors import PictureError, WhichsunError
from ...render.tone import srgb_decode
from ..outing import OutingSite
from .decoded import eight_bits
from .exif import parse_offset
from .formats import decode, decode_rgb, decode_small_rgb
from .grids import overview

__all__ = ["Photo", "linear_table", "load_photo", "load_rgb", "parse_offset"]


@dataclass(frozen=True)
class Photo:
    """A photo in memory; origin at the top-left pixel's centre, column right, row down.

    Parameters
    ----------
    path : Path
    luma : ndarray of uint8 or uint16, shape (rows, columns)
        Tone-coded luma after the EXIF orientation; linear sources (FITS, RAW) are coded by the sRGB curve.
    time_utc : str or None
        ISO 8601 with Z, None where date or offset are unknown.
    local_time : datetime or None
        The camera's clock when its offset is unknown.
    site : OutingSite or None
    camera : str or None
    focal_length_mm, pixel_pitch_um : float or None
    doubt : str or None
        What was lost in reading and what to do about it.
    """

    path: Path
    luma: npt.NDArray[Any]
    time_utc: str | None = None
    local_time: dt.datetime | None = None
    site: OutingSite | None = None
    camera: str | None = None
    focal_length_mm: float | None = None
    pixel_pitch_um: float | None = None
    doubt: str | None = None

    @cached_property
    def overview(self) -> tuple[int, npt.NDArray[np.float32]]:
        """Pixels a side and means of blocks, at most 500 along the longer side, in 8-bit codes."""
        return overview(self.codes)

    @property
    def codes(self) -> npt.NDArray[np.uint8]:
        """The luma in eight bits."""
        return eight_bits(self.luma)

    @property
    def rgb(self) -> npt.NDArray[np.uint8]:
        """Colour, shape (rows, columns, 3), read from the file anew: pictures need it, measuring does not."""
        return load_rgb(self.path)

    def small_rgb(self) -> npt.NDArray[np.uint8]:
        """The same at about an eighth of the size, which is quicker."""
        return _guarded(self.path, lambda: decode_small_rgb(self.path))


def load_photo(path: str | os.PathLike[str], *, utc_offset: str | None = None) -> Photo:
    """Read a JPEG, PNG, TIFF, JPEG 2000, FITS, HEIC or RAW file.

    Parameters
    ----------
    path : path-like
    utc_offset : str, optional
        Offset of the camera's clock, used instead of the EXIF's.

    Raises
    ------
    PictureError
        The file is missing, no picture, damaged, too large, too small or animated.
    MissingLibraryError
        HEIC without pillow-heif, RAW without rawpy.
    InputError
        `utc_offset` is no offset.
    """
    path = Path(path)
    zone = None if utc_offset is None else parse_offset(utc_offset)
    decoded = _guarded(path, lambda: decode(path, zone))
    return Photo(path, decoded.luma, **decoded.facts)


def load_rgb(path: str | os.PathLike[str]) -> npt.NDArray[np.uint8]:
    """Colour of a photo the right way up, shape (rows, columns, 3); errors as :func:`load_photo`."""
    path = Path(path)
    return _guarded(path, lambda: decode_rgb(path))


def linear_table(luma: npt.NDArray[Any]) -> npt.NDArray[np.float32]:
    """Linear light, 0 to 1, for every code of the luma's type, by the inverse sRGB curve (IEC 61966-2-1)."""
    codes = np.linspace(0, 1, 65536 if luma.dtype == np.uint16 else 256)
    return srgb_decode(codes).astype(np.float32)


def _guarded(path: Path, work: Any) -> Any:
    """The result of reading, or one clear line."""
    if not path.exists():
        raise PictureError(path.name, f"there is no such file ({path})", "check the name")
    if path.is_dir():
        raise PictureError(path.name, "is a folder", "name the photos themselves")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return work()
    except WhichsunError:
        raise
    except Exception as error:  # decoders of foreign files raise almost anything
        words = " ".join(str(error).split())[:80] or type(error).__name__
        raise PictureError(
            path.name, f"the picture is damaged or cut short ({words})", "copy it again from the camera"
        ) from None

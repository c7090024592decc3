"""Reading a photo: pixels the right way up, and what its EXIF says of time, place and lens."""

from __future__ import annotations

import datetime as dt
import os
import re
import struct
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from ...models.errors import InputError, PictureError
from ...models.place import iso_utc, utc_days_of
from ..outing import OutingSite

MAX_PIXELS = 150_000_000
MAX_SIDE_PX = 30_000
MIN_SIDE_PX = 32
_FORMATS = ("JPEG", "MPO", "PNG", "TIFF", "JPEG2000")
_EXIF, _GPS = 0x8769, 0x8825
_INCH_MM = {2: 25.4, 3: 10.0, 4: 1.0}


@dataclass(frozen=True)
class Photo:
    """A photo in memory; origin at the top-left pixel's centre, column right, row down.

    Parameters
    ----------
    path : Path
    luma : ndarray of uint8 or uint16, shape (rows, columns)
        Tone-coded luma after the EXIF orientation.
    rgb : ndarray of uint8, shape (rows, columns, 3)
    time_utc : str or None
        ISO 8601 with Z, None where date or offset are unknown.
    local_time : datetime or None
        The camera's clock when its offset is unknown.
    site : OutingSite or None
    camera : str or None
    focal_length_mm, pixel_pitch_um : float or None
    """

    path: Path
    luma: npt.NDArray[Any]
    rgb: npt.NDArray[np.uint8]
    time_utc: str | None = None
    local_time: dt.datetime | None = None
    site: OutingSite | None = None
    camera: str | None = None
    focal_length_mm: float | None = None
    pixel_pitch_um: float | None = None


def parse_offset(text: str, name: str = "--utc-offset") -> dt.timezone:
    """A fixed offset from text such as ``+05:30``, ``-3`` or ``Z``; :class:`InputError` otherwise."""
    cleaned = text.strip().replace("\N{MINUS SIGN}", "-")
    if cleaned in ("Z", "z", "UTC"):
        return dt.UTC
    match = re.fullmatch(r"([+-]?)(\d{1,2})(?::?([0-5]\d))?", cleaned)
    minutes = 60 * int(match[2]) + int(match[3] or 0) if match else 10**6
    if match is None or minutes > 14 * 60:
        raise InputError(name, "must be an offset from UTC up to 14 hours", text, "write +05:30 or -03:00")
    return dt.timezone(dt.timedelta(minutes=-minutes if match[1] == "-" else minutes))


def load_photo(path: str | os.PathLike[str], *, utc_offset: str | None = None) -> Photo:
    """Read a JPEG, PNG, TIFF or JPEG 2000 file.

    Parameters
    ----------
    path : path-like
    utc_offset : str, optional
        Offset of the camera's clock, used instead of the EXIF's.

    Raises
    ------
    PictureError
        The file is missing, no picture, damaged, too large, too small or animated.
    InputError
        `utc_offset` is no offset.
    """
    from PIL import ImageOps

    path = Path(path)
    zone = None if utc_offset is None else parse_offset(utc_offset)
    if not path.exists():
        raise PictureError(path.name, f"there is no such file ({path})", "check the name")
    if path.is_dir():
        raise PictureError(path.name, "is a folder", "name the photos themselves")
    try:
        with path.open("rb") as stream, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = _open(path, stream)
            facts = _facts(image.getexif(), zone)
            image.load()
            image = ImageOps.exif_transpose(image)
    except PictureError:
        raise
    except (OSError, SyntaxError, ValueError, MemoryError, struct.error) as error:
        raise PictureError(
            path.name,
            f"the picture is damaged or cut short ({_brief(error)})",
            "copy it again from the camera",
        ) from None
    if image.mode == "F" or (image.mode == "I" and np.max(np.asarray(image)) > 65535):
        raise PictureError(path.name, "holds more than 16 bits a pixel", "save it with 8 or 16 bits")
    luma, rgb = _pixels(image)
    return Photo(path, luma, rgb, **facts)


def linear_table(luma: npt.NDArray[Any]) -> npt.NDArray[np.float32]:
    """Linear light, 0 to 1, for every code of the luma's type, by the inverse sRGB curve (IEC 61966-2-1)."""
    codes = np.linspace(0, 1, 65536 if luma.dtype == np.uint16 else 256)
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _open(path: Path, stream: BinaryIO) -> Any:
    """Open lazily and refuse what must not be decoded."""
    from PIL import Image, UnidentifiedImageError

    too_large = f"is larger than {MAX_PIXELS // 10**6} megapixels or {MAX_SIDE_PX} pixels a side"
    try:
        image = Image.open(stream)
    except UnidentifiedImageError:
        raise PictureError(
            path.name, "is not a picture that can be read", "give a JPEG, PNG or TIFF"
        ) from None
    except Image.DecompressionBombError:
        raise PictureError(path.name, too_large, "crop or shrink it") from None
    width, height = image.size
    if image.format not in _FORMATS:
        raise PictureError(
            path.name, f"{image.format} pictures are not read", "convert it to JPEG, PNG or TIFF"
        )
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE_PX:
        raise PictureError(path.name, f"{width}x{height} pixels: {too_large}", "crop or shrink it")
    if min(width, height) < MIN_SIDE_PX:
        raise PictureError(path.name, f"is only {width}x{height} pixels", "give the full-size photo")
    if image.format == "PNG" and getattr(image, "is_animated", False):
        raise PictureError(path.name, "is an animated picture", "save one frame of it")
    return image


def _brief(error: BaseException) -> str:
    return " ".join(str(error).split())[:80] or type(error).__name__


def _pixels(image: Any) -> tuple[npt.NDArray[Any], npt.NDArray[np.uint8]]:
    """Luma (uint16 for deep grey pictures, else uint8) and RGB."""
    if image.mode.startswith("I"):
        values = np.asarray(image, dtype=np.float64)
        deep = np.clip(values, 0, 65535).astype(np.uint16)
        grey = (deep >> 8).astype(np.uint8)
        return deep, np.repeat(grey[..., None], 3, axis=2)
    if image.mode in ("L", "1"):
        grey = np.asarray(image.convert("L"))
        return grey, np.repeat(grey[..., None], 3, axis=2)
    colour = image.convert("RGB")
    return np.asarray(colour.convert("L")), np.asarray(colour)


def _facts(exif: Any, zone: dt.timezone | None) -> dict[str, Any]:
    """What the EXIF tells, nothing where a tag is missing or makes no sense."""
    inner, gps = exif.get_ifd(_EXIF), exif.get_ifd(_GPS)
    facts: dict[str, Any] = {
        "site": _site(gps),
        "camera": _camera(exif),
        "focal_length_mm": _positive(inner.get(0x920A)),
        "pixel_pitch_um": _pitch(inner),
    }
    local = _local_time(inner)
    if local is not None and zone is None:
        zone = _exif_zone(inner)
    if local is not None and zone is not None:
        facts["time_utc"] = iso_utc(utc_days_of(local.replace(tzinfo=zone)))
    else:
        facts["local_time"] = local
    return facts


def _text(value: Any) -> str:
    raw = value.decode("ascii", "ignore") if isinstance(value, bytes) else str(value or "")
    return raw.replace("\0", " ").strip()


def _local_time(inner: Any) -> dt.datetime | None:
    text = _text(inner.get(0x9003))
    try:
        moment = dt.datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    fraction = _text(inner.get(0x9291))
    return moment + dt.timedelta(seconds=float(f"0.{fraction}")) if fraction.isdigit() else moment


def _exif_zone(inner: Any) -> dt.timezone | None:
    try:
        return parse_offset(_text(inner.get(0x9011)))
    except InputError:
        return None


def _positive(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number > 0 else None


def _camera(exif: Any) -> str | None:
    maker, name = _text(exif.get(0x010F)), _text(exif.get(0x0110))
    text = name if name.startswith(maker) else f"{maker} {name}"
    return text.strip() or None


def _pitch(inner: Any) -> float | None:
    """Pixel pitch from the focal-plane resolution."""
    per_unit, unit_mm = _positive(inner.get(0xA20E)), _INCH_MM.get(inner.get(0xA210, 2))
    return None if per_unit is None or unit_mm is None else round(1000 * unit_mm / per_unit, 4)


def _angle(parts: Any, reference: Any, negative: str) -> float | None:
    try:
        degrees, minutes, seconds = (float(part) for part in parts)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    value = degrees + minutes / 60 + seconds / 3600
    return -value if _text(reference).upper().startswith(negative) else value


def _site(gps: Any) -> OutingSite | None:
    latitude, longitude = _angle(gps.get(2), gps.get(1), "S"), _angle(gps.get(4), gps.get(3), "W")
    if latitude is None or longitude is None or not (abs(latitude) <= 90 and abs(longitude) <= 180):
        return None
    height = _positive(gps.get(6)) or 0.0
    below = gps.get(5) in (1, b"\x01", "1")
    known = not below and height <= 9000
    return OutingSite(round(latitude, 8), round(longitude, 8), height if known else 0.0)

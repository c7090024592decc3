"""What a photo's EXIF says of time, place and lens; nothing where a tag is missing or makes no sense."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.place import iso_utc, utc_days_of
from ..outing import OutingSite

_EXIF, _GPS = 0x8769, 0x8825
_INCH_MM = {2: 25.4, 3: 10.0, 4: 1.0}


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


def exif_facts(exif: Any, zone: dt.timezone | None) -> dict[str, Any]:
    """Fields of a `Photo` from Pillow's EXIF; `zone` goes before the EXIF's own offset."""
    inner, gps = exif.get_ifd(_EXIF), exif.get_ifd(_GPS)
    facts: dict[str, Any] = {
        "site": _site(gps),
        "camera": _camera(exif),
        "focal_length_mm": positive(inner.get(0x920A)),
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


def positive(value: Any) -> float | None:
    """A finite number above zero, or None."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number > 0 else None


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


def _camera(exif: Any) -> str | None:
    maker, name = _text(exif.get(0x010F)), _text(exif.get(0x0110))
    text = name if name.startswith(maker) else f"{maker} {name}"
    return text.strip() or None


def _pitch(inner: Any) -> float | None:
    """Pixel pitch from the focal-plane resolution."""
    per_unit, unit_mm = positive(inner.get(0xA20E)), _INCH_MM.get(inner.get(0xA210, 2))
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
    height = positive(gps.get(6)) or 0.0
    below = gps.get(5) in (1, b"\x01", "1")
    known = not below and height <= 9000
    return OutingSite(round(latitude, 8), round(longitude, 8), height if known else 0.0)

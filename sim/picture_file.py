"""A drawn picture as a file: PNG and JPEG with the EXIF a camera writes, FITS, and the truth beside it."""

from __future__ import annotations

import datetime as dt
import io
import json
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from ..models.errors import InputError
from ..models.place import parse_utc
from .files import jsonable

if TYPE_CHECKING:
    from .forward import Observation
    from .scenario import Scenario

FORMATS = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG", ".fits": "FITS", ".fit": "FITS"}


def format_of(path: Path) -> str:
    """``"PNG"``, ``"JPEG"`` or ``"FITS"`` by the ending; raises :class:`InputError` for another."""
    kind = FORMATS.get(path.suffix.lower())
    if kind is None:
        raise InputError("output", f"must be a name that ends in {', '.join(FORMATS)}", str(path))
    return kind


def truth_path(path: Path) -> Path:
    """Where the truth of a picture stands: ``sun.jpg`` has ``sun.truth.json`` beside it."""
    return path.with_name(f"{path.stem}.truth.json")


def truth_text(record: dict[str, Any]) -> str:
    """The truth as the text of its file."""
    return json.dumps(jsonable(record), indent=2, allow_nan=False) + "\n"


def coded_bytes(
    kind: str, scenario: Scenario, observation: Observation, picture: npt.NDArray[np.uint8]
) -> bytes:
    """A picture as PNG or JPEG with its EXIF: time with offset, place, lens."""
    stream = io.BytesIO()
    quality = {"quality": scenario.camera.sensor.jpeg_quality} if kind == "JPEG" else {}
    Image.fromarray(picture).save(stream, format=kind, exif=_exif(scenario, observation), **quality)
    return stream.getvalue()


def _exif(scenario: Scenario, observation: Observation) -> Image.Exif:
    shot, camera, site = observation.shot, scenario.camera, scenario.site
    offset = dt.timedelta(hours=shot.utc_offset_h)
    local = parse_utc(shot.time_utc).astimezone(dt.timezone(offset))
    minutes = round(offset.total_seconds() / 60)
    sign, minutes = ("-" if minutes < 0 else "+"), abs(minutes)
    exif = Image.Exif()
    real = scenario.surface.picture is not None
    exif[0x010E] = (
        "Drawn from a real picture of the Sun's surface, not a photograph"
        if real
        else "Invented picture of a simulated Sun, not a photograph"
    )
    exif[0x0110] = scenario.camera_name
    exif[0x0131] = f"whichsun {version('whichsun')}"
    details = exif.get_ifd(0x8769)
    details[0x9003] = f"{local:%Y:%m:%d %H:%M:%S}"  # DateTimeOriginal
    details[0x9011] = f"{sign}{minutes // 60:02d}:{minutes % 60:02d}"  # OffsetTimeOriginal
    details[0x9291] = f"{local.microsecond // 1000:03d}"  # SubSecTimeOriginal
    details[0x920A] = camera.focal_length_mm  # FocalLength
    details[0xA20E] = details[0xA20F] = 10000 / camera.pixel_pitch_um  # FocalPlaneResolution
    details[0xA210] = 3  # per centimetre
    place = exif.get_ifd(0x8825)
    latitude, longitude = float(site.latitude_deg), float(site.longitude_deg)
    longitude = (longitude + 180) % 360 - 180
    place[1], place[2] = ("S" if latitude < 0 else "N"), _sexagesimal(latitude)
    place[3], place[4] = ("W" if longitude < 0 else "E"), _sexagesimal(longitude)
    place[5], place[6] = b"\x00", float(site.height_m)
    return exif


def _sexagesimal(angle_deg: float) -> tuple[float, float, float]:
    thousandths = round(abs(angle_deg) * 3_600_000)
    minutes, seconds = divmod(thousandths, 60_000)
    return float(minutes // 60), float(minutes % 60), seconds / 1000

"""FITS pictures through astropy: linear light, no tone curve, and the header's time and place.

Keywords after the FITS Standard 4.0: times are UTC unless TIMESYS says otherwise (section 9.2), the first
row is the lowest as pictures are commonly shown. SITELAT, SITELONG, FOCALLEN, XPIXSZ: common practice of
amateur cameras, no source.
"""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from ...models.errors import PictureError
from ...models.place import iso_utc, parse_utc, utc_days_of
from ..outing import OutingSite
from .decoded import Decoded, check_size, encoded
from .exif import positive

_TIMES = ("DATE-AVG", "DATE-OBS", "DATE-BEG")
_BRIGHTEST = 50  # as many pixels may be hot
_TOP = 0.9  # of full scale, for the brightest pixel of a picture that is not saturated
_SATURATED_SHARE = 1e-4


def decode_fits(path: Path) -> Decoded:
    """Luma of the first two-dimensional picture of a FITS file (three planes are averaged)."""
    from astropy.io import fits

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with fits.open(path, memmap=True) as opened:
            hdus = cast(list[Any], opened)
            for hdu in hdus:
                shape: Any = getattr(hdu, "shape", ())
                has_data = hasattr(type(hdu), "data")  # asked of the object, it would be read
                if len(shape) not in (2, 3) or not has_data:
                    continue
                if len(shape) == 3 and shape[0] not in (1, 3):
                    continue
                check_size(path.name, shape[-1], shape[-2])
                data = np.asarray(hdu.data)
                header = hdus[0].header.copy()
                header.update(hdu.header)
                return Decoded(encoded(_scaled(path.name, data)), _facts(header))
    raise PictureError(path.name, "the FITS file holds no two-dimensional picture", "give another file")


def _scaled(name: str, data: npt.NDArray[Any]) -> npt.NDArray[np.float32]:
    """Light from 0 to 1, the highest row first."""
    values = data.astype(np.float32)
    if values.ndim == 3:
        values = values.mean(axis=0)
    values = np.where(np.isfinite(values), values, 0)[::-1]
    flat = values.ravel()
    top = float(np.partition(flat, -_BRIGHTEST)[-_BRIGHTEST])
    if top <= 0:
        raise PictureError(name, "the FITS picture holds no light", "give another file")
    saturated = np.mean(flat >= flat.max()) > _SATURATED_SHARE
    return values * np.float32((1.0 if saturated else _TOP) / top)


def _facts(header: Any) -> dict[str, Any]:
    name = " ".join(str(header.get(key, "")).strip() for key in ("TELESCOP", "INSTRUME")).strip()
    return {
        "time_utc": _time(header),
        "site": _site(header),
        "camera": name or None,
        "focal_length_mm": positive(header.get("FOCALLEN")),
        "pixel_pitch_um": positive(header.get("XPIXSZ")),
    }


def _time(header: Any) -> str | None:
    from astropy.time import Time

    scale = str(header.get("TIMESYS", "UTC")).strip().lower()
    scale = scale if scale in Time.SCALES else "utc"
    candidates: list[tuple[Any, str]] = []
    for key in _TIMES:
        text = str(header.get(key, "")).strip().rstrip("Z")
        clock = str(header.get(key.replace("DATE", "TIME"), "")).strip().rstrip("Z")
        if text and "T" not in text and ":" in clock:
            text = f"{text}T{clock}"
        if "T" in text:
            candidates.append((text, "isot"))
    candidates += [(header[key], "mjd") for key in ("MJD-AVG", "MJD-OBS", "MJD-BEG") if key in header]
    for value, form in candidates:
        try:
            moment = str(cast(Any, Time(value, format=form, scale=scale)).utc.isot)
        except (ValueError, TypeError):
            continue
        return iso_utc(utc_days_of(parse_utc(f"{moment}Z")))
    return None


def _site(header: Any) -> OutingSite | None:
    for keys in (("OBSGEO-B", "OBSGEO-L", "OBSGEO-H"), ("SITELAT", "SITELONG", "SITEELEV")):
        try:
            latitude, longitude = float(header[keys[0]]), float(header[keys[1]])
            height = float(header.get(keys[2], 0.0))
        except (KeyError, TypeError, ValueError):
            continue
        if abs(latitude) <= 90 and abs(longitude) <= 180:
            return OutingSite(latitude, longitude, height if 0 <= height <= 9000 else 0.0)
    return None

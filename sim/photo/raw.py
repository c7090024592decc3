"""RAW photos through rawpy, where it is installed: linear light, no tone curve."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import numpy as np

from ...models.errors import MissingLibraryError, PictureError
from .decoded import Decoded, check_size, encoded
from .exif import exif_facts

_LUMA = (0.2126, 0.7152, 0.0722)  # of linear sRGB primaries (IEC 61966-2-1)
_STRIP_ROWS = 64
# Light as the sensor saw it; LibRaw stretches the brightest pixel to white where the last is above 0.
_LINEAR = {
    "gamma": (1, 1),
    "no_auto_bright": True,
    "output_bps": 16,
    "use_camera_wb": True,
    "adjust_maximum_thr": 0.0,
}


def decode_raw(path: Path, zone: Any) -> Decoded:
    """Luma of a RAW photo, upright, and its EXIF where Pillow can read it."""
    if importlib.util.find_spec("rawpy") is None:
        raise MissingLibraryError("rawpy", f"RAW photos ({path.name})", "pip install 'whichsun[raw]'")
    import rawpy  # pyright: ignore[reportMissingImports]

    try:
        with rawpy.imread(str(path)) as raw:
            check_size(path.name, raw.sizes.width, raw.sizes.height)
            rgb = raw.postprocess(**_LINEAR)
    except (rawpy.LibRawError, rawpy.NotSupportedError) as error:
        text = " ".join(str(error).split())[:80]
        raise PictureError(
            path.name, f"the RAW photo cannot be read ({text})", "convert it to TIFF"
        ) from None
    codes = np.empty(rgb.shape[:2], np.uint16)
    shares = _LUMA if rgb.shape[2] == 3 else (1.0,)  # a camera without colours gives one channel
    weights = np.array(shares, np.float32) / 65535
    for top in range(0, len(rgb), _STRIP_ROWS):
        codes[top : top + _STRIP_ROWS] = encoded(rgb[top : top + _STRIP_ROWS].astype(np.float32) @ weights)
    return Decoded(codes, _facts(path, zone))


def _facts(path: Path, zone: Any) -> dict[str, Any]:
    """EXIF of RAW files that are laid out as TIFF; nothing of the others."""
    from PIL import Image

    try:
        with Image.open(path) as image:
            return exif_facts(image.getexif(), zone)
    except Exception:  # a foreign container; the photo itself was read
        return {}

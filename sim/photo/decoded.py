"""What every decoder hands over: luma and facts; and the sizes that are read at all."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from ...models.errors import PictureError
from ...render.tone import srgb_encode

LUMA = (0.299, 0.587, 0.114)
"""Shares of red, green and blue (ITU-R BT.601, that of JPEG)."""
MAX_PIXELS = 150_000_000
MAX_SIDE_PX = 30_000
MIN_SIDE_PX = 32


@dataclass(frozen=True)
class Decoded:
    """Luma (uint8 or uint16), the sRGB curve over it, and what the file says of itself."""

    luma: npt.NDArray[Any]
    facts: dict[str, Any] = field(default_factory=dict)


def check_size(name: str, width: int, height: int) -> None:
    """Refuse, before any pixel is decoded, what is too large or too small; :class:`PictureError`."""
    if width * height > MAX_PIXELS or max(width, height) > MAX_SIDE_PX:
        limit = f"is larger than {MAX_PIXELS // 10**6} megapixels or {MAX_SIDE_PX} pixels a side"
        raise PictureError(name, f"{width}x{height} pixels: {limit}", "crop or shrink it")
    if min(width, height) < MIN_SIDE_PX:
        raise PictureError(name, f"is only {width}x{height} pixels", "give the full-size photo")


def eight_bits(luma: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    """Codes of 8 or 16 bits in eight bits."""
    return luma if luma.dtype == np.uint8 else (luma >> 8).astype(np.uint8)


def encoded(linear: npt.NDArray[Any]) -> npt.NDArray[np.uint16]:
    """16-bit codes of linear light (0 to 1) by the sRGB curve, which the inverse curve undoes exactly."""
    return np.round(65535 * srgb_encode(linear)).astype(np.uint16)

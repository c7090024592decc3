"""The tone curve of sRGB and its inverse (IEC 61966-2-1)."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt


def srgb_encode(linear: npt.ArrayLike) -> npt.NDArray[Any]:
    """Coded values 0 to 1 of linear light 0 to 1, clipped; float32 stays float32, all else becomes float64."""
    value = np.clip(_floats(linear), 0, 1)
    return np.where(value <= 0.0031308, value * 12.92, 1.055 * value ** (1 / 2.4) - 0.055)


def srgb_decode(coded: npt.ArrayLike) -> npt.NDArray[Any]:
    """Inverse of :func:`srgb_encode`."""
    value = _floats(coded)
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def _floats(values: npt.ArrayLike) -> npt.NDArray[Any]:
    array = np.asarray(values)
    return array if array.dtype == np.float32 else array.astype(float)

"""How much of a square pixel lies on one side of a straight edge."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from .frame import PictureFrame


def trapezoid(frame: PictureFrame, across: npt.NDArray, up: npt.NDArray) -> tuple[npt.NDArray, npt.NDArray]:
    """Half widths (foot, plateau) in pixels of a unit square's shadow on the unit vector (across, up).

    The vector is given in the disc frame; the square lies along the picture's rows and columns.
    """
    roll = math.radians(frame.roll_deg)
    a = np.maximum(np.abs(across * math.cos(roll) + up * math.sin(roll)), 1e-4)
    b = np.maximum(np.abs(up * math.cos(roll) - across * math.sin(roll)), 1e-4)
    return (a + b) / 2, np.abs(a - b) / 2


def shadow_share(t: npt.NDArray, foot: npt.NDArray, plateau: npt.NDArray) -> npt.NDArray:
    """Share of a unit square whose shadow lies below `t` (pixels from the centre)."""

    def ramp(s: npt.NDArray) -> npt.NDArray:
        return np.maximum(s, 0) ** 2

    both = ramp(t + foot) - ramp(t + plateau) - ramp(t - plateau) + ramp(t - foot)
    return np.clip(both / (2 * (foot**2 - plateau**2)), 0, 1)

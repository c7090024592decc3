"""What distortion of the lens may do to the shape of a disc off the middle of the picture.

A lens that moves points outward by k (r/F)^2 of their distance r from the picture's middle, F half its
diagonal, squashes a disc at distance d by 2 k (d/F)^2 along that direction and bends it by about 3 k d R/F^2.
Undoing the squash cures the first only in part (the refined limb has its axes along the vertical), the second
not at all. k is not known; its size by kind of lens is common practice (no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .discmap import DiscMap
from .load import Photo

_KINDS = {"camera lens": 0.01, "phone at an eyepiece": 0.05}
_SHORT_MM = 12.0
_SUN_RADIUS_RAD = 0.00465
_NEGLECTED_RAD = math.radians(0.2)


@dataclass(frozen=True)
class LensDoubt:
    """Possible error of a spot's direction at the limb, radians, and what it comes from."""

    kind: str
    offset: float
    angle_rad: float

    @property
    def counted_rad(self) -> float:
        """The part that enters the sigmas: nothing where it is far below any roll's doubt."""
        return self.angle_rad if self.angle_rad > _NEGLECTED_RAD else 0.0


def lens_kind(photo: Photo, radius_px: float) -> str:
    """By the camera's focal length: an image far too large for it was made by an eyepiece."""
    focal = photo.focal_length_mm
    if focal is None:
        return "camera lens"
    if photo.pixel_pitch_um is not None:
        direct = focal * 1000 * _SUN_RADIUS_RAD / photo.pixel_pitch_um
        return "phone at an eyepiece" if focal < 60 and radius_px > 2.5 * direct else "camera lens"
    return "phone at an eyepiece" if focal < _SHORT_MM and radius_px > 100 else "camera lens"


def lens_doubt(photo: Photo, disc: DiscMap) -> LensDoubt:
    """The doubt for a disc at its place in a photo (not cropped, as far as can be known)."""
    rows, columns = photo.luma.shape
    field = math.hypot(rows, columns) / 2
    offset = float(np.hypot(disc.column - (columns - 1) / 2, disc.row - (rows - 1) / 2)) / field
    kind = lens_kind(photo, disc.a)
    angle = _KINDS[kind] * (2 * offset**2 + 5 * offset * disc.a / field)
    return LensDoubt(kind, offset, angle)

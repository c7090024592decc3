"""The rotation of the Sun's surface with latitude, and how far a spot drifts in the body frame.

A law gives the sidereal rate A + B sin^2(latitude) + C sin^4(latitude). The body frame turns at the
Carrington sidereal rate of 14.1844 deg/day (IAU), so a spot drifts in it at (law - 14.1844) deg/day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..models.errors import UnknownNameError
from ..models.geometry import Array

CARRINGTON_DEG_PER_DAY = 14.1844
_MICRORAD_PER_S = np.rad2deg(1e-6) * 86400


@dataclass(frozen=True)
class RotationLaw:
    """Sidereal rate A + B sin^2 + C sin^4 in deg/day, with its source."""

    name: str
    a_deg_per_day: float
    b_deg_per_day: float
    c_deg_per_day: float
    source: str

    def drift(self, latitude: Array | float) -> Array:
        """Drift of longitude in the body frame, radians a day, at `latitude` in radians."""
        s2 = np.sin(latitude) ** 2
        rate = self.a_deg_per_day + s2 * (self.b_deg_per_day + s2 * self.c_deg_per_day)
        return np.deg2rad(rate - CARRINGTON_DEG_PER_DAY)


LAWS = {
    law.name: law
    for law in (
        RotationLaw(
            "howard-1984",
            14.552,
            -2.84,
            0.0,
            "sunspots: Howard, Gilman & Gilman 1984, ApJ 283, 373 (coefficients from memory)",
        ),
        RotationLaw(
            "newton-nunn-1951",
            14.38,
            -2.96,
            0.0,
            "recurrent sunspots: Newton & Nunn 1951, MNRAS 111, 413 (coefficients from memory)",
        ),
        RotationLaw(
            "howard-1990",
            2.894 * _MICRORAD_PER_S,
            -0.428 * _MICRORAD_PER_S,
            -0.370 * _MICRORAD_PER_S,
            "small magnetic features: Howard, Harvey & Forgach 1990, as documented in sunpy 7 sun/models.py",
        ),
        RotationLaw(
            "snodgrass-1983",
            2.851 * _MICRORAD_PER_S,
            -0.343 * _MICRORAD_PER_S,
            -0.474 * _MICRORAD_PER_S,
            "magnetic features: Snodgrass 1983, as documented in sunpy 7 sun/models.py",
        ),
        RotationLaw(
            "rigid", CARRINGTON_DEG_PER_DAY, 0.0, 0.0, "every latitude turns at the Carrington rate (IAU)"
        ),
    )
}
DEFAULT_LAW = "howard-1984"


def rotation_law(name: str) -> RotationLaw:
    """The law called `name`; raises :class:`UnknownNameError` that lists the known ones."""
    if name not in LAWS:
        raise UnknownNameError("rotation law", name, LAWS)
    return LAWS[name]


def carry(points: Array, days: Array | float, law: RotationLaw) -> Array:
    """Carry spots along their parallels for `days`.

    Parameters
    ----------
    points : ndarray, shape (..., n, 3)
        Unit vectors in the body frame.
    days : float or ndarray, shape (...)
        Time passed; its axes broadcast with the leading axes of `points`.
    law : RotationLaw

    Returns
    -------
    ndarray, shape (..., n, 3)
    """
    points = np.asarray(points, dtype=float)
    angle = law.drift(np.arcsin(np.clip(points[..., 2], -1, 1))) * np.asarray(days, dtype=float)[..., None]
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = points[..., 0], points[..., 1], points[..., 2]
    turned_x, turned_y = cos * x - sin * y, sin * x + cos * y
    return np.stack([turned_x, turned_y, np.broadcast_to(z, turned_x.shape)], axis=-1)

"""Sunspots on the Sun's surface: places, sizes, darkness and irregular outlines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class SurfaceSpots:
    """Dark spots on the Sun's surface.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Unit vectors in the body frame; the centre of darkness of each spot.
    radius : float or ndarray, shape (n,)
        Mean heliographic radius of the penumbra in radians.
    umbra_fraction : float or ndarray
        Radius of the umbra over that of the penumbra, 0 to 1.
    umbra_contrast, penumbra_contrast : float or ndarray
        Depth below the photosphere around, 0 (none) to 1 (black). The defaults are typical of white light
        (from memory: umbrae of 0.6 to 0.9, penumbrae near 0.2).
    irregularity : float or ndarray
        Relative wobble of the outline, 0 (a circle) to 0.3.
    seed : int
        Chooses the outlines; the same seed draws the same spots in every picture.

    Raises
    ------
    InputError
        Shapes do not fit or a value is out of range.
    """

    points: Array
    radius: npt.ArrayLike
    umbra_fraction: npt.ArrayLike = 0.42
    umbra_contrast: npt.ArrayLike = 0.85
    penumbra_contrast: npt.ArrayLike = 0.24
    irregularity: npt.ArrayLike = 0.12
    seed: int = 0
    _outlines: Outlines = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        points = np.asarray(self.points, float).reshape(-1, 3) if np.size(self.points) else np.zeros((0, 3))
        length = np.linalg.norm(points, axis=-1)
        if not np.all(np.abs(length - 1) < 1e-6):
            raise InputError("points", "must be unit vectors of shape (n, 3)")
        object.__setattr__(self, "points", points)
        limits = {
            "radius": (1e-6, 0.5),
            "umbra_fraction": (0.0, 1.0),
            "umbra_contrast": (0.0, 1.0),
            "penumbra_contrast": (0.0, 1.0),
            "irregularity": (0.0, 0.3),
        }
        for name, (low, high) in limits.items():
            values = np.asarray(getattr(self, name), float)
            if values.ndim and values.shape != (len(points),):
                raise InputError(name, f"must be one number or {len(points)} of them", values.shape)
            if not np.all((values >= low) & (values <= high)):
                raise InputError(name, f"must be between {low:g} and {high:g}")
            object.__setattr__(self, name, np.broadcast_to(values, (len(points),)))
        rng = np.random.default_rng(self.seed)
        object.__setattr__(self, "_outlines", Outlines.random(np.asarray(self.irregularity), rng))

    def __len__(self) -> int:
        return len(self.points)

    @property
    def outlines(self) -> Outlines:
        """Outlines drawn from the seed."""
        return self._outlines


@dataclass(frozen=True)
class Outlines:
    """Wobble of each outline, r(phi) = 1 + sum of a_k cos(k phi) + b_k sin(k phi), k = 2, 3, 5.

    Shape (n, 6); `shift` (n, 2), in radii, brings the centre of area back to the spot's place; `widest`
    (n,) is the largest r.
    """

    harmonics: Array
    shift: Array
    widest: Array

    @classmethod
    def random(cls, irregularity: Array, rng: np.random.Generator) -> Outlines:
        """Outlines of that wobble; `irregularity` has shape (n,)."""
        strength = np.array([0.8, 0.8, 0.6, 0.6, 0.35, 0.35])
        raw = np.clip(rng.normal(size=(irregularity.size, 6)), -1.7, 1.7) * strength
        harmonics = raw * irregularity[:, None]
        phi = np.linspace(0, 2 * np.pi, 96, endpoint=False)
        cos, sin = np.cos(phi), np.sin(phi)
        r = 1 + wobble(cos, sin, [harmonics[:, k, None] for k in range(6)])
        area = np.sum(r**2, axis=-1) / 2
        shift = np.stack([np.sum(r**3 * cos, axis=-1), np.sum(r**3 * sin, axis=-1)], axis=-1) / 3
        return cls(harmonics, shift / area[:, None], r.max(axis=-1))


def wobble(cos: npt.NDArray, sin: npt.NDArray, h: Sequence[npt.NDArray]) -> npt.NDArray:
    """Sum of the harmonics at the directions (cos, sin); `h` holds the six coefficients."""
    c2, s2 = cos * cos - sin * sin, 2 * cos * sin
    c3, s3 = c2 * cos - s2 * sin, s2 * cos + c2 * sin
    c5, s5 = c3 * c2 - s3 * s2, s3 * c2 + c3 * s2
    return h[0] * c2 + h[1] * s2 + h[2] * c3 + h[3] * s3 + h[4] * c5 + h[5] * s5


def filaments(cos: npt.NDArray, sin: npt.NDArray) -> npt.NDArray:
    """Radial fringe of a large penumbra: a beat of three high harmonics, -1 to 1."""
    z = cos + 1j * sin
    z2 = z * z
    z4 = z2 * z2
    z8 = z4 * z4
    z16 = z8 * z8
    z23 = z16 * z4 * z2 * z
    return (0.45 * (z16 * z).real + 0.35 * z23.imag + 0.2 * (z23 * z8 * z2).real).astype(cos.dtype)

"""Granulation-like mottling and faculae, painted over the disc."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError
from ..models.geometry import Array, SunView
from .frame import PictureFrame, VerticalWarp
from .sphere_bands import Band, surface_bands
from .sphere_noise import SphereNoise

Floats = npt.NDArray[np.float32]

_GRANULE_RAD = 1300 / 695700
"""Granules are some 1300 km across (from memory)."""
_LEAST_CELL_PX = 2.5
_NETWORK_RAD = 0.012
"""Meshes of a facular field: about the 10,000 km of the finer network (from memory)."""


@dataclass(frozen=True)
class Granulation:
    """Mottling of the photosphere.

    Parameters
    ----------
    contrast : float
        Rms of the brightness of single granules at the disc's centre, 0 to 0.3. Seen from a good craft it is
        some 0.14, through our air a few hundredths (from memory).
    seed : int

    Notes
    -----
    Granules smaller than a few pixels cannot be drawn. Then the cells are as small as the pixels allow, and the
    contrast falls as the mean over a cell's granules would. Towards the limb it falls as mu.
    """

    contrast: float
    seed: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.contrast <= 0.3:
            raise InputError("granulation", "must be between 0 and 0.3", self.contrast)

    def drawn(self, radius_px: float) -> tuple[float, float]:
        """Size of a cell (radians) and contrast in a picture with a disc of that radius."""
        cell = max(_GRANULE_RAD, _LEAST_CELL_PX / radius_px)
        return cell, self.contrast * _GRANULE_RAD / cell


@dataclass(frozen=True)
class SurfaceFaculae:
    """Fields of bright network, which show towards the limb alone.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Middles of the fields, unit vectors in the body frame.
    radius : ndarray, shape (n,)
        Radians at which a field has faded to 1/e.
    contrast : float
        Excess of the brightest threads at their best place, 0 to 0.5. Of white light some 0.1 at mu = 0.2, next
        to nothing at the centre (from memory).
    seed : int
    """

    points: Array
    radius: Array
    contrast: float
    seed: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.contrast <= 0.5:
            raise InputError("faculae", "must be between 0 and 0.5", self.contrast)
        if np.shape(self.points) != (np.size(self.radius), 3):
            raise InputError(
                "points", f"must have the shape ({np.size(self.radius)}, 3)", np.shape(self.points)
            )


def facular_visibility(mu: npt.ArrayLike) -> npt.NDArray[np.floating]:
    """Share of the contrast at an angle of sight: rising from 0 at the centre, highest near mu = 0.2, 0 at the limb.

    Our shape for what is told of the measured ones (common practice, no source).
    """
    mu = np.asarray(mu)
    return np.asarray((1 - mu) * np.minimum(mu / 0.2, 1) / 0.8)


def paint_mottling(
    image: Floats,
    view: SunView,
    frame: PictureFrame,
    warp: VerticalWarp,
    granulation: Granulation | None,
    faculae: SurfaceFaculae | None,
) -> None:
    """Multiply the disc in `image` (rows, cols, channels) by both; None or a contrast of 0 leaves one out."""
    grains = network = None
    strength = 0.0
    if granulation is not None and granulation.contrast:
        cell, strength = granulation.drawn(frame.radius_px)
        grains = SphereNoise(granulation.seed, cell)
    if faculae is not None and faculae.contrast and np.size(faculae.radius):
        network = SphereNoise(faculae.seed + 1, max(_NETWORK_RAD, _LEAST_CELL_PX / frame.radius_px))
    if grains is None and network is None:
        return
    for band in surface_bands(view, frame, warp):
        factor = np.ones(band.mu.shape, np.float32)
        if grains is not None:
            inside = band.mu > 0
            noise = grains.at(band.body[:, inside])
            factor[inside] += np.float32(strength) * band.mu[inside] * np.clip(noise, -3, 3)
        if network is not None and faculae is not None:
            _brighten(factor, band, faculae, network)
        image[band.rows, band.columns] *= factor[..., None]


def _brighten(factor: Floats, band: Band, faculae: SurfaceFaculae, network: SphereNoise) -> None:
    """Add the faculae of a band: threads of the network where a field reaches."""
    reach = np.zeros(factor.shape, np.float32)
    for point, radius in zip(faculae.points.astype(np.float32), faculae.radius, strict=True):
        apart = np.einsum("k,k...->...", point, band.body)
        near = (apart > np.cos(2.5 * radius)) & (band.mu > 0)
        if np.any(near):
            # 2 (1 - cos) is the angle's square where it is small.
            here = np.exp(-2 * (1 - apart[near]) / np.float32(radius**2))
            reach[near] = np.maximum(reach[near], here)
    near = reach > 0
    if np.any(near):
        # Threads stand where the noise passes through zero; a field's edge thins them out.
        threads = np.exp(-((network.at(band.body[:, near]) / np.float32(0.45)) ** 2))
        threads = threads * np.sqrt(reach[near])
        factor[near] += np.float32(faculae.contrast) * threads * facular_visibility(band.mu[near])

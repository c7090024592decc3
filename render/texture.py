"""A picture of the Sun's surface in heliographic coordinates, laid over the drawn disc."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError
from ..models.geometry import SunView
from .frame import PictureFrame, VerticalWarp
from .sphere_bands import surface_bands

Floats = npt.NDArray[np.float32]

#: Light of the two stripes that mark what the picture did not show, as a share of the quiet Sun's.
BLANK_LIGHT = (0.45, 0.6)
_BLANK_STRIPE_DEG = 6.0


@dataclass(frozen=True)
class SurfaceTexture:
    """Brightness over the Sun's surface.

    Parameters
    ----------
    brightness : ndarray of float32, shape (latitudes, longitudes)
        Light as a share of the quiet Sun's at the same angle of sight; nan where nothing is known. Cells of
        equal angles: the first row's lower edge is the south pole, the first column begins at longitude 0.
    """

    brightness: Floats

    def __post_init__(self) -> None:
        shape = self.brightness.shape
        if len(shape) != 2 or shape[0] < 2 or shape[1] < 2:
            raise InputError(
                "brightness", "must have the shape (latitudes, longitudes), 2 or more each", shape
            )

    @cached_property
    def _flat(self) -> tuple[Floats, Floats]:
        """Light, 0 where unknown, and 1 where known, of all cells."""
        known = np.isfinite(self.brightness)
        return np.where(known, self.brightness, np.float32(0)).ravel(), known.astype(np.float32).ravel()

    def reduced(self, cells_across: float) -> SurfaceTexture:
        """The same with means over whole blocks of cells, so that about `cells_across` longitudes are left."""
        rows, columns = self.brightness.shape
        most = int(columns / max(cells_across, 2))
        step = next((k for k in range(most, 1, -1) if rows % k == 0 and columns % k == 0), 1)
        blocks = self.brightness.reshape(rows // step, step, columns // step, step)
        return SurfaceTexture(blocks.mean(axis=(1, 3)))

    def at(self, body: Floats) -> tuple[Floats, Floats]:
        """Brightness and known share, 0 to 1, in the directions `body`, shape (3, ...); linear between cells."""
        rows, columns = self.brightness.shape
        light, weight_of = self._flat
        latitude = np.arcsin(np.clip(body[2], -1, 1))
        longitude = np.arctan2(body[1], body[0])
        row = np.clip((latitude / np.pi + np.float32(0.5)) * rows - np.float32(0.5), 0, rows - 1)
        column = longitude * np.float32(columns / (2 * np.pi)) - np.float32(0.5)
        low, left = np.minimum(row.astype(np.int32), rows - 2), np.floor(column).astype(np.int32)
        v, u = row - low, column - left
        value, share = np.zeros_like(row), np.zeros_like(row)
        for dv, du in ((0, 0), (0, 1), (1, 0), (1, 1)):
            cell = (low + dv) * columns + (left + du) % columns
            weight = (v if dv else 1 - v) * (u if du else 1 - u)
            value += weight * light.take(cell)
            share += weight * weight_of.take(cell)
        return value / np.maximum(share, np.float32(1e-6)), share


def paint_texture(
    image: Floats, view: SunView, frame: PictureFrame, warp: VerticalWarp, texture: SurfaceTexture
) -> None:
    """Multiply the disc in `image` (rows, cols, channels) by the texture.

    What the texture does not hold gets stripes in two even tones (:data:`BLANK_LIGHT`), which no Sun shows.
    """
    texture = texture.reduced(2 * np.pi * frame.radius_px)
    for band in surface_bands(view, frame, warp):
        light, share = texture.at(band.body)
        stripes = np.rad2deg(np.arctan2(band.body[1], band.body[0]) + np.arcsin(np.clip(band.body[2], -1, 1)))
        tone = np.where((stripes // _BLANK_STRIPE_DEG) % 2 == 0, *map(np.float32, BLANK_LIGHT))
        image[band.rows, band.columns] *= np.where(share > 0.5, light, tone)[..., None]

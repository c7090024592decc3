"""The ground before the sky: a level horizon or the silhouette of a ridge, neutral and dark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError
from ..models.geometry import Array
from .frame import PictureFrame
from .pixel_share import shadow_share, trapezoid

_ROWS = 64
_WAVES = 24


@dataclass(frozen=True)
class Ground:
    """What hides the sky from below.

    Parameters
    ----------
    horizon : float
        Height of the level horizon in limb radii from the Sun's apparent centre (negative: below it).
    ridge : float
        Greatest height of the ridge above it, limb radii; 0: level.
    width : float
        Length of the ridge's widest waves in limb radii.
    seed : int
        Chooses the ridge.
    light : float
        Linear light of the ground, the disc's centre being near 1.
    """

    horizon: float
    ridge: float = 0.0
    width: float = 8.0
    seed: int = 0
    light: float = 0.004

    def __post_init__(self) -> None:
        if not (0 <= self.ridge < 1e4 and 0 < self.width < 1e6):
            raise InputError("ridge", "must be 0 or more, and its width above 0", (self.ridge, self.width))
        if not 0 <= self.light <= 1:
            raise InputError("light", "must be between 0 and 1", self.light)

    def skyline(self, x: npt.ArrayLike) -> Array:
        """Height of the ground's edge at places right of the Sun's centre, all in limb radii; any shape."""
        x = np.asarray(x, float)
        if not self.ridge:
            return np.full(x.shape, float(self.horizon))
        rng = np.random.default_rng(self.seed)
        # Waves from the widest to a fortieth of it, the shorter the lower, as slopes of a worn ridge are.
        lengths = self.width * 40.0 ** -rng.uniform(0, 1, _WAVES)
        phases = rng.uniform(0, 2 * np.pi, _WAVES)
        weights = lengths / lengths.sum()
        wave = np.zeros(x.shape)
        for length, phase, weight in zip(lengths, phases, weights, strict=True):
            wave += weight * np.sin(2 * np.pi * x / length + phase)
        return self.horizon + self.ridge * (0.5 + 0.5 * wave)


def cover_by_ground(image: npt.NDArray[np.float32], frame: PictureFrame, ground: Ground) -> None:
    """Cover what lies below the skyline in `image` (rows, cols, channels), the edge area-sampled."""
    columns = np.arange(frame.width_px)
    step = 0.5 / frame.radius_px
    for top in range(0, frame.height_px, _ROWS):
        rows = np.arange(top, min(top + _ROWS, frame.height_px))
        x, height = frame.to_disc(columns[None, :], rows[:, None])
        block = image[rows[0] : rows[-1] + 1]
        if height.min() > ground.horizon + ground.ridge + 2 / frame.radius_px:
            continue
        edge = ground.skyline(x)
        slope = (ground.skyline(x + step) - ground.skyline(x - step)) / (2 * step) if ground.ridge else 0 * x
        steepness = np.hypot(1, slope)
        foot, plateau = trapezoid(frame, -slope / steepness, 1 / steepness)
        share = shadow_share((edge - height) / steepness * frame.radius_px, foot, plateau)[..., None]
        block *= 1 - share.astype(np.float32)
        block += (share * ground.light).astype(np.float32)

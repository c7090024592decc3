"""One picture of a day with what is drawn around it: the way to the horizon, and a tick towards the target spot."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

PALE = "#E9E4D6"
_LEVEL_AT, _LEVEL_HALF = 1.17, 0.62  # the horizon's mark, in radii of the day's largest disc
_TICK = (1.04, 1.17)

Segment = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class DayTile:
    """A picture and its marks; places in shares of half the picture's side, x right, y up, from the middle.

    Parameters
    ----------
    picture : ndarray of uint8, shape (size, size, 3)
    caption : str
    roll_rad : float
        The camera's anticlockwise rotation seen from behind it.
    radius : float
        Of the disc.
    largest : float
        Radius of that model's largest disc of the day.
    tick_rad : float or None
        Angle of the target spot from the picture's up, anticlockwise; None where it is hidden.
    ground : bool
        The true horizon is in the picture.
    """

    picture: npt.NDArray[np.uint8]
    caption: str
    roll_rad: float
    radius: float
    largest: float
    tick_rad: float | None = None
    ground: bool = False

    def tick(self) -> Segment | None:
        """Ends of the tick outside the limb that points to the target spot."""
        if self.tick_rad is None:
            return None
        across, up = -math.sin(self.tick_rad), math.cos(self.tick_rad)
        inner = _TICK[0] * self.radius
        outer = inner + (_TICK[1] - _TICK[0]) * self.largest
        return (inner * across, inner * up), (outer * across, outer * up)

    def level(self) -> list[Segment]:
        """A line parallel to the horizon on its side of the disc, with three hatches below it."""
        if self.ground:
            return []
        sin, cos = math.sin(self.roll_rad), math.cos(self.roll_rad)

        def place(across: float, up: float) -> tuple[float, float]:
            across, up = across * self.largest, up * self.largest
            return across * cos + up * sin, up * cos - across * sin

        segments = [(place(-_LEVEL_HALF, -_LEVEL_AT), place(_LEVEL_HALF, -_LEVEL_AT))]
        for share in (-0.6, 0.0, 0.6):
            foot = share * _LEVEL_HALF
            segments.append((place(foot, -_LEVEL_AT), place(foot - 0.07, -_LEVEL_AT - 0.09)))
        return segments

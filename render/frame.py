"""Where the disc stands in the picture: pixels, roll, and the vertical squash by refraction."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PictureFrame:
    """A picture and the place of the Sun in it.

    Pixels have their origin at the centre of the top-left pixel; column right, row down.

    Parameters
    ----------
    width_px, height_px : int
        Size of the picture.
    centre_px : (float, float)
        Column and row of the Sun's centre where it appears (lifted by refraction, if any).
    radius_px : float
        Radius of the limb across the vertical, which refraction leaves alone.
    roll_deg : float
        The camera's anticlockwise rotation as seen from behind it: V_true = V_picture + roll.
    """

    width_px: int
    height_px: int
    centre_px: tuple[float, float]
    radius_px: float
    roll_deg: float = 0.0

    def __post_init__(self) -> None:
        for name in ("width_px", "height_px"):
            value = getattr(self, name)
            if not 1 <= value <= 32768:
                raise InputError(name, "must be between 1 and 32768", value)
        if not (math.isfinite(self.radius_px) and self.radius_px > 0):
            raise InputError("radius_px", "must be a positive number", self.radius_px)
        if not all(math.isfinite(v) for v in (*self.centre_px, self.roll_deg)):
            raise InputError("centre_px and roll_deg", "must be finite", (*self.centre_px, self.roll_deg))

    @classmethod
    def centred(cls, size_px: int, *, fill: float = 0.9, roll_deg: float = 0.0) -> PictureFrame:
        """A square picture with the disc in its middle, its diameter the share `fill` of the side."""
        middle = (size_px - 1) / 2
        return cls(size_px, size_px, (middle, middle), size_px * fill / 2, roll_deg)

    def to_disc(self, column: npt.ArrayLike, row: npt.ArrayLike) -> tuple[Array, Array]:
        """Apparent disc place (x right, y up, limb radii, roll undone) of pixels; any shape."""
        right = (np.asarray(column, float) - self.centre_px[0]) / self.radius_px
        up = (self.centre_px[1] - np.asarray(row, float)) / self.radius_px
        cos, sin = self._roll
        return right * cos - up * sin, right * sin + up * cos

    def to_pixels(self, x: npt.ArrayLike, y: npt.ArrayLike) -> tuple[Array, Array]:
        """Column and row of apparent disc places; inverse of :meth:`to_disc`."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        cos, sin = self._roll
        right, up = x * cos + y * sin, y * cos - x * sin
        return self.centre_px[0] + right * self.radius_px, self.centre_px[1] - up * self.radius_px

    @property
    def _roll(self) -> tuple[float, float]:
        roll = math.radians(self.roll_deg)
        return math.cos(roll), math.sin(roll)


class VerticalWarp:
    """Refraction along the vertical: apparent heights to true ones and back.

    Parameters
    ----------
    table : (array, array), optional
        Apparent and true heights in limb radii from the Sun's apparent and true centre, both rising.
        Linear between the entries and, with the last slope, beyond them. None: no refraction.

    Raises
    ------
    InputError
        The arrays differ in length or do not rise.
    """

    def __init__(self, table: tuple[npt.ArrayLike, npt.ArrayLike] | None = None) -> None:
        self.is_identity = table is None
        apparent, true = (np.array([-2.0, 2.0]),) * 2 if table is None else map(_extended, table)
        if apparent.shape != true.shape:
            raise InputError(
                "vertical_table", "must hold two arrays of one length", (apparent.size, true.size)
            )
        if not (np.all(np.diff(apparent) > 0) and np.all(np.diff(true) > 0)):
            raise InputError("vertical_table", "must rise from entry to entry")
        self._apparent, self._true = apparent, true
        self.steepest = 1.0 if table is None else float(np.max(self.slope(self._over_the_disc())))

    def _over_the_disc(self) -> Array:
        """Apparent heights of the disc and a little more."""
        return np.linspace(self.apparent(-1.05), self.apparent(1.05), 257)

    @cached_property
    def polynomial(self) -> Array | None:
        """Coefficients (lowest power first) for the true height over the disc, of degree 2, 4 or 6.

        None where none is within 2e-5 radii (0.02 px on a disc of 1000 px radius).
        """
        inside = self._over_the_disc()
        for degree in (2, 4, 6):
            fit = np.polynomial.Polynomial.fit(inside, self.true(inside), degree).convert()
            if np.max(np.abs(fit(inside) - self.true(inside))) < 2e-5:
                return np.asarray(fit.coef, float)
        return None

    def true(self, apparent: npt.ArrayLike) -> Array:
        """True height of an apparent one."""
        return np.interp(np.asarray(apparent, float), self._apparent, self._true)

    def apparent(self, true: npt.ArrayLike) -> Array:
        """Apparent height of a true one."""
        return np.interp(np.asarray(true, float), self._true, self._apparent)

    def slope(self, apparent: npt.ArrayLike) -> Array:
        """d true / d apparent (1 without refraction, above 1 where it squashes)."""
        step = 1e-3
        return (self.true(np.asarray(apparent) + step) - self.true(np.asarray(apparent) - step)) / (2 * step)


def _extended(values: npt.ArrayLike) -> Array:
    """Two more entries far beyond the ends, on the line through the last two."""
    v = np.asarray(values, float)
    if v.ndim != 1 or v.size < 2 or not np.all(np.isfinite(v)):
        raise InputError("vertical_table", "must hold two finite arrays of two or more entries")
    far = 1e4
    return np.concatenate([[v[0] - far * (v[1] - v[0])], v, [v[-1] + far * (v[-1] - v[-2])]])


def _limb_path(frame: PictureFrame, warp: VerticalWarp) -> tuple[Array, Array]:
    """Columns and rows of 721 places along the limb, closed."""
    turn = np.linspace(0, 2 * np.pi, 721)
    return frame.to_pixels(np.cos(turn), warp.apparent(np.sin(turn)))


def _margin(frame: PictureFrame) -> float:
    """Pixels around the places of :func:`_limb_path` that the limb's own pixels may reach."""
    return 2 + 1e-5 * frame.radius_px


def bounding_box(frame: PictureFrame, warp: VerticalWarp) -> tuple[int, int, int, int]:
    """First and past-last rows and columns that the disc may touch."""
    column, row = _limb_path(frame, warp)
    margin = _margin(frame)
    return (
        max(0, math.floor(row.min() - margin)),
        min(frame.height_px, math.ceil(row.max() + margin) + 1),
        max(0, math.floor(column.min() - margin)),
        min(frame.width_px, math.ceil(column.max() + margin) + 1),
    )


def limb_reach(frame: PictureFrame, warp: VerticalWarp) -> Callable[[int, int], tuple[int, int]]:
    """What tells the first and past-last column that the disc may touch in rows ``top`` to ``end - 1``."""
    column, row = _limb_path(frame, warp)
    spare = _margin(frame) + float(np.max(np.abs(np.diff(row))))

    def reach(top: int, end: int) -> tuple[int, int]:
        there = column[(row > top - spare) & (row < end + spare)]
        if not there.size:
            return 0, 0
        left = min(max(0, math.floor(there.min() - _margin(frame))), frame.width_px)
        return left, max(left, min(frame.width_px, math.ceil(there.max() + _margin(frame)) + 1))

    return reach

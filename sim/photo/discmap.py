"""From pixels to the disc frame and back: centre, axes, refraction term, level, mirroring."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array


@dataclass(frozen=True)
class DiscMap:
    """Where the Sun's disc lies in a picture.

    The apparent place, in pixels along the squash's axes from the Sun's centre, of a point at (x, y) limb
    radii is (a x, b y + c y^2): what the air does to a low Sun, c0 being the centre.

    Parameters
    ----------
    column, row : float
        Pixel place of the Sun's centre (not of the outline's middle: that lies c above it).
    a, b, c : float
        Pixels: semi-axis across the vertical, along it, and the refraction term.
    roll : float
        Radians; the camera's anticlockwise roll seen from behind it, V_true = V_picture + roll.
    tilt : float
        Radians; direction of the squash's axis against the level, anticlockwise (0: along the vertical).
    mirrored : bool
        Whether the picture shows the Sun left-right reversed.
    """

    column: float
    row: float
    a: float
    b: float
    c: float
    roll: float = 0.0
    tilt: float = 0.0
    mirrored: bool = False

    def along_axes(self, columns: Array, rows: Array) -> tuple[Array, Array]:
        """Pixels right and up from the centre along the squash's axes."""
        right, up = np.asarray(columns) - self.column, self.row - np.asarray(rows)
        if self.mirrored:
            right = -right
        turn = self.roll - self.tilt
        cos, sin = np.cos(turn), np.sin(turn)
        return cos * right - sin * up, sin * right + cos * up

    def to_disc(self, columns: Array, rows: Array) -> tuple[Array, Array]:
        """Disc frame (limb radii, x right, y up) of pixel places: squash and roll undone."""
        across, along = self.along_axes(columns, rows)
        x = across / self.a
        root = np.sqrt(np.maximum(self.b**2 + 4 * self.c * along, (0.05 * self.b) ** 2))
        y = 2 * along / (self.b + root)
        cos, sin = np.cos(self.tilt), np.sin(self.tilt)
        return cos * x - sin * y, sin * x + cos * y

    def to_pixels(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Pixel places (columns, rows) of points in the disc frame."""
        cos, sin = np.cos(self.tilt), np.sin(self.tilt)
        x, y = np.asarray(x, float), np.asarray(y, float)
        across, high = cos * x + sin * y, -sin * x + cos * y
        along = self.b * high + self.c * high**2
        across = self.a * across
        turn = self.roll - self.tilt
        cos, sin = np.cos(turn), np.sin(turn)
        right, up = cos * across + sin * along, -sin * across + cos * along
        return self.column + (-right if self.mirrored else right), self.row - up

    def outline(self, points: int = 360) -> tuple[Array, Array]:
        """Pixel places of the limb, anticlockwise from the disc's right."""
        angle = np.linspace(0, 2 * np.pi, points)
        return self.to_pixels(np.cos(angle), np.sin(angle))

    def jacobian(self, x: float, y: float) -> Array:
        """Derivatives of (x, y) by (column, row), shape (2, 2), at a point of the disc."""
        column, row = self.to_pixels(np.array(x), np.array(y))
        step = 0.5
        columns = np.array([column + step, column - step, column, column])
        rows = np.array([row, row, row + step, row - step])
        places = np.stack(self.to_disc(columns, rows))
        return np.stack([places[:, 0] - places[:, 1], places[:, 2] - places[:, 3]], axis=1) / (2 * step)

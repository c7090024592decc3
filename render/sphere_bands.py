"""The Sun's surface under the pixels of a picture, band of rows after band of rows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from ..models.geometry import SunView
from .frame import PictureFrame, VerticalWarp, bounding_box
from .spot_painting import observer_axes, on_sphere

Floats = npt.NDArray[np.float32]
_ROWS = 64


class Band(NamedTuple):
    """Pixels `rows`, `columns` of the picture and the surface seen in them.

    `body` (3, rows, columns): unit vectors in the body frame, the limb's beyond the limb; `mu`: cosine of the
    angle between the surface's normal and the line of sight, 0 beyond the limb.
    """

    rows: slice
    columns: slice
    body: Floats
    mu: Floats


def surface_bands(view: SunView, frame: PictureFrame, warp: VerticalWarp) -> Iterator[Band]:
    """Bands that hold the whole disc, one pixel of sky around it included."""
    axes = observer_axes(view).astype(np.float32)
    distance = float(view.distance)
    top, bottom, left, right = bounding_box(frame, warp)
    if left >= right:
        return
    columns = np.arange(left, right)[None, :]
    for start in range(top, bottom, _ROWS):
        rows = slice(start, min(start + _ROWS, bottom))
        x, y = frame.to_disc(columns, np.arange(rows.start, rows.stop)[:, None])
        x = x.astype(np.float32)
        y = (y if warp.is_identity else warp.true(y)).astype(np.float32)
        seen = np.stack(on_sphere(x, y, distance))
        rho2 = x * x + y * y
        mu = np.sqrt(np.maximum(1 - rho2, 0) / (1 + rho2 / np.float32(distance**2 - 1)))
        body = np.einsum("k...,kj->j...", seen, axes)
        yield Band(rows, slice(left, right), body, mu)

"""Where the marks of a measured shot stand in its photo: limb, spots, their vertex angles.

A shot is a mapping or an object; what it lacks is None.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt


def field_of(thing: Any, name: str) -> Any:
    """A field of a shot or spot; None where it has none."""
    return thing.get(name) if isinstance(thing, Mapping) else getattr(thing, name, None)


def to_photo(shot: Any, x: npt.ArrayLike, y: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Columns and rows, shape (n, 2), of disc places by centre, axes and roll of `shot`."""
    centre, axes = field_of(shot, "centre_px"), field_of(shot, "semi_axes_px")
    roll = math.radians(field_of(shot, "roll_deg") or 0.0)
    across, along = np.asarray(x, float) * axes[0], np.asarray(y, float) * axes[1]
    right = across * math.cos(roll) + along * math.sin(roll)
    up = along * math.cos(roll) - across * math.sin(roll)
    sense = -1 if field_of(shot, "mirrored") else 1
    return np.stack([centre[0] + sense * right, centre[1] - up], axis=-1)


def limb_points(shot: Any, count: int = 361) -> npt.NDArray[np.float64]:
    """Points along the ellipse of the shot's centre, axes and roll; shape (count, 2)."""
    turn = np.linspace(0, 2 * np.pi, count)
    return to_photo(shot, np.cos(turn), np.sin(turn))


def spot_place(shot: Any, spot: Any) -> tuple[float, float]:
    """Column and row of a spot, from its pixels or else from its place on the disc."""
    column, row = field_of(spot, "column_px"), field_of(spot, "row_px")
    if column is not None and row is not None:
        return float(column), float(row)
    place = to_photo(shot, [field_of(spot, "x")], [field_of(spot, "y")])[0]
    return float(place[0]), float(place[1])


def ring_radius(spot: Any) -> float:
    """Radius in disc radii of a ring around a spot: of its area in millionths of the hemisphere."""
    area = field_of(spot, "area_msh")
    return 0.012 + (1.1 * math.sqrt(2e-6 * area) if area else 0.0)


def farthest_vertex_deg(shot: Any, matches: Mapping[int, str]) -> float | None:
    """Vertex angle (deg) of the matched spot farthest from the centre."""
    spots = list(field_of(shot, "spots") or ())
    chosen = [spot for spot in spots if int(field_of(spot, "id")) in matches] or spots
    if not chosen:
        return None
    far = max(chosen, key=lambda spot: math.hypot(field_of(spot, "x"), field_of(spot, "y")))
    return math.degrees(math.atan2(-field_of(far, "x"), field_of(far, "y")))


def vertex_of(shot: Any, number: int | None) -> float | None:
    """Vertex angle (deg) of a numbered spot; None without it."""
    for spot in field_of(shot, "spots") or ():
        if number is not None and int(field_of(spot, "id")) == number:
            return math.degrees(math.atan2(-field_of(spot, "x"), field_of(spot, "y")))
    return None

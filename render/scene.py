"""A scene in space as plain data: triangles with a colour, labels, a place to look from.

Drawn off-screen by `scene_picture`, in a browser by `scene_page`, written for other programs by `scene_gltf`.
Lengths are in the scene's own unit, `unit_km` kilometres long; z is up on the page when the scene is shown.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..models.errors import InputError
from ..models.geometry import Array, SunView


@dataclass(frozen=True)
class Surface:
    """Triangles of one colour.

    Parameters
    ----------
    name : str
        What it is, for people who open the glTF file.
    points : ndarray, shape (n, 3)
    triangles : ndarray of int, shape (m, 3)
    colour : str
        ``#RRGGBB``.
    opacity : float
    shaded : bool
        Lit from the viewer's side; else the colour as it is.
    """

    name: str
    points: Array
    triangles: np.ndarray
    colour: str
    opacity: float = 1.0
    shaded: bool = False


@dataclass(frozen=True)
class Label:
    """A word at a place."""

    text: str
    place: Array
    strong: bool = False


@dataclass(frozen=True)
class Viewpoint:
    """Where the scene is seen from: the direction from `focus` to the eye, and how wide the view is.

    Parallel projection; `half_height` is half the height of what is seen, in the scene's unit.
    """

    towards_eye: Array
    focus: Array
    half_height: float
    half_width: float


@dataclass(frozen=True)
class Scene:
    """All that is drawn of one model.

    Parameters
    ----------
    model, title : str
    unit_km : float
        Length of the scene's unit.
    surfaces, labels : tuple
    viewpoint : Viewpoint
    notes : tuple of str
        What is not to scale, in sentences; they belong in every picture.
    """

    model: str
    title: str
    unit_km: float
    surfaces: tuple[Surface, ...]
    labels: tuple[Label, ...]
    viewpoint: Viewpoint
    notes: tuple[str, ...]


def merged(name: str, parts: Iterable[Surface]) -> Surface:
    """Surfaces of one colour as one; the look is that of the first.

    Raises
    ------
    InputError
        There is none.
    """
    parts = list(parts)
    if not parts:
        raise InputError("parts", "must hold a surface")
    starts = np.cumsum([0, *(len(part.points) for part in parts)])
    triangles = [part.triangles + start for part, start in zip(parts, starts, strict=False)]
    first = parts[0]
    points = np.concatenate([part.points for part in parts])
    return Surface(name, points, np.concatenate(triangles), first.colour, first.opacity, first.shaded)


def screen_axes(viewpoint: Viewpoint) -> tuple[Array, Array, Array]:
    """Unit vectors right, up and towards the eye on the page; the scene's z is kept upright."""
    eye = viewpoint.towards_eye / np.linalg.norm(viewpoint.towards_eye)
    right = np.cross([0.0, 0.0, 1.0], eye)
    if np.linalg.norm(right) < 1e-9:
        raise InputError("viewpoint", "must not look straight along z")
    right /= np.linalg.norm(right)
    return right, np.cross(eye, right), eye


def on_screen(viewpoint: Viewpoint, places: Array, aspect: float) -> Array:
    """Places (n, 3) as (n, 2) shares of a picture, (0, 0) at its lower left; `aspect` is width over height."""
    right, up, _ = screen_axes(viewpoint)
    half_height = seen_half_height(viewpoint, aspect)
    offset = np.asarray(places, dtype=float) - viewpoint.focus
    return 0.5 + np.stack([offset @ right / aspect, offset @ up], axis=-1) / (2 * half_height)


def seen_half_height(viewpoint: Viewpoint, aspect: float) -> float:
    """Half the height of what a picture of that shape shows, so that all of the view is inside."""
    return max(viewpoint.half_height, viewpoint.half_width / aspect)


@dataclass(frozen=True)
class Panel:
    """A scene with what the camera takes at each of its moments.

    Parameters
    ----------
    scene : Scene
    views : SunView, leading shape (n,)
    spots : ndarray, shape (n, k, 3)
        Body frame.
    words : tuple of str
        What each moment is called.
    below : tuple of str
        One line of numbers under each picture.
    summary : str
        What follows from the pictures, in a sentence.
    """

    scene: Scene
    views: SunView
    spots: Array
    words: tuple[str, ...]
    below: tuple[str, ...]
    summary: str

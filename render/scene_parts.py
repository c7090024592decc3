"""What scenes are built of: balls, ribbons, tubes, arrows, a tripod, the picture that a camera takes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..models.geometry import Array, SunView
from ..models.observables import body_vector, disc_axes, project
from .scene import Surface, merged
from .style import FAINT, INK

SUN_FACE = "#F3C355"  # what the site sees
SUN_BACK = "#B9A47C"  # what it does not see
SUN_LINES = "#8A5A14"
SUNLIGHT = "#D9A21B"
SPOT = "#3B2413"
HORIZON = "#7FA37A"
CARD = "#FFF7E2"
CAMERA = "#3A3F47"

ENLARGED = (
    "Cards in the light: the pictures that the site's level camera takes, arrow upwards. Cards, camera and horizon are "
    "drawn hugely enlarged."
)

UP = np.array([0.0, 0.0, 1.0])
_MOST_SLANT = np.deg2rad(50)


def perpendicular(direction: Array) -> tuple[Array, Array]:
    """Two unit vectors that make a right-handed frame with the unit vector `direction` as the third."""
    helper = UP if abs(direction[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    first = np.cross(helper, direction)
    first /= np.linalg.norm(first)
    return first, np.cross(direction, first)


def cap_normals(direction: Array, from_angle: float, to_angle: float, rows: int) -> tuple[Array, np.ndarray]:
    """Unit vectors between two angles from `direction`, and the triangles between them, seen from outside."""
    columns = 72
    first, second = perpendicular(direction)
    polar = np.linspace(from_angle, to_angle, rows + 1)[:, None, None]
    turn = np.linspace(0, 2 * np.pi, columns, endpoint=False)[None, :, None]
    rim = np.cos(turn) * first + np.sin(turn) * second
    normals = np.cos(polar) * direction + np.sin(polar) * rim
    return normals.reshape(-1, 3), grid_triangles(rows + 1, columns, closed=True)


def grid_triangles(rows: int, columns: int, *, closed: bool = False) -> np.ndarray:
    """Triangles (m, 3) of a grid of points in row order; `closed` joins the last column to the first."""
    index = np.arange(rows * columns).reshape(rows, columns)
    if closed:
        index = np.concatenate([index, index[:, :1]], axis=1)
    a, b, c, d = index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]
    upper, lower = np.stack([a, d, c], axis=-1), np.stack([a, c, b], axis=-1)
    return np.concatenate([upper.reshape(-1, 3), lower.reshape(-1, 3)])


def ribbon(name: str, path: Array, normals: Array, width: float, colour: str, lift: float = 0.0) -> Surface:
    """A flat band along `path` (n, 3), lying across `normals` (n, 3) and lifted along them."""
    along = np.gradient(path, axis=0)
    across = np.cross(normals, along)
    length = np.linalg.norm(across, axis=-1, keepdims=True)
    across /= np.where(length > 0, length, 1.0)
    middle = path + lift * normals
    points = np.stack([middle - across * width / 2, middle + across * width / 2], axis=1).reshape(-1, 3)
    return Surface(name, points, grid_triangles(len(path), 2), colour)


def tube(name: str, path: Array, radius: float | Array, colour: str, *, sides: int = 8) -> Surface:
    """A round band along `path` (n, 3); `radius` may vary along it."""
    along = np.gradient(path, axis=0)
    length = np.linalg.norm(along, axis=-1, keepdims=True)
    along /= np.where(length > 0, length, 1.0)
    first, _ = perpendicular(along[0])
    rings = []
    for place, direction, size in zip(path, along, np.broadcast_to(radius, len(path)), strict=True):
        first = first - direction * (first @ direction)
        first /= np.linalg.norm(first)
        turn = np.linspace(0, 2 * np.pi, sides, endpoint=False)[:, None]
        rings.append(place + size * (np.cos(turn) * first + np.sin(turn) * np.cross(direction, first)))
    return Surface(
        name, np.concatenate(rings), grid_triangles(len(path), sides, closed=True), colour, shaded=True
    )


def arrow(name: str, start: Array, end: Array, radius: float, colour: str) -> Surface:
    """A straight arrow from `start` to `end`."""
    length = float(np.linalg.norm(end - start))
    head = min(7 * radius, 0.5 * length)
    direction = (end - start) / length
    neck = end - head * direction
    # The direction of a tube is a gradient, so the doubled places of the head keep a small step.
    step = 1e-4 * length * direction
    path = np.stack([start, neck - step, neck, end])
    return tube(name, path, np.array([radius, radius, 2.8 * radius, 1e-3 * radius]), colour)


def ball(centre: Array, radius: float, towards_site: Array, distance: float) -> list[Surface]:
    """A Sun in two colours: the face that the site sees (``cos > 1/distance``), and the rest."""
    edge = float(np.arccos(min(1.0, 1 / distance)))
    parts = []
    for name, colour, low, high in (
        ("face that the site sees", SUN_FACE, 0.0, edge),
        ("far side of the Sun", SUN_BACK, edge, np.pi),
    ):
        normals, triangles = cap_normals(towards_site, low, high, 24)
        parts.append(Surface(name, centre + radius * normals, triangles, colour, shaded=True))
    return parts


def _body_lines() -> list[tuple[Array, bool]]:
    """Grid of the Sun's surface in its body frame, 30 degrees apart; True for the strong lines."""
    fine = np.linspace(-np.pi, np.pi, 121)
    lines = []
    for degrees in (-60, -30, 0, 30, 60):
        lines.append((body_vector(np.deg2rad(degrees), fine), degrees == 0))
    for degrees in range(0, 360, 30):
        lines.append((body_vector(fine[30:91] * 8 / 9, np.deg2rad(degrees)), degrees == 0))
    return lines


def ball_grid(centre: Array, radius: float, attitude: Array, spots: Array) -> list[Surface]:
    """Grid, axis and spots on a Sun; `attitude` (3, 3) has the body axes as columns, `spots` (n, 3) body frame."""
    bands = []
    for line, strong in _body_lines():
        normals = line @ attitude.T
        width = radius * (0.06 if strong else 0.025)
        bands.append(ribbon("grid", centre + radius * normals, normals, width, SUN_LINES, 0.012 * radius))
    axis = attitude[:, 2]
    parts = [merged("grid of the Sun's surface", bands)]
    parts.append(
        arrow("the Sun's north pole", centre + radius * axis, centre + 1.6 * radius * axis, radius / 25, INK)
    )
    dots = [_dot(centre, radius, spot @ attitude.T) for spot in spots]
    return [*parts, merged("spots", dots)] if dots else parts


def _dot(centre: Array, radius: float, normal: Array) -> Surface:
    normals, triangles = cap_normals(normal, 0.0, 0.11, 2)
    return Surface("spot", centre + 1.02 * radius * normals, triangles, SPOT)


def disc_lines(view: SunView) -> list[tuple[Array, Array, bool]]:
    """The Sun's grid as it stands on the disc: (x, y, strong) in limb radii, nan where hidden.

    `view` has no leading axes. Nothing where the model leaves the attitude open.
    """
    if not np.all(np.isfinite(view.attitude)):
        return []
    lines = []
    for line, strong in _body_lines():
        seen = project(view, line)
        lines.append((np.where(seen.visible, seen.x, np.nan), np.where(seen.visible, seen.y, np.nan), strong))
    return lines


def runs(x: Array, y: Array) -> list[Array]:
    """Unbroken pieces (n, 2) of a line with nan in it, each of two points or more."""
    good = np.isfinite(x) & np.isfinite(y)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
    pieces = [np.stack([x[a:b], y[a:b]], axis=-1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [piece for piece in pieces if len(piece) > 1]


def card_turn(normal: Array, eye: Array) -> tuple[Array, float]:
    """The smallest rotation that lets the face of a card be seen, and its angle.

    Parameters
    ----------
    normal : ndarray, shape (3,)
        Unit vector out of the card's face.
    eye : ndarray, shape (3,)
        Direction to the viewer.

    Returns
    -------
    (rotation, angle)
        ndarray (3, 3), and radians; nothing is turned that stands within 50 degrees of the eye.
    """
    towards = eye / np.linalg.norm(eye)
    slant = float(np.arccos(np.clip(normal @ towards, -1.0, 1.0)))
    angle = max(slant - _MOST_SLANT, 0.0)
    across = towards - normal * (normal @ towards)
    length = float(np.linalg.norm(across))
    across = across / length if length > 1e-9 else perpendicular(normal)[0]
    axis = np.cross(normal, across)
    skew = np.cross(np.eye(3), axis)  # skew @ v = axis x v
    return np.eye(3) + np.sin(angle) * skew + (1 - np.cos(angle)) * skew @ skew, angle


def card_notes(angles: Sequence[float]) -> tuple[str, ...]:
    """What is enlarged, and by how much cards were turned towards the viewer."""
    most = np.rad2deg(max(angles))
    if most < 0.5:
        return (ENLARGED,)
    return (
        ENLARGED,
        f"A card stands across the light; here it is turned by up to {most:.0f}\N{DEGREE SIGN} "
        "to show its face to the viewer.",
    )


def card(
    place: Array,
    size: float,
    view: SunView,
    to_scene: Array,
    spots: Array,
    colour: str,
    turn: Array | None = None,
) -> list[Surface]:
    """The picture that the site's level camera takes, set up across its line of sight and turned by `turn`.

    Parameters
    ----------
    place : ndarray, shape (3,)
        Middle of the picture.
    size : float
        Radius of the disc.
    view : SunView without leading axes
    to_scene : ndarray, shape (3, 3)
        Carries (east, north, up) into the scene.
    spots : ndarray, shape (n, 3)
        Body frame.
    colour : str
        Of the rim.
    turn : ndarray, shape (3, 3), optional
        Rotation in the scene, as of :func:`card_turn`.
    """
    set_up = to_scene if turn is None else turn @ to_scene
    right, up = (set_up @ axis for axis in disc_axes(view.direction))
    back = -(set_up @ view.direction)

    def at(xy: Array) -> Array:
        return place + size * (xy[..., :1] * right + xy[..., 1:] * up)

    around = np.linspace(0, 2 * np.pi, 73)
    rim = np.stack([np.cos(around), np.sin(around)], axis=-1)
    fan = np.stack([np.zeros(72, int), np.arange(1, 73), np.arange(2, 74)], axis=-1)
    parts = [Surface("picture", np.concatenate([place[None], at(rim)]), fan, CARD)]
    normal = np.broadcast_to(back, (73, 3))
    bands = []
    for x, y, strong in disc_lines(view):
        for piece in runs(x, y):
            flat = normal[:1].repeat(len(piece), axis=0)
            bands.append(
                ribbon("line", at(piece), flat, size * (0.07 if strong else 0.03), SUN_LINES, 0.02 * size)
            )
    if bands:
        parts.append(merged("grid in the picture", bands))
    parts.append(ribbon("rim of the picture", at(rim), normal, 0.07 * size, colour, 0.02 * size))
    if np.all(np.isfinite(view.attitude)):
        seen = project(view, spots)
        dots = [
            Surface(
                "spot", np.concatenate([at(xy)[None], at(xy + 0.075 * rim)]) + 0.04 * size * back, fan, SPOT
            )
            for xy in np.stack([seen.x, seen.y], axis=-1)[seen.visible]
        ]
        parts += [merged("spots in the picture", dots)] if dots else []
    parts.append(
        arrow("up in the picture", at(np.array([0, 1.0])), at(np.array([0, 1.75])), size / 18, colour)
    )
    return parts


def stand(place: Array, to_scene: Array, size: float, view: SunView) -> list[Surface]:
    """Horizon with its north, and a camera on a tripod that looks at the Sun; returns its surfaces.

    The camera's middle is :func:`eye_of` the same place.
    """
    east, north, up = to_scene.T
    turn = np.linspace(0, 2 * np.pi, 73)[:, None]
    rim = place + size * (np.cos(turn) * east + np.sin(turn) * north) + 0.012 * size * up
    fan = np.stack([np.zeros(72, int), np.arange(1, 73), np.arange(2, 74)], axis=-1)
    middle = place + 0.012 * size * up
    parts = [Surface("horizon of the site", np.concatenate([middle[None], rim]), fan, HORIZON, 0.75)]
    normal = np.broadcast_to(up, (73, 3))
    parts.append(ribbon("horizon's edge", rim, normal, 0.035 * size, FAINT, 0.01 * size))
    tip = place + 1.3 * size * north + 0.04 * size * up
    parts.append(arrow("north", place + 0.7 * size * north + 0.04 * size * up, tip, size / 45, FAINT))
    top = eye_of(place, to_scene, size)
    feet = [place + 0.3 * size * (np.cos(a) * east + np.sin(a) * north) for a in np.deg2rad([90, 210, 330])]
    legs = [tube("leg", np.stack([foot, top]), size / 45, CAMERA, sides=6) for foot in feet]
    parts.append(merged("tripod", legs))
    right, above = (to_scene @ axis for axis in disc_axes(view.direction))
    parts.append(_box(top, to_scene @ view.direction, right, above, size))
    return parts


def eye_of(place: Array, to_scene: Array, size: float) -> Array:
    """Where the camera of :func:`stand` is."""
    return place + 0.6 * size * to_scene[:, 2]


def _box(middle: Array, ahead: Array, right: Array, above: Array, size: float) -> Surface:
    """A camera's body and lens as one block, longer along its line of sight."""
    corners = np.array([(a, r, u) for a in (-0.2, 0.3) for r in (-0.13, 0.13) for u in (-0.11, 0.11)]) * size
    points = middle + corners @ np.stack([ahead, right, above])
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    triangles = np.array([tri for a, b, c, d in faces for tri in ((a, b, c), (a, c, d))])
    return Surface("camera", points, triangles, CAMERA, shaded=True)


def ground_bands(
    name: str, paths: Sequence[tuple[Array, Array]], width: float, colour: str, lift: float
) -> list[Surface]:
    """Ribbons along (path, normals) pairs as one surface; nothing where there are none."""
    bands = [ribbon(name, path, normals, width, colour, lift) for path, normals in paths if len(path) > 1]
    return [merged(name, bands)] if bands else []

"""The plane with its map, and the Sun over it at each moment with the face that it turns to the site.

Frame of the scene: x and y of the map, z up; the unit is the half width of the map that is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..models.errors import InputError
from ..models.geometry import Array, SunView
from ..models.maps import PlaneMap
from ..models.nearby_plane import plane_to_local
from ..models.place import Site
from .scene import Label, Scene, Surface, merged
from .scene_parts import (
    SUNLIGHT,
    UP,
    arrow,
    ball,
    ball_grid,
    card,
    card_notes,
    card_turn,
    eye_of,
    grid_triangles,
    ground_bands,
    perpendicular,
    runs,
    stand,
    tube,
)
from .scene_sphere import COAST, DAY, MAP_LINES, fitted_view
from .style import FAINT, INK, model_styles

_FAR = 6.0  # farther than this many half widths of the map the Sun is drawn near by, its light parallel
_SUN_AT, _SUN_SIZE = 1.25, 0.12
_STAND, _CARD, _CARD_AT = 0.13, 0.17, 0.4
_SPREAD, _ASIDE = 0.4, 0.9
_DEG = np.pi / 180


def plane_scene(
    model: str,
    views: SunView,
    site: Site,
    chart: PlaneMap,
    words: Sequence[str],
    spots: Array,
    day: SunView,
    coasts: Sequence[Array] = (),
) -> Scene:
    """The scene of a model that lays a map on a plane.

    Parameters
    ----------
    model : str
    views : SunView, leading shape (n,)
        At one site, in the order of time.
    site : Site
        One place on the map.
    chart : PlaneMap
    words : sequence of str
        What each moment is called.
    spots : ndarray, shape (n, k, 3)
        Spots on the Sun at each moment, body frame.
    day : SunView, leading shape (m,)
        The same over a whole day, for the Sun's circle.
    coasts : sequence of ndarray, shape (m, 2)
        Latitude and longitude in radians.

    Raises
    ------
    InputError
        The site is not on the map.
    """
    here = chart.place(site.latitude, site.longitude)
    if not np.all(np.isfinite(here)):
        raise InputError("site", f"must lie on the map '{chart.name}'")
    to_scene = plane_to_local(chart.north(site.latitude, site.longitude)).T
    height_km = float(site.height_m) / 1000
    suns = sun_places(views, here, height_km, to_scene)
    circle = sun_places(day, here, height_km, to_scene)
    unit = _half_width(chart, here)
    far = float(np.max(np.linalg.norm(suns, axis=-1))) > _FAR * unit
    place = np.array([*here, height_km]) / unit
    sight = views.direction @ to_scene.T
    centres = place + _SUN_AT * sight if far else suns / unit
    colour = model_styles([model])[model].colour
    ground = _ground(chart, unit, coasts)
    towards_eye = _towards_eye(place, centres)
    turns = [card_turn(-one, towards_eye) for one in sight]
    surfaces: list[Surface] = []
    labels = []
    if chart.pole_xy is not None:
        pole = np.array([*chart.pole_xy / unit, 0.01])
        away = pole - place
        surfaces.append(tube("the map's pole", np.stack([pole, pole + 0.05 * UP]), 0.012, INK))
        labels.append(Label("pole", pole + 0.11 * away / max(float(np.linalg.norm(away)), 0.1)))
    if not far:
        surfaces += _sun_circle(circle / unit)
    for i, word in enumerate(words):
        eye = eye_of(place, to_scene, _STAND)
        gap = float(np.linalg.norm(centres[i] - eye))
        spot = eye + min(_CARD_AT, 0.5 * gap) * sight[i]
        surfaces += card(spot, _CARD, views[i], to_scene, spots[i], colour, turns[i][0])
        surfaces += ball(centres[i], _SUN_SIZE, -sight[i], float(views.distance[i]))
        attitude = to_scene @ views.attitude[i]
        if np.all(np.isfinite(attitude)):
            surfaces += ball_grid(centres[i], _SUN_SIZE, attitude, spots[i])
        start = centres[i] - 1.1 * _SUN_SIZE * sight[i]
        surfaces.append(arrow("light to the site", start, spot + 0.03 * sight[i], 0.008, SUNLIGHT))
        surfaces += _rays(centres[i], sight[i]) if far else _drop(centres[i])
        labels.append(Label(word, centres[i] + 0.3 * UP, strong=True))
    for i in range(len(words)):
        surfaces += stand(place, to_scene, _STAND, views[i])[0 if i == 0 else -1 :]
    return Scene(
        model,
        "A plane under a Sun at infinity" if far else "A plane with a map, the Sun circling above it",
        unit,
        (*ground, *surfaces),
        tuple(labels),
        fitted_view([*surfaces, _inner(ground[0])], labels, towards_eye),
        (*card_notes([angle for _, angle in turns]), _note(far, views, unit, float(np.mean(suns[:, 2])))),
    )


def sun_places(views: SunView, here_km: Array, height_km: float, to_scene: Array) -> Array:
    """Where the Sun's centre is over the plane, (n, 3) km: from the site along each view's direction."""
    reach = (views.distance * views.sun_radius_km)[..., None]
    return np.array([*here_km, height_km]) + reach * (views.direction @ to_scene.T)


def _towards_eye(place: Array, centres: Array) -> Array:
    """From behind the site, as seen from the Suns, and from above."""
    back = (place - np.mean(centres, axis=0))[:2]
    length = float(np.linalg.norm(back))
    back = back / length if length > 1e-6 else np.array([0.0, -1.0])
    sideways = centres[:, :2] @ np.array([-back[1], back[0]])
    if len(centres) > 1 and np.ptp(sideways) < _SPREAD:  # one behind the other: from aside
        cos, sin = np.cos(_ASIDE), np.sin(_ASIDE)
        back = np.array([cos * back[0] - sin * back[1], sin * back[0] + cos * back[1]])
    return np.array([*0.85 * back, 0.66])


def _inner(ground: Surface) -> Surface:
    """The middle of the map that the first view has to show; its rim may lie outside."""
    return replace(ground, points=0.75 * ground.points)


def _half_width(chart: PlaneMap, here: Array) -> float:
    """Half width of what is drawn, km: the map within 60 degrees of the equator, a quarter more, and the site."""
    latitude = np.linspace(-60, 60, 25)[:, None] * _DEG
    places = chart.place(latitude, np.linspace(-180, 180, 73) * _DEG)
    size = np.linalg.norm(places, axis=-1)
    return float(max(1.25 * np.nanmax(size), 1.1 * np.linalg.norm(here)))


def _flat(chart: PlaneMap, unit: float, latitude: Array, longitude: Array) -> list[tuple[Array, Array]]:
    """Unbroken pieces of a line on the map with their normals; cut where the map's edge tears it."""
    xy = chart.place(latitude, longitude) / unit
    xy[np.linalg.norm(xy, axis=-1) > 1] = np.nan
    step = np.linalg.norm(np.diff(xy, axis=0), axis=-1)
    torn = np.flatnonzero(step > 0.2) + 1
    pieces = []
    for part in np.split(xy, torn):
        for run in runs(part[:, 0], part[:, 1]):
            path = np.concatenate([run, np.zeros((len(run), 1))], axis=-1)
            pieces.append((path, np.broadcast_to(UP, path.shape)))
    return pieces


def _ground(chart: PlaneMap, unit: float, coasts: Sequence[Array]) -> list[Surface]:
    """The map's ground, graticule of 30 degrees and coasts."""
    rows, columns = 91, 181
    latitude = np.linspace(-89.9, 89.9, rows)[:, None] * _DEG
    longitude = np.linspace(-179.99, 179.99, columns) * _DEG
    xy = chart.place(latitude, longitude).reshape(-1, 2) / unit
    triangles = grid_triangles(rows, columns)
    corners = xy[triangles]
    size = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=-1).max(axis=-1)
    inside = np.linalg.norm(corners, axis=-1).max(axis=-1) <= 1
    with np.errstate(invalid="ignore"):
        kept = triangles[(size < 0.2) & inside]
    used, renumbered = np.unique(kept, return_inverse=True)
    ground = np.concatenate([xy[used], np.zeros((len(used), 1))], axis=-1)
    parts = [Surface("map", ground, renumbered.reshape(-1, 3), DAY)]
    fine = np.linspace(-179.99, 179.99, 361) * _DEG
    circles = [_flat(chart, unit, np.full(361, d * _DEG), fine) for d in (-60, -30, 30, 60)]
    meridian = np.linspace(-89.9, 89.9, 181) * _DEG
    circles += [
        _flat(chart, unit, meridian, np.full(181, np.clip(d, -179.99, 179.99) * _DEG))
        for d in range(-180, 181, 30)
    ]
    parts += ground_bands("graticule", [one for many in circles for one in many], 0.006, MAP_LINES, 0.004)
    parts += ground_bands("equator", _flat(chart, unit, np.zeros(361), fine), 0.009, FAINT, 0.005)
    shores = [one for shore in coasts for one in _flat(chart, unit, shore[:, 0], shore[:, 1])]
    return parts + ground_bands("coasts", shores, 0.006, COAST, 0.0045)


def _sun_circle(places: Array) -> list[Surface]:
    """The Sun's way over a day, with the way it goes, and the track of the point below it."""
    level = np.broadcast_to(UP, places.shape)
    below = places * [1, 1, 0]
    step = np.linalg.norm(np.diff(places, axis=0), axis=-1)
    pieces = [p for p in np.split(np.arange(len(places)), np.flatnonzero(step > 0.3) + 1) if len(p) > 1]
    ways = [tube("way", places[p], 0.006, SUNLIGHT, sides=6) for p in pieces]
    longest = max(pieces, key=len)
    middle = longest[len(longest) // 8]
    ahead = places[middle + 1] - places[middle]
    end = places[middle] + 0.12 * ahead / np.linalg.norm(ahead)
    ways.append(arrow("way", places[middle], end, 0.012, SUNLIGHT))
    parts = [merged("the Sun's way over a day", ways)]
    return parts + ground_bands(
        "below the Sun", [(below[p], level[p]) for p in pieces], 0.007, SUNLIGHT, 0.006
    )


def _drop(centre: Array) -> list[Surface]:
    """The height of the Sun over the plane."""
    return [tube("height", np.stack([centre * [1, 1, 0], centre]), 0.003, FAINT, sides=6)]


def _rays(centre: Array, sight: Array) -> list[Surface]:
    """Parallel rays of a far Sun, down to the plane where they meet it within reach."""
    first, second = perpendicular(sight)
    rays = []
    for a, b in ((-0.5, 0), (-0.25, 0), (0.25, 0), (0.5, 0), (0, 0.3)):
        start = centre + a * first + b * second - 0.15 * sight
        length = min(start[2] / sight[2], 0.95) if sight[2] > 0.05 else 0.95
        rays.append(arrow("ray", start, start - max(length, 0.2) * sight, 0.005, SUNLIGHT))
    return [merged("sunlight", rays)]


def _note(far: bool, views: SunView, unit: float, height_km: float) -> str:
    radius = float(np.mean(views.sun_radius_km))
    if far:
        return "The Sun is neither to scale nor at its place: this model has it at infinity."
    times = _SUN_SIZE * unit / radius
    return (
        f"Map and the Sun's height ({height_km:,.0f} km) are to scale; the Sun is drawn {times:,.0f} times its size of "
        f"{2 * radius:,.0f} km."
    )

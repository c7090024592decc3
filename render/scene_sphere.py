"""The turning sphere in space: sunlight, and at each moment the site with its horizon and camera.

Frame of the scene: z to the celestial north, x to the Sun's meridian, so that the Sun stays where it is and the
Earth turns between the moments. Both follow from the :class:`SunView` at the site and the site's place alone.
"""

from __future__ import annotations

from collections.abc import Sequence

import erfa
import numpy as np

from ..models.constants import EARTH_RADIUS_KM
from ..models.ephemeris import site_frame
from ..models.errors import InputError
from ..models.geometry import Array, SunView
from ..models.place import Site
from .scene import Label, Scene, Surface, Viewpoint, merged, screen_axes
from .scene_parts import (
    SUNLIGHT,
    UP,
    arrow,
    ball,
    ball_grid,
    cap_normals,
    card,
    card_notes,
    card_turn,
    eye_of,
    ground_bands,
    perpendicular,
    stand,
    tube,
)
from .style import FAINT, INK, model_styles

DAY, NIGHT, COAST, MAP_LINES = "#DDE6EA", "#98A3B0", "#5E7F73", "#B3C0C8"
_FAR = 12.0  # farther than this many Earth radii the Sun is drawn near by, its light parallel
_SUN_AT, _SUN_SIZE = 2.9, 0.42
_STAND, _CARD, _CARD_AT = 0.29, 0.34, 0.85
_ONE_SUN = np.deg2rad(20)  # attitudes that differ by less are drawn as one Sun


def sphere_scene(
    model: str,
    views: SunView,
    site: Site,
    words: Sequence[str],
    spots: Array,
    coasts: Sequence[Array] = (),
) -> Scene:
    """The scene of a model that has a celestial north.

    Parameters
    ----------
    model : str
    views : SunView, leading shape (n,)
        At one site, in the order of time.
    site : Site
        One place.
    words : sequence of str
        What each moment is called.
    spots : ndarray, shape (n, k, 3)
        Spots on the Sun at each moment, body frame.
    coasts : sequence of ndarray, shape (m, 2)
        Latitude and longitude in radians; drawn for a single moment only, as the Earth turns between two.

    Raises
    ------
    InputError
        A view has no celestial north.
    """
    if not np.all(np.isfinite(views.celestial_north)):
        raise InputError("model", "must have a celestial north to be drawn on a sphere", model)
    axes, place, _ = site_frame(site)
    to_scene = np.stack([celestial_frame(views[i], axes @ place) for i in range(len(words))])
    sites = to_scene @ (axes @ place) / EARTH_RADIUS_KM
    reach = views.distance * views.sun_radius_km / EARTH_RADIUS_KM
    sight = np.einsum("nij,nj->ni", to_scene, views.direction)
    centres = sites + sight * reach[:, None]
    middle = np.mean(centres, axis=0)
    far = float(np.linalg.norm(middle)) > _FAR
    towards = middle / np.linalg.norm(middle)
    colour = model_styles([model])[model].colour
    surfaces = _earth(towards, float(np.linalg.norm(middle)))
    surfaces += _lines(sites, to_scene, axes, coasts if len(words) == 1 else ())
    north = site.latitude_deg >= 0
    pole = Label("north pole", 1.42 * UP) if north else Label("south pole", -1.3 * UP)
    labels = [pole]
    towards_eye = _towards_eye(to_scene[:, :, 2], north)
    turns = [card_turn(-one, towards_eye) for one in sight]
    for i, word in enumerate(words):
        eye = eye_of(sites[i], to_scene[i], _STAND)
        spot = eye + _CARD_AT * sight[i]
        surfaces += stand(sites[i], to_scene[i], _STAND, views[i])
        surfaces += card(spot, _CARD, views[i], to_scene[i], spots[i], colour, turns[i][0])
        end = towards * _SUN_AT if far else centres[i]
        light = eye + sight[i] * max(float((end - eye) @ sight[i]) - _SUN_SIZE, _CARD_AT + 0.3)
        surfaces.append(arrow("light to the site", light, spot + 0.04 * sight[i], 0.012, SUNLIGHT))
        outwards = np.sign(sites[i, 1]) * np.array([0.0, 0.3, 0.0])
        labels.append(Label(word, spot + 0.72 * UP + outwards, strong=True))
    attitudes = to_scene @ views.attitude
    suns = _distinct(attitudes)
    for k, i in enumerate(suns):
        side = np.cross(towards, UP) * (2.6 * _SUN_SIZE * k)
        centre = towards * _SUN_AT + side if far else centres[i]
        surfaces += ball(centre, _SUN_SIZE, -towards if far else -sight[i], float(views.distance[i]))
        if np.all(np.isfinite(attitudes[i])):
            surfaces += ball_grid(centre, _SUN_SIZE, attitudes[i], spots[i])
        if len(suns) == 1:
            labels.append(Label("the Sun", centre - 1.75 * _SUN_SIZE * UP))
        else:
            labels.append(Label(f"the Sun, {words[i]}", centre + (1.5 + 0.55 * k) * _SUN_SIZE * UP))
    surfaces += _sunlight(towards, middle, far)
    return Scene(
        model,
        "A sphere that turns in the Sun's light",
        EARTH_RADIUS_KM,
        tuple(surfaces),
        tuple(labels),
        fitted_view(surfaces, labels, towards_eye),
        (
            *card_notes([angle for _, angle in turns]),
            _note(far, float(np.mean(views.sun_radius_km)), float(np.linalg.norm(middle))),
        ),
    )


def celestial_frame(view: SunView, place_km: Array) -> Array:
    """Rotation (3, 3) from (east, north, up) to the scene: z celestial north, x the Sun's meridian.

    `place_km` is the site from the Earth's centre in the local frame; the meridian is that of the Sun's centre as
    it is from there.
    """
    sun = place_km + view.direction * (view.distance * view.sun_radius_km)
    north = view.celestial_north
    meridian = sun - north * (sun @ north)
    meridian /= np.linalg.norm(meridian)
    return np.stack([meridian, np.cross(north, meridian), north])


def ellipsoid_points(normals: Array) -> Array:
    """Places on the WGS84 ellipsoid, in equatorial radii, whose vertical is each of `normals` (n, 3)."""
    equatorial, flattening = erfa.eform(1)
    squares = np.array([1.0, 1.0, (1 - flattening) ** 2])
    length = np.sqrt(np.sum(squares * normals**2, axis=-1, keepdims=True))
    return squares * normals / length * (equatorial / 1000 / EARTH_RADIUS_KM)


def fitted_view(surfaces: Sequence[Surface], labels: Sequence[Label], towards_eye: Array) -> Viewpoint:
    """The view from that side which holds all of `surfaces` and the places of `labels` with a margin."""
    right, up, eye = screen_axes(Viewpoint(towards_eye, np.zeros(3), 1.0, 1.0))
    points = np.concatenate([*(one.points for one in surfaces), *(one.place[None] for one in labels)])
    screen = np.stack([points @ right, points @ up], axis=-1)
    low, high = screen.min(axis=0), screen.max(axis=0)
    middle, half = (low + high) / 2, 1.06 * (high - low) / 2
    return Viewpoint(eye, middle[0] * right + middle[1] * up, float(half[1]), float(half[0]))


def _towards_eye(up: Array, north: bool) -> Array:
    """From behind the Earth, where pictures and sites in the morning and evening are seen; at noon from aside."""
    aside = np.mean(up[:, 0]) > 0.35
    return np.array([-0.35, -0.66, 0.66] if aside else [-0.78, 0.0, 0.62]) * [1, 1, 1 if north else -1]


def _distinct(attitudes: Array) -> list[int]:
    """Moments whose Sun has to be drawn anew: turned by more than its own rotation of a day or so."""
    kept = [0]
    for i in range(1, len(attitudes)):
        turn = attitudes[kept[-1]].T @ attitudes[i]
        angle = np.arccos(np.clip((np.trace(turn) - 1) / 2, -1, 1))  # nan where the attitude is left open
        if angle >= _ONE_SUN:
            kept.append(i)
    return kept


def _earth(towards: Array, distance: float) -> list[Surface]:
    """The day side, where the Sun stands over the horizon, and the night side."""
    edge = float(np.arccos(min(1.0, 1 / distance)))
    parts = []
    for name, colour, low, high in (("day side", DAY, 0.0, edge), ("night side", NIGHT, edge, np.pi)):
        normals, triangles = cap_normals(towards, low, high, 36)
        parts.append(Surface(name, ellipsoid_points(normals), triangles, colour, shaded=True))
    tips = [np.array([0, 0, z]) for z in (-1.0, -1.25, 1.0, 1.36)]
    axis = [tube("axis", np.stack(tips[:2]), 0.012, INK), arrow("axis", tips[2], tips[3], 0.012, INK)]
    return [*parts, merged("Earth's axis", axis)]


def _on_earth(normals: Array) -> tuple[Array, Array]:
    return ellipsoid_points(normals), normals


def _lines(sites: Array, to_scene: Array, axes: Array, coasts: Sequence[Array]) -> list[Surface]:
    """Circles of latitude, the site's own with the way it turned, its meridian at each moment, coasts."""
    turn = np.linspace(0, 2 * np.pi, 181)

    def circle(latitude: float, turn: Array) -> tuple[Array, Array]:
        height = np.full(turn.shape, np.sin(latitude))
        return _on_earth(
            np.stack([np.cos(latitude) * np.cos(turn), np.cos(latitude) * np.sin(turn), height], axis=-1)
        )

    parts = ground_bands(
        "circles of latitude",
        [circle(np.deg2rad(d), turn) for d in (-60, -30, 30, 60)],
        0.008,
        MAP_LINES,
        0.003,
    )
    parts += ground_bands("equator", [circle(0.0, turn)], 0.012, FAINT, 0.003)
    up = to_scene[:, :, 2]
    latitude = float(np.arcsin(up[0, 2]))
    parts += ground_bands("circle of the site", [circle(latitude, turn)], 0.012, INK, 0.004)
    meridians = []
    for one in up:
        around = np.arctan2(one[1], one[0])
        fine = np.linspace(-np.pi / 2, np.pi / 2, 91)
        line = np.stack([np.cos(fine) * np.cos(around), np.cos(fine) * np.sin(around), np.sin(fine)], axis=-1)
        meridians.append(_on_earth(line))
    parts += ground_bands("meridian of the site", meridians, 0.009, FAINT, 0.0035)
    if len(up) > 1:
        start, end = (np.arctan2(one[1], one[0]) for one in (up[0], up[-1]))
        way = start + np.linspace(0.12, 0.88, 60) * ((end - start) % (2 * np.pi))
        path, normals = circle(latitude, way)
        lifted = path + 0.03 * normals
        size = np.full(60, 0.014)
        size[-8:] = np.linspace(0.045, 1e-4, 8)
        parts.append(tube("the Earth's turn between the moments", lifted, size, INK))
    earth = to_scene[0] @ axes
    shores = []
    for shore in coasts:
        cos = np.cos(shore[:, 0])
        fixed = np.stack([cos * np.cos(shore[:, 1]), cos * np.sin(shore[:, 1]), np.sin(shore[:, 0])], axis=-1)
        shores.append(_on_earth(fixed @ earth.T))
    return parts + ground_bands("coasts", shores, 0.008, COAST, 0.0025)


def _sunlight(towards: Array, sun: Array, far: bool) -> list[Surface]:
    """Rays that end where they meet the Earth; parallel for a far Sun, else from its centre."""
    first, second = perpendicular(towards)
    rays = []
    for ring, count in ((0.0, 1), (0.5, 5), (0.9, 9)):
        for turn in 2 * np.pi * np.arange(count) / count:
            offset = ring * (np.cos(turn) * first + np.sin(turn) * second)
            hit = offset + np.sqrt(1 - ring**2) * towards
            if far:
                start = offset + (_SUN_AT - 1.15 * _SUN_SIZE) * towards
            else:
                start = sun + 1.15 * _SUN_SIZE * (hit - sun) / np.linalg.norm(hit - sun)
            rays.append(arrow("ray", start, hit, 0.007, SUNLIGHT))
    return [merged("sunlight", rays)]


def _note(far: bool, radius_km: float, distance_earths: float) -> str:
    distance = f"{distance_earths:,.0f} Earth radii away and {radius_km * 2:,.0f} km across"
    if far:
        return f"The Sun is neither to scale nor at its place: this model has it {distance}."
    times = _SUN_SIZE * EARTH_RADIUS_KM / radius_km
    return f"The Sun stands at its place, drawn {times:,.2g} times its size: it is {distance}."

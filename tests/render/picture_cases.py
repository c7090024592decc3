"""Invented examples of what is drawn from a view of the Sun: day sheet, film, scenes, surfaces; see figure_cases.py."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure
from whichsun.models.geometry import SunView
from whichsun.models.observables import body_vector
from whichsun.render import day_film, day_sheet, scene_figure, scene_parts, scene_wide
from whichsun.render.day_disc import paint_day_disc
from whichsun.render.day_tile import DayTile
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc, to_picture
from whichsun.render.ground import Ground, cover_by_ground
from whichsun.render.mottling import Granulation, SurfaceFaculae
from whichsun.render.scene import Label, Panel, Scene, Viewpoint
from whichsun.render.style import MODEL_COLOURS
from whichsun.render.texture import SurfaceTexture

NAMES = list(MODEL_COLOURS)
TITLE = "An invented example"


def _view(distance: float = 215.0, tilt: float = 0.4) -> SunView:
    """North `tilt` radians from up, the Sun due east and 25 degrees high; longitude 0 in the middle."""
    high = np.deg2rad(25.0)
    direction = np.array([np.cos(high), 0.0, np.sin(high)])
    right, up = np.array([0.0, -1.0, 0.0]), np.array([-np.sin(high), 0.0, np.cos(high)])
    north = np.cos(tilt) * up - np.sin(tilt) * right
    attitude = np.stack([-direction, np.cross(north, -direction), north], axis=-1)
    return SunView(direction, np.asarray(distance), attitude, np.full(3, np.nan), np.asarray(695700.0))


_SPOTS = SurfaceSpots(
    body_vector(np.deg2rad([18.0, -12.0, 25.0]), np.deg2rad([-25.0, 20.0, 48.0])),
    np.deg2rad([4.0, 3.0, 5.0]),
    seed=11,
)
_APPARENT = np.linspace(-1.4, 1.4, 57)
_AIR = _APPARENT, 1.12 * _APPARENT - 0.03 * _APPARENT**2


def _tile(size: int, k: int) -> DayTile:
    frame = PictureFrame.centred(size, fill=0.62, roll_deg=-20.0 * k)
    low = k == 0
    picture = paint_day_disc(
        _view(tilt=0.4 - 0.5 * k),
        frame,
        _SPOTS,
        vertical_table=_AIR if low else None,
        horizon=-1.15 if low else -np.inf,
        through_rgb=(1.0, 0.5, 0.15) if low else (1.0, 0.9, 0.8),
        surface="grid" if k == 2 else "plain",
    )
    return DayTile(picture, f"altitude {20 * k + 0.5:g}\N{DEGREE SIGN}", -0.35 * k, 0.62, 0.62, 0.3 - k, low)


def sheet_of_a_day() -> Figure:
    rows = [
        day_sheet.DayRow(name, "what a row is said to show", [_tile(160, k) for k in range(4)])
        for name in NAMES[:2]
    ]
    moments = [f"{6 + 4 * k:02d}:00 UTC" for k in range(4)]
    return day_sheet.draw_day_sheet(rows, moments, title=TITLE, subtitle="Two models")[0].figure


def frame_of_a_film() -> np.ndarray:
    around = np.linspace(80, 280, 41)
    high = 50 * np.sin(np.linspace(0, np.pi, 41))
    paths = [day_film.SkyPath(NAMES[0], around, high), day_film.SkyPath(NAMES[1], around, 20 + high / 3)]
    film = day_film.DayFilm(paths, 256, TITLE, "Two models")
    return film.frame(12, [_tile(256, 0), _tile(256, 2)], ["turned 30\N{DEGREE SIGN}"] * 2, "10:12 UTC")


def sun_in_a_scene() -> Figure:
    artists = scene_figure.draw_camera_disc(
        _view(), np.asarray(_SPOTS.points), colour=MODEL_COLOURS[NAMES[0]]
    )
    return artists[0].figure


def _scene(model: str) -> Scene:
    """A Sun with its grid and spots, and words."""
    sun = np.array([0.0, 0.0, 0.0])
    view = _view(distance=6.0)
    spots = np.asarray(_SPOTS.points)
    surfaces = [
        *scene_parts.ball(sun, 1.0, -view.direction, 6.0),
        *scene_parts.ball_grid(sun, 1.0, view.attitude, spots),
    ]
    labels = (
        Label("the Sun", np.array([0.0, 0.0, 1.5]), True),
        Label("to the site", np.array([-1.6, 0.0, -0.6])),
    )
    viewpoint = Viewpoint(np.array([-1.0, -1.2, 0.4]), sun, 1.9, 1.9)
    return Scene(model, "an invented Sun", 1.0, tuple(surfaces), labels, viewpoint, ("Nothing is to scale.",))


def space() -> Figure:
    return scene_figure.draw_scenes(_panels(NAMES[:2]), TITLE, "Calculated", width_px=900)


def space_on_a_phone() -> Figure:
    return scene_figure.draw_scenes(_panels(NAMES[:1]), TITLE, "Calculated", width_px=900, tall=True)


def space_on_a_slide() -> Figure:
    return scene_wide.draw_wide_scenes(_panels(NAMES[:2]), TITLE, "Calculated", width_px=900)


def _panels(names: Sequence[str]) -> list[Panel]:
    one, other = _view(), _view(tilt=-0.6)
    fields = ("direction", "distance", "attitude", "celestial_north", "sun_radius_km")
    views = SunView(*(np.stack([getattr(one, name), getattr(other, name)]) for name in fields))
    spots = np.stack([np.asarray(_SPOTS.points)] * 2)
    return [
        Panel(
            _scene(name),
            views,
            spots,
            ("first", "last"),
            ("altitude 25\N{DEGREE SIGN}",) * 2,
            "An invented scene.",
        )
        for name in names
    ]


def surfaces_of_a_disc() -> np.ndarray:
    """Mottled with faculae; a laid-on picture; a low Sun behind a ridge with glow and vignetting."""
    frame = PictureFrame.centred(200)
    latitude, longitude = np.mgrid[90:-90:90j, 0:360:180j]
    face = (1 + 0.2 * np.sin(np.deg2rad(6 * longitude)) * np.cos(np.deg2rad(3 * latitude))).astype(np.float32)
    faculae = SurfaceFaculae(_SPOTS.points, np.full(3, 0.12), 0.3, 4)
    mottled = render_disc(_view(), frame, _SPOTS, granulation=Granulation(0.2, 1), faculae=faculae)
    laid_on = render_disc(_view(), frame, texture=SurfaceTexture(face), surface="grid")
    low = render_disc(_view(), frame, _SPOTS, vertical_table=_AIR, sky=0.03)
    cover_by_ground(low, frame, Ground(-0.5, light=0.01))
    tinted = to_picture(low, tint_rgb=(1, 0.7, 0.4), blur_px=0.7, vignetting=0.4)
    return np.hstack([to_picture(mottled), to_picture(laid_on), tinted])


CASES = {
    function.__name__: function
    for function in (
        sheet_of_a_day, frame_of_a_film, sun_in_a_scene, space, space_on_a_phone, space_on_a_slide,
        surfaces_of_a_disc,
    )
}  # fmt: skip

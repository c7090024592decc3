"""A day under several models: the Sun, its face and its spots from rise to set, at the same instants for all."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..models.errors import InputError, UnknownNameError
from ..models.geometry import Array, GeometryModel, SunView, view_of
from ..models.observables import (
    altitude,
    azimuth,
    project,
    semidiameter,
    unproject,
    vertex_angle_of_vector,
    wrap_angle,
)
from ..models.place import Instants, Site
from .atmosphere import apparent_altitude, horizon_dip_rad
from .daylight import rise_set
from .rotation import RotationLaw
from .surface import SunSpot, Surface
from .turns import face_lattice, pattern_turn

DAY_MOUNTS = ("level-tripod", "equatorial")
#: Where spots stand on the first picture (x, y in limb radii; area in msh) where the person names none.
FIRST_SPOTS = ((-0.42, 0.38, 5000.0), (0.38, 0.2, 2600.0), (-0.12, -0.5, 1500.0))
_OWN_AREA_MSH = 2600.0
_LATTICE = 1500


@dataclass(frozen=True)
class DayCourse:
    """The day under one model; n instants, k spots.

    Parameters
    ----------
    model : str
    view : SunView, leading shape (n,)
    surface : Surface
        The spots at the first instant.
    days : ndarray, shape (n,)
        From the first instant.
    altitude_rad, azimuth_rad, semidiameter_rad : ndarray, shape (n,)
        Of the Sun's centre without refraction; azimuth from north through east; angular radius.
    apparent_altitude_rad : ndarray, shape (n,)
        With refraction; nan where it is not known, far below the horizon.
    horizon : ndarray, shape (n,)
        Height of the horizon above the Sun's apparent centre in limb radii.
    roll_rad : ndarray, shape (n,)
        Of the camera on its mount, anticlockwise seen from behind it.
    x, y : ndarray, shape (n, k)
        Spots in the camera's picture, limb radii, refraction undone: x right, y to the picture's top.
    visible : ndarray of bool, shape (n, k)
    turn_rad, scatter : ndarray, shape (n,)
        Turn of the pattern in the camera's picture since the first instant, followed from picture to picture
        (anticlockwise positive, not wrapped), and what it leaves over in limb radii; nan where nothing of the
        first face is in sight.
    """

    model: str
    view: SunView
    surface: Surface
    days: Array
    altitude_rad: Array
    azimuth_rad: Array
    semidiameter_rad: Array
    apparent_altitude_rad: Array
    horizon: Array
    roll_rad: Array
    x: Array
    y: Array
    visible: np.ndarray
    turn_rad: Array
    scatter: Array


@dataclass(frozen=True)
class Day:
    """One day at one site: the instants (n,) and what each model shows at them."""

    site: Site
    date: dt.date
    mount: str
    instants: Instants
    courses: tuple[DayCourse, ...]


def day_instants(date: str | dt.date, site: Site, count: int, horizon: str = "visible") -> Instants:
    """`count` even instants from rise to set by the distant sphere; `horizon` as in :func:`rise_set`.

    Raises
    ------
    InputError
        The Sun does not rise and set on that day, or fewer than 2 instants.
    """
    if count < 2:
        raise InputError("count", "must be 2 or more", count)
    day = rise_set(date, site, horizon)
    if not bool(day.happens):
        raise InputError("date", "must be a day on which the Sun rises and sets at the site", str(date))
    rise, sunset = float(day.rise_utc_days), float(day.set_utc_days)
    return Instants.from_utc_days(np.linspace(rise, sunset, count))


def day_courses(
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
    date: dt.date,
    site: Site,
    instants: Instants,
    *,
    law: RotationLaw,
    spots_deg: Sequence[tuple[float, float]] = (),
    mount: str = "level-tripod",
) -> Day:
    """What every model shows at `instants`, by the same code.

    Parameters
    ----------
    models : sequence of (model, its given parameters)
    date : date
        What the day is called.
    site : Site
        One place.
    instants : Instants, shape (n,)
    law : RotationLaw
    spots_deg : sequence of (latitude, Carrington longitude)
        Degrees, at the first instant. Without any, spots stand at the same places on every model's first picture.
    mount : str
        ``"level-tripod"``, or ``"equatorial"``: see :func:`mount_roll`.

    Raises
    ------
    InputError
        A model leaves the Sun's face open, so that there is no picture to draw.
    UnknownNameError
        No such mount.
    """
    if mount not in DAY_MOUNTS:
        raise UnknownNameError("mount", mount, DAY_MOUNTS)
    courses = []
    for model, given in models:
        view = view_of(model, instants, site, given)
        if not np.all(np.isfinite(view.attitude)):
            hint = "choose another face rule, or leave the model out"
            raise InputError("model", "must say which face the Sun shows to be drawn", model.name, hint)
        courses.append(_course(model.name, view, site, instants, law, spots_deg, mount))
    return Day(site, date, mount, instants, tuple(courses))


def _course(
    name: str,
    view: SunView,
    site: Site,
    instants: Instants,
    law: RotationLaw,
    spots_deg: Sequence[tuple[float, float]],
    mount: str,
) -> DayCourse:
    days = instants.utc_days - instants.utc_days[0]
    surface = Surface(_spots(view[0], spots_deg), law, seed=4)
    roll = mount_roll(view, site, mount)
    disc = project(view, np.stack([surface.points(float(d)) for d in days]))
    cos, sin = np.cos(roll)[:, None], np.sin(roll)[:, None]
    high = altitude(view)
    seen = np.asarray(apparent_altitude(high))
    is_sphere = np.all(np.isfinite(view.celestial_north), axis=-1)
    dip = np.where(is_sphere, float(horizon_dip_rad(site.height_m)), 0.0)  # a plane has none
    pattern = pattern_turn(view[:1], view, days, law, face_lattice(view[:1], _LATTICE))
    return DayCourse(
        model=name,
        view=view,
        surface=surface,
        days=days,
        altitude_rad=high,
        azimuth_rad=azimuth(view),
        semidiameter_rad=semidiameter(view),
        apparent_altitude_rad=seen,
        horizon=(-dip - seen) / semidiameter(view),
        roll_rad=roll,
        x=disc.x * cos + disc.y * sin,
        y=disc.y * cos - disc.x * sin,
        visible=disc.visible,
        turn_rad=_followed(pattern.turn - roll),
        scatter=pattern.scatter,
    )


def _spots(first: SunView, spots_deg: Sequence[tuple[float, float]]) -> tuple[SunSpot, ...]:
    if spots_deg:
        return tuple(SunSpot(lat, lon, _OWN_AREA_MSH) for lat, lon in spots_deg)
    x, y, area = np.array(FIRST_SPOTS).T
    points = unproject(first, x, y)
    latitude = np.rad2deg(np.arcsin(points[:, 2]))
    longitude = np.rad2deg(np.arctan2(points[:, 1], points[:, 0]))
    return tuple(SunSpot(*map(float, spot)) for spot in zip(latitude, longitude, area, strict=True))


def mount_roll(view: SunView, site: Site, mount: str) -> Array:
    """Roll of a camera over the day (n,), radians, anticlockwise seen from behind it, 0 at the first instant.

    An equatorial mount turns about an axis that points north and is tilted up by the site's latitude. That is
    a thing of iron on the ground, the same under every model, whether or not the model's sky turns about it.
    """
    if mount == "level-tripod":
        return np.zeros(view.shape)
    latitude = float(site.latitude)
    angle = vertex_angle_of_vector(view, np.array([0.0, np.cos(latitude), np.sin(latitude)]))
    return wrap_angle(angle - angle[:1])


def continuous_azimuths(day: Day) -> list[Array]:
    """Azimuths of every course in degrees, (n,) each, without a jump at north and within half a turn of each other."""
    around = [np.rad2deg(np.unwrap(course.azimuth_rad)) for course in day.courses]
    middle = float(np.median(around[0]))
    return [one + 360 * np.round((middle - np.median(one)) / 360) for one in around]


def _followed(turn: Array) -> Array:
    """Angles followed from one to the next, the shorter way; nan from the first that is not known."""
    steps = wrap_angle(np.diff(turn, prepend=turn[:1] * 0))
    return np.cumsum(steps)

"""The Sun's way across a fixed camera's frame: a check of the level that stands beside the others.

What direction the Sun takes over the level is each model's own prediction, so the drift is told with what
every model says and never moves the roll.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from ...models.errors import WhichsunError
from ...models.geometry import view_of
from ...models.place import Instants, Site
from ...models.registry import get_model
from ..atmosphere import apparent_altitude
from .measured import LevelCheck, PhotoMeasurement

_MOST_DAYS = 0.5 / 24
_LEAST_RADII = 0.2
MODELS = ("distant-sphere", "nearby-sphere", "nearby-plane")


def level_checks(photos: Sequence[PhotoMeasurement]) -> list[LevelCheck]:
    """Checks from neighbouring photos within half an hour by one camera on a level tripod."""
    found = []
    for first, second in pairwise(photos):
        if _same_camera(first, second):
            check = _check(first, second)
            if check is not None:
                found.append(check)
    return found


def _same_camera(first: PhotoMeasurement, second: PhotoMeasurement) -> bool:
    a, b = first.shot, second.shot
    return (
        first.days is not None
        and second.days is not None
        and 0 < second.days - first.days < _MOST_DAYS
        and a.mount == b.mount == "level-tripod"
        and first.size_px == second.size_px
        and (a.camera, a.focal_length_mm) == (b.camera, b.focal_length_mm)
        and bool(a.mirrored) == bool(b.mirrored)
        and abs(first.limb.disc.a / second.limb.disc.a - 1) < 0.01
    )


def _check(first: PhotoMeasurement, second: PhotoMeasurement) -> LevelCheck | None:
    a, b = first.limb.disc, second.limb.disc
    right, up = a.along_axes(np.array(b.column), np.array(b.row))
    turned = -a.tilt  # along_axes measures along the squash, the level lies -tilt from it
    right, up = (
        math.cos(turned) * right + math.sin(turned) * up,
        -math.sin(turned) * right + math.cos(turned) * up,
    )
    length = math.hypot(right, up)
    if length < _LEAST_RADII * a.a:
        return None
    across = np.array([-up, right]) / length
    spread = first.limb.covariance[:2, :2] + second.limb.covariance[:2, :2]
    sigma = math.degrees(math.sqrt(float(across @ spread @ across)) / length)
    drift = math.degrees(math.atan2(up, right))
    directions, radii = _predictions(first, second)
    return LevelCheck(first.shot.file, second.shot.file, drift, sigma, length / a.a, directions, radii)


def _predictions(
    first: PhotoMeasurement, second: PhotoMeasurement
) -> tuple[dict[str, float], dict[str, float]]:
    directions: dict[str, float] = {}
    radii: dict[str, float] = {}
    place = first.site or second.site
    if place is None or first.shot.time_utc is None or second.shot.time_utc is None:
        return directions, radii
    site = Site(place.latitude_deg, place.longitude_deg, place.height_m)
    instants = Instants.from_utc([first.shot.time_utc, second.shot.time_utc])
    for name in MODELS:
        try:
            view = view_of(get_model(name), instants, site)
        except WhichsunError:
            continue
        east, north, up = view.direction.T
        azimuth = np.arctan2(east, north)
        altitude = apparent_altitude(np.arcsin(up))
        along = math.remainder(float(azimuth[1] - azimuth[0]), 2 * math.pi) * math.cos(
            float(np.mean(altitude))
        )
        rise = float(altitude[1] - altitude[0])
        size = float(np.mean(np.arcsin(1 / view.distance)))
        if all(map(math.isfinite, (along, rise, size))):
            directions[name] = math.degrees(math.atan2(rise, along))
            radii[name] = math.hypot(along, rise) / size
    return directions, radii

"""A nearby Sun over a plane on which the Earth's map is laid; light goes straight."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .ephemeris import EarthFixedSun, earth_fixed_sun
from .errors import InputError
from .geometry import Array, Parameter, SunView, Variant
from .maps import SHORT_NAMES, PlaneMap, plane_map
from .place import Instants, Site

FACES = ("facing-pole", "fixed", "spinning", "free")
DEFAULT_MAP = "azimuthal-equidistant"

MAP = Parameter(
    "map",
    "",
    DEFAULT_MAP,
    meaning="The map that is laid on the plane: " + ", ".join(SHORT_NAMES) + ", or any PROJ text.",
)

PARAMETERS = (
    MAP,
    Parameter(
        "face",
        "",
        "facing-pole",
        choices=FACES,
        meaning="How the Sun's body is turned: to the map's pole, fixed, spinning, or free in every shot.",
    ),
    Parameter(
        "height_km",
        "km",
        5000.0,
        low=500.0,
        high=50000.0,
        prior="log-uniform",
        meaning="Height of the Sun's centre over the plane.",
        source="bounds: our choice, wide",
    ),
    Parameter(
        "diameter_km",
        "km",
        50.0,
        low=5.0,
        high=500.0,
        prior="log-uniform",
        meaning="Diameter of the Sun.",
        source="bounds: our choice, wide",
    ),
    Parameter(
        "rate_deg_per_day",
        "deg/day",
        0.0,
        low=-400.0,
        high=400.0,
        prior="uniform",
        meaning="Spin of the Sun's body about up, anticlockwise from above; for the face 'spinning'.",
        source="bounds: our choice, beyond one turn a day either way",
    ),
)


def contest_variants(maps: tuple[str, ...] = (DEFAULT_MAP,)) -> tuple[Variant, ...]:
    """Variants for the contest: every face rule on every map; `free` once, it is the same on all."""
    variants = []
    size = ("diameter_km",)
    for text in maps:
        label = "" if maps == (DEFAULT_MAP,) else f", {text}"
        for face in ("facing-pole", "fixed"):
            for rigid in (False, True):
                name = face + (", no drift" if rigid else "") + label
                fixed = {"map": text, "face": face}
                group = face + label
                variants.append(
                    Variant(name, fixed, ("height_km",), rigid=rigid, group=group, free_with_size=size)
                )
        spinning, free = {"map": text, "face": "spinning"}, ("height_km", "rate_deg_per_day")
        name = "spinning" + label
        variants.append(Variant(name, spinning, free, group=name, free_with_size=size))
    free = Variant("free", {"map": maps[0], "face": "free"}, attitude_free=True, group="free")
    return (*variants, free)


@dataclass(frozen=True)
class NearbyPlane:
    """A Sun at `height_km` above the subsolar point of a plane map, with a rule for its face."""

    name: str = "nearby-plane"
    summary: str = "The Earth is a plane with a map laid on it and the Sun circles a few thousand km above."
    parameters: tuple[Parameter, ...] = PARAMETERS
    variants: tuple[Variant, ...] = contest_variants()

    def view(self, instants: Instants, site: Site, values: Mapping[str, Any]) -> SunView:
        """See :meth:`whichsun.models.geometry.GeometryModel.view`."""
        chart = plane_map(values["map"])
        sun = earth_fixed_sun(instants)
        here = chart.place(site.latitude, site.longitude)
        if not np.any(np.isfinite(here)):
            raise InputError("site", f"must lie on the map '{chart.name}'", None, "take another map")
        below_sun = chart.place(sun.declination, sun.longitude)
        offset = below_sun - here
        height = np.asarray(values["height_km"], dtype=float) - site.height_m / 1000
        x, y, z = np.broadcast_arrays(offset[..., 0], offset[..., 1], height)
        towards = np.stack([x, y, z], axis=-1)
        distance_km = np.linalg.norm(towards, axis=-1)
        to_local = plane_to_local(chart.north(site.latitude, site.longitude))
        direction = np.matmul(to_local, (towards / distance_km[..., None])[..., None])[..., 0]
        shape = direction.shape[:-1]
        bearing = _face_bearing(chart, sun, below_sun, instants, values)
        attitude = to_local @ turn_about_up(bearing) if values["face"] != "free" else np.full((3, 3), np.nan)
        radius = np.asarray(values["diameter_km"], dtype=float) / 2
        shape = np.broadcast_shapes(shape, radius.shape, attitude.shape[:-2])
        return SunView(
            direction=np.broadcast_to(direction, (*shape, 3)),
            distance=np.broadcast_to(distance_km / radius, shape),
            attitude=np.broadcast_to(attitude, (*shape, 3, 3)),
            celestial_north=np.full((*shape, 3), np.nan),
            sun_radius_km=np.broadcast_to(radius, shape),
        )


def plane_to_local(north: Array) -> Array:
    """Rotation (..., 3, 3) from (map x, map y, up) to (east, north, up), azimuth clockwise from above.

    `north` is the unit vector (..., 2) of growing latitude on the plane.
    """
    nx, ny = north[..., 0], north[..., 1]
    zero, one = np.zeros(nx.shape), np.ones(nx.shape)
    rows = [ny, -nx, zero, nx, ny, zero, zero, zero, one]
    return np.stack(rows, axis=-1).reshape(*nx.shape, 3, 3)


def turn_about_up(bearing: Array) -> Array:
    """Attitude (..., 3, 3) in (map x, map y, up) of a body whose longitude 0 faces `bearing` from map x."""
    cos, sin = np.cos(bearing), np.sin(bearing)
    zero, one = np.zeros(cos.shape), np.ones(cos.shape)
    rows = [cos, -sin, zero, sin, cos, zero, zero, zero, one]
    return np.stack(rows, axis=-1).reshape(*cos.shape, 3, 3)


def _face_bearing(
    chart: PlaneMap, sun: EarthFixedSun, below_sun: Array, instants: Instants, values: Mapping[str, Any]
) -> Array:
    """Angle on the plane, anticlockwise from the map's +x, that longitude 0 of the Sun faces."""
    plane_north = np.full(sun.longitude.shape, np.pi / 2)
    face = values["face"]
    if face == "spinning":
        days = instants.utc_days - instants.utc_days[..., :1] if instants.shape else np.zeros(())
        return plane_north + np.deg2rad(np.asarray(values["rate_deg_per_day"], dtype=float)) * days
    if face == "facing-pole" and chart.pole_xy is not None:
        towards = chart.pole_xy - below_sun
        return np.arctan2(towards[..., 1], towards[..., 0])
    return plane_north

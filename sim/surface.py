"""Spots on the Sun: places, sizes, and how they are carried by the rotation."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..models.errors import InputError
from ..models.geometry import Array
from ..models.observables import body_vector
from ..render.mottling import Granulation, SurfaceFaculae
from ..render.spots import SurfaceSpots
from .rotation import DEFAULT_LAW, RotationLaw, carry, rotation_law

if TYPE_CHECKING:
    from .texture_file import RealSurface

HEMISPHERE_MSH = 1e6
_WITH_FACULAE_MSH = 10.0
_FACULAE_RAD = math.radians(3.5)
"""How far a facular field reaches beyond its spot (common practice, no source)."""
LARGEST_MSH = 6000.0
"""About the area of the largest group on record (from memory: April 1947, 6132 msh)."""


@dataclass(frozen=True)
class SunSpot:
    """One spot.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Heliographic, Carrington longitude, at the epoch of the surface.
    area_msh : float
        Area with penumbra, millionths of the solar hemisphere.
    umbra_fraction : float
        Radius of the umbra over that of the penumbra (0.4: an area ratio near 6, common practice).
    darkness : float
        Depth of the umbra below the photosphere, 0 to 1.
    irregularity : float
        Wobble of the outline, 0 (round) to 0.3.
    """

    latitude_deg: float
    longitude_deg: float
    area_msh: float = 100.0
    umbra_fraction: float = 0.4
    darkness: float = 0.85
    irregularity: float = 0.12

    def __post_init__(self) -> None:
        for name, low, high in (
            ("latitude_deg", -90.0, 90.0),
            ("longitude_deg", -360.0, 360.0),
            ("area_msh", 0.1, LARGEST_MSH),
            ("umbra_fraction", 0.0, 1.0),
            ("darkness", 0.0, 1.0),
            ("irregularity", 0.0, 0.3),
        ):
            if not low <= getattr(self, name) <= high:
                raise InputError(name, f"must be between {low:g} and {high:g}", getattr(self, name))


@dataclass(frozen=True)
class Surface:
    """The Sun's surface at an epoch.

    Parameters
    ----------
    spots : tuple of SunSpot
    law : RotationLaw
    seed : int
        Of the outlines and the mottling.
    picture : RealSurface, optional
        A real picture under the spots.
    granulation, faculae : float
        Contrasts, see :mod:`whichsun.render.mottling`; a facular field lies round every spot of 10 msh or more.
    """

    spots: tuple[SunSpot, ...] = ()
    law: RotationLaw = field(default_factory=lambda: rotation_law(DEFAULT_LAW))
    seed: int = 0
    picture: RealSurface | None = field(default=None, compare=False)
    granulation: float = 0.0
    faculae: float = 0.0

    def points(self, days: float = 0.0) -> Array:
        """Body-frame unit vectors (n, 3), `days` after the epoch."""
        places = np.array([(s.latitude_deg, s.longitude_deg) for s in self.spots]).reshape(-1, 2)
        return carry(body_vector(*np.deg2rad(places).T), days, self.law)

    def drawn(self, days: float = 0.0) -> SurfaceSpots:
        """What the renderer needs, `days` after the epoch."""
        return SurfaceSpots(
            self.points(days),
            np.array([radius_of_area(s.area_msh) for s in self.spots]),
            umbra_fraction=np.array([s.umbra_fraction for s in self.spots]),
            umbra_contrast=np.array([s.darkness for s in self.spots]),
            penumbra_contrast=np.array([min(0.24, s.darkness) for s in self.spots]),
            irregularity=np.array([s.irregularity for s in self.spots]),
            seed=self.seed,
        )

    def mottling(self, days: float = 0.0) -> tuple[Granulation, SurfaceFaculae]:
        """Granulation, which no rotation carries, and the facular fields, `days` after the epoch."""
        fields = np.array([s.area_msh >= _WITH_FACULAE_MSH for s in self.spots], bool)
        radius = np.array([radius_of_area(s.area_msh) for s in self.spots])[fields]
        fields_at = self.points(days)[fields]
        return (
            Granulation(self.granulation, self.seed),
            SurfaceFaculae(fields_at, _FACULAE_RAD + 2 * radius, self.faculae, self.seed),
        )


def radius_of_area(area_msh: float) -> float:
    """Heliographic radius in radians of a round spot: area/hemisphere = 1 - cos r."""
    return math.acos(1 - area_msh / HEMISPHERE_MSH)


def area_of_radius(radius_rad: float) -> float:
    """Inverse of :func:`radius_of_area`."""
    return HEMISPHERE_MSH * (1 - math.cos(radius_rad))


def random_spots(
    rng: np.random.Generator,
    groups: int,
    *,
    belt_deg: float = 16.0,
    belt_width_deg: float = 6.0,
    median_area_msh: float = 80.0,
) -> tuple[SunSpot, ...]:
    """A random population of spot groups in two belts, all round the Sun.

    Parameters
    ----------
    rng : numpy.random.Generator
    groups : int
        Number of groups over the whole Sun; about half of them face any observer.
    belt_deg, belt_width_deg : float
        Mean latitude of the belts and standard deviation about it.
    median_area_msh : float
        Median area of a group's leading spot; log-normal with a factor of 2.5.

    Notes
    -----
    Three groups in four are pairs: the follower stands 4 to 10 deg to the east, a little poleward (tilt of
    half the latitude), smaller. Belts, sizes and pairs are common practice, no source.
    """
    if groups < 0:
        raise InputError("groups", "must be 0 or more", groups)
    spots: list[SunSpot] = []
    for _ in range(groups):
        side = rng.choice([-1.0, 1.0])
        latitude = side * float(np.clip(rng.normal(belt_deg, belt_width_deg), 2, 45))
        longitude = float(rng.uniform(0, 360))
        area = float(np.clip(median_area_msh * np.exp(rng.normal(0, math.log(2.5))), 5, 1500))
        spots.append(SunSpot(latitude, longitude, area))
        if rng.random() < 0.75:
            length = float(rng.uniform(4, 10))
            tilt = math.radians(latitude / 2)
            follower = latitude + length * math.sin(tilt)
            east = length * math.cos(tilt) / math.cos(math.radians(latitude))
            spots.append(SunSpot(follower, (longitude - east) % 360, area * float(rng.uniform(0.2, 0.7))))
    return tuple(spots)


def surface_of(
    places_deg: Sequence[tuple[float, ...]], law: RotationLaw, *, area_msh: float = 150.0, seed: int = 0
) -> Surface:
    """A surface from (latitude, longitude) or (latitude, longitude, area in msh) of each spot."""
    spots = [SunSpot(p[0], p[1], p[2] if len(p) > 2 else area_msh) for p in places_deg]
    return Surface(tuple(spots), law, seed)

"""Groups of spots: a leader, a follower and small spots strewn between them."""

from __future__ import annotations

import math

import numpy as np

from ..models.errors import InputError
from .surface import SunSpot, radius_of_area

_LEADER, _FOLLOWER = 0.5, 0.25
"""Shares of a group's area; where they belong and how the rest is strewn: common practice, no source."""
_LEAST_MSH = 1.0
_TRIES = 200


def spot_group(
    rng: np.random.Generator,
    latitude_deg: float,
    longitude_deg: float,
    area_msh: float,
    *,
    spots: int = 8,
    length_deg: float = 8.0,
) -> tuple[SunSpot, ...]:
    """The spots of one bipolar group.

    Parameters
    ----------
    rng : numpy.random.Generator
    latitude_deg, longitude_deg : float
        Middle of the group, Carrington longitude.
    area_msh : float
        Of all its spots together, 10 or more; each small spot gets 1 or more.
    spots : int
        2 to 40. The leader stands in the west with half the area, the follower in the east with a quarter.
    length_deg : float
        From leader to follower, 1 to 20. The group's axis is tilted by half the latitude, the leader nearer the
        equator.

    Returns
    -------
    tuple of SunSpot
        Fewer than `spots` where there is no room for more without touching.
    """
    for name, value, low, high in (
        ("area_msh", area_msh, 10, 6000),
        ("spots", spots, 2, 40),
        ("length_deg", length_deg, 1, 20),
        ("latitude_deg", latitude_deg, -60, 60),
    ):
        if not low <= value <= high:
            raise InputError(name, f"must be between {low:g} and {high:g}", value)
    tilt = math.radians(latitude_deg / 2)
    # Along the axis (towards the leader) and across it, degrees, and area.
    placed = [(length_deg / 2, 0.0, _LEADER * area_msh), (-length_deg / 2, 0.0, _FOLLOWER * area_msh)]
    shares = rng.lognormal(0.0, 0.8, spots - 2)
    rest = (1 - _LEADER - _FOLLOWER) * area_msh
    areas = np.maximum(shares / max(shares.sum(), 1e-9) * rest, _LEAST_MSH)
    for area in sorted(areas, reverse=True):
        for _ in range(_TRIES):
            along = float(rng.normal(rng.choice([-0.5, 0.5]), 0.28)) * length_deg
            across = float(rng.normal(0, 0.13)) * length_deg
            if all(_clear(along, across, float(area), other) for other in placed):
                placed.append((along, across, float(area)))
                break
    cos, sin = math.cos(tilt), math.sin(tilt)
    narrow = math.cos(math.radians(latitude_deg))
    return tuple(
        SunSpot(
            latitude_deg - along * sin + across * cos,
            (longitude_deg + (along * cos + across * sin) / narrow) % 360,
            area,
            umbra_fraction=0.4 if area > 15 else 0.6,
            irregularity=0.2 if area > 15 else 0.12,
        )
        for along, across, area in placed
    )


def _clear(along: float, across: float, area: float, other: tuple[float, float, float]) -> bool:
    """Whether two spots stand apart by a fifth more than their radii."""
    reach = math.degrees(radius_of_area(area) + radius_of_area(other[2]))
    return math.hypot(along - other[0], across - other[1]) > 1.2 * reach

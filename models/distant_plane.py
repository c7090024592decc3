"""A plane under a Sun at infinity: one direction and one face for everyone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .distant_sphere import DistantSphere
from .errors import InputError
from .geometry import Parameter, SunView, Variant
from .maps import plane_map
from .nearby_plane import MAP, plane_to_local
from .place import Instants, Site

PARAMETERS = (
    MAP,
    Parameter(
        "reference_site",
        "",
        "0,0",
        meaning="LAT,LON in degrees of the place whose real sky everyone on the plane sees.",
    ),
)


@dataclass(frozen=True)
class DistantPlane:
    """A plane with a map laid on it, where everyone sees the sky of one reference site.

    The Sun's direction and attitude at that site are turned to each observer's north of the map.
    """

    name: str = "distant-plane"
    summary: str = "The Earth is a plane with a map laid on it and the Sun is at infinity, one for everyone."
    parameters: tuple[Parameter, ...] = PARAMETERS
    variants: tuple[Variant, ...] = (Variant(),)

    def view(self, instants: Instants, site: Site, values: Mapping[str, Any]) -> SunView:
        """See :meth:`whichsun.models.geometry.GeometryModel.view`."""
        chart = plane_map(values["map"])
        reference = _reference_site(values["reference_site"])
        there = DistantSphere().view(instants, reference, {})
        local = plane_to_local(chart.north(site.latitude, site.longitude))
        origin = plane_to_local(chart.north(reference.latitude, reference.longitude))
        if not np.any(np.isfinite(local)) or not np.any(np.isfinite(origin)):
            raise InputError("site", f"must lie on the map '{chart.name}'", None, "take another map")
        turn = local @ np.swapaxes(origin, -1, -2)
        direction = np.matmul(turn, there.direction[..., None])[..., 0]
        shape = direction.shape[:-1]
        return SunView(
            direction=direction,
            distance=np.broadcast_to(there.distance, shape),
            attitude=turn @ there.attitude,
            celestial_north=np.full(direction.shape, np.nan),
            sun_radius_km=np.broadcast_to(there.sun_radius_km, shape),
        )


def _reference_site(text: str) -> Site:
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        raise InputError("reference_site", "must be LAT,LON in degrees", text) from None
    return Site(latitude, longitude)

"""The same sphere with the Sun at any distance: the continuous bridge from near to far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .constants import AU_KM, EARTH_RADIUS_KM, SUN_RADIUS_KM
from .distant_sphere import sphere_view
from .ephemeris import earth_fixed_sun
from .geometry import Parameter, SunView, Variant
from .observables import dot
from .place import Instants, Site

DISTANCE = Parameter(
    "distance_km",
    "km",
    AU_KM,
    low=2 * EARTH_RADIUS_KM,
    high=1e12,
    prior="inverse-uniform",
    meaning="Distance of the Sun from the Earth's centre.",
    source="prior uniform in Earth's radius / distance between 0 and 0.5: our choice",
)


@dataclass(frozen=True)
class NearbySphere:
    """A rotating ellipsoid and a Sun above the same subsolar point, at a distance that is free.

    The Sun's radius scales with the distance, so that its angular size at the Earth's centre is the real
    one; its attitude is the real one. From a place that faces away the Sun is below the horizon.
    """

    name: str = "nearby-sphere"
    summary: str = "The Earth is a rotating ellipsoid and the Sun, as large as it looks, at a free distance."
    parameters: tuple[Parameter, ...] = (DISTANCE,)
    variants: tuple[Variant, ...] = (Variant(free=("distance_km",)),)

    def view(self, instants: Instants, site: Site, values: Mapping[str, Any]) -> SunView:
        """See :meth:`whichsun.models.geometry.GeometryModel.view`."""
        sun = earth_fixed_sun(instants)
        scale = np.asarray(values["distance_km"], dtype=float) / np.sqrt(dot(sun.position, sun.position))
        position = sun.position * scale[..., None]
        return sphere_view(position, sun.attitude, site, SUN_RADIUS_KM * scale)

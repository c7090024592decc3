"""The real apparent Sun over the WGS84 ellipsoid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from .constants import SUN_RADIUS_KM
from .ephemeris import earth_fixed_sun, site_frame
from .geometry import Array, Parameter, SunView, Variant
from .observables import dot
from .place import Instants, Site


@dataclass(frozen=True)
class DistantSphere:
    """A rotating ellipsoid and a Sun at its real distance."""

    name: str = "distant-sphere"
    summary: str = "The Earth is a rotating ellipsoid and the Sun is at its real, great distance."
    parameters: tuple[Parameter, ...] = ()
    variants: tuple[Variant, ...] = (Variant(),)

    def view(self, instants: Instants, site: Site, values: Mapping[str, Any]) -> SunView:
        """See :meth:`whichsun.models.geometry.GeometryModel.view`."""
        sun = earth_fixed_sun(instants)
        return sphere_view(sun.position, sun.attitude, site, SUN_RADIUS_KM)


def sphere_view(position: Array, attitude: Array, site: Site, sun_radius_km: Array | float) -> SunView:
    """SunView of a Sun at `position` from sites on the ellipsoid.

    Parameters
    ----------
    position : ndarray, shape (..., 3)
        km from the Earth's centre in the Earth-fixed frame, apparent.
    attitude : ndarray, shape (..., 3, 3)
        Columns are body axes in the Earth-fixed frame.
    site : Site
        Its axes broadcast with the leading ones of `position`.
    sun_radius_km : float or ndarray
    """
    axes, place, velocity = site_frame(site)
    towards = position - place
    distance_km = np.sqrt(dot(towards, towards))
    towards /= distance_km[..., None]
    towards += velocity
    towards /= np.sqrt(dot(towards, towards))[..., None]
    direction = np.matmul(axes, towards[..., None])[..., 0]
    radius = np.broadcast_to(np.asarray(sun_radius_km, dtype=float), distance_km.shape)
    return SunView(
        direction=direction,
        distance=distance_km / radius,
        attitude=np.broadcast_to(axes @ attitude, (*distance_km.shape, 3, 3)),
        celestial_north=np.broadcast_to(axes[..., :, 2], direction.shape),
        sun_radius_km=radius,
    )

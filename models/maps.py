"""The maps on which a plane may be drawn: any that PROJ knows, by text or by a short name of ours."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyproj
import pyproj.exceptions

from .constants import MAP_RADIUS_KM
from .errors import InputError, UnknownNameError
from .place import Array

SHORT_NAMES = {
    "azimuthal-equidistant": "+proj=aeqd +lat_0=90 +lon_0=0",
    "azimuthal-equidistant-south": "+proj=aeqd +lat_0=-90 +lon_0=0",
    "equal-area": "+proj=laea +lat_0=90 +lon_0=0",
    "equal-area-south": "+proj=laea +lat_0=-90 +lon_0=0",
    "stereographic": "+proj=stere +lat_0=90 +lon_0=0",
    "orthographic": "+proj=ortho +lat_0=90 +lon_0=0",
    "equirectangular": "+proj=eqc +lon_0=0",
    "mercator": "+proj=merc +lon_0=0",
    "sinusoidal": "+proj=sinu +lon_0=0",
}
"""Short names and the PROJ text behind each; the sphere's radius is added where the text names none."""

_FIGURE_KEYS = ("+R=", "+ellps=", "+a=", "+datum=")
_STEP = np.deg2rad(1e-4)


@dataclass(frozen=True)
class PlaneMap:
    """One map of the Earth laid on a plane.

    Parameters
    ----------
    name : str
        The text or short name it was asked by.
    projection : pyproj.Proj
    pole_xy : ndarray of shape (2,) or None
        Image of the map's pole in km; None where a pole is no single point.
    """

    name: str
    projection: pyproj.Proj
    pole_xy: Array | None

    def place(self, latitude: Any, longitude: Any) -> Array:
        """Plane coordinates (..., 2) in km of geographic places in radians; nan off the map."""
        return _forward(self.projection, latitude, longitude)

    def north(self, latitude: Any, longitude: Any) -> Array:
        """Unit vector (..., 2) on the plane in the direction of growing latitude; nan off the map."""
        latitude = np.asarray(latitude, dtype=float)
        above = np.minimum(latitude + _STEP, np.pi / 2)
        below = np.maximum(latitude - _STEP, -np.pi / 2)
        step = self.place(above, longitude) - self.place(below, longitude)
        return step / np.linalg.norm(step, axis=-1, keepdims=True)


@functools.lru_cache(maxsize=128)
def plane_map(text: str) -> PlaneMap:
    """The map called `text`: a short name or a PROJ text such as ``+proj=wintri``.

    Raises
    ------
    UnknownNameError
        Neither a short name nor a PROJ text.
    InputError
        PROJ does not understand the text, or it is no map of the whole plane kind.
    """
    proj_text = SHORT_NAMES.get(text, text)
    if not proj_text.lstrip().startswith("+proj="):
        raise UnknownNameError("map", text, SHORT_NAMES, "or give a PROJ text such as '+proj=wintri'")
    if not any(key in proj_text for key in _FIGURE_KEYS):
        proj_text += f" +R={MAP_RADIUS_KM * 1000:.0f}"
    try:
        projection = pyproj.Proj(proj_text)
    except pyproj.exceptions.ProjError as error:
        reason = " ".join(str(error).split())
        raise InputError("map", f"is no map that PROJ knows ({reason})", text) from None
    if projection.crs.is_geographic:
        raise InputError("map", "must lay the Earth on a plane", text, "a map of angles is none")
    return PlaneMap(text, projection, _pole(projection))


def _forward(projection: pyproj.Proj, latitude: Any, longitude: Any) -> Array:
    lat, lon = np.broadcast_arrays(
        np.rad2deg(np.asarray(latitude, dtype=float)), np.rad2deg(np.asarray(longitude, dtype=float))
    )
    x, y = projection(np.ravel(lon), np.ravel(lat))
    xy = np.stack([np.reshape(x, lat.shape), np.reshape(y, lat.shape)], axis=-1) / 1000
    return np.where(np.isfinite(xy), xy, np.nan)


def _pole(projection: pyproj.Proj) -> Array | None:
    """Image of the pole that is one point; the one nearer the map's centre where both are."""
    longitudes = np.deg2rad([-120.0, -10.0, 100.0])
    found = []
    for latitude in (np.pi / 2, -np.pi / 2):
        images = _forward(projection, latitude, longitudes)
        if np.all(np.isfinite(images)) and np.ptp(images, axis=0).max() < 1e-3:
            found.append(images[0])
    return min(found, key=lambda xy: float(np.hypot(*xy))) if found else None

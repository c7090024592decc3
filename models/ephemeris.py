"""The apparent Sun and its own rotation in an Earth-fixed frame, from ERFA, fast over many instants.

The slow part (Earth's orbit, precession-nutation, light time, aberration, the Sun's rotation) depends on
terrestrial time alone. It is computed by ERFA at Chebyshev nodes of four-day segments and interpolated;
the fast part, the Earth's rotation angle, is added exactly. Polar motion (up to 0.6 arcsec of direction)
and the diurnal wobble of the intermediate origin are left out.

References: IAU SOFA/ERFA routines epv00 (Sun to 0.02 arcsec 1900-2100), c2i06a, ab, era00; IAU working
group on cartographic coordinates for the Sun's axis and prime meridian.
"""

from __future__ import annotations

import functools
import warnings
from dataclasses import dataclass

import erfa
import numpy as np

from .constants import (
    AU_KM,
    EARTH_SPIN_RAD_S,
    LIGHT_KM_S,
    SUN_POLE_DEC_DEG,
    SUN_POLE_RA_DEG,
    SUN_W0_DEG,
    SUN_W_DEG_PER_DAY,
)
from .errors import WhichsunWarning
from .observables import dot
from .place import J2000_JD, Array, Instants, Site

SEGMENT_DAYS = 4.0
NODES = 15
_DAY_S = 86400.0
_ACCURATE_FROM, _ACCURATE_TO = -36524.5, 36525.5


@dataclass(frozen=True)
class EarthFixedSun:
    """The Sun seen from the Earth's centre, in the frame that turns with the Earth.

    Parameters
    ----------
    position : ndarray, shape (..., 3)
        Apparent direction times distance (light time undone), km; x to longitude 0, z to the north pole.
    attitude : ndarray, shape (..., 3, 3)
        Columns are the Sun's body axes, carried along with the aberration of its direction.
    """

    position: Array
    attitude: Array

    @property
    def declination(self) -> Array:
        """Geocentric declination of the subsolar point, radians."""
        return np.arctan2(self.position[..., 2], np.hypot(self.position[..., 0], self.position[..., 1]))

    @property
    def longitude(self) -> Array:
        """Longitude of the subsolar point, east positive, radians."""
        return np.arctan2(self.position[..., 1], self.position[..., 0])


def earth_fixed_sun(instants: Instants) -> EarthFixedSun:
    """The apparent Sun for `instants`, arrays of their shape; interpolated where that saves work.

    It is kept with the instants: asking again for the same ones costs nothing.
    """
    known = vars(instants).get("_sun")
    if known is not None:
        return known
    tt = np.ravel(instants.tt_days)
    if np.any((tt < _ACCURATE_FROM) | (tt > _ACCURATE_TO)):
        warnings.warn(
            "outside the years 1900 to 2100 the Sun's place is good to arcminutes only",
            WhichsunWarning,
            stacklevel=3,
        )
    table = _interpolated(tt)
    position, attitude = table[:, :3], table[:, 3:].reshape(-1, 3, 3)
    angle = erfa.era00(J2000_JD, np.ravel(instants.ut1_days))
    cos, sin = np.cos(angle), np.sin(angle)
    shape = instants.shape
    sun = EarthFixedSun(
        _turn_to_earth(cos, sin, position).reshape(*shape, 3),
        _turn_to_earth(cos[:, None], sin[:, None], attitude.transpose(0, 2, 1))
        .transpose(0, 2, 1)
        .reshape(*shape, 3, 3),
    )
    object.__setattr__(instants, "_sun", sun)
    return sun


def celestial_sun(tt_days: Array) -> Array:
    """Directly from ERFA, in the celestial intermediate frame of date.

    Parameters
    ----------
    tt_days : ndarray, shape (n,)
        Days of TT from J2000.0.

    Returns
    -------
    ndarray, shape (n, 12)
        Apparent position (km), then the 3x3 attitude row by row.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        heliocentric, barycentric = erfa.epv00(J2000_JD, tt_days)
        light_days = np.linalg.norm(heliocentric["p"], axis=-1) * AU_KM / LIGHT_KM_S / _DAY_S
        then_helio, then_bary = erfa.epv00(J2000_JD, tt_days - light_days)
    natural = then_bary["p"] - then_helio["p"] - barycentric["p"]
    distance_au = np.linalg.norm(natural, axis=-1)
    natural /= distance_au[:, None]
    velocity = barycentric["v"] * (AU_KM / _DAY_S / LIGHT_KM_S)
    speed2 = dot(velocity, velocity)
    apparent = erfa.ab(natural, velocity, np.linalg.norm(heliocentric["p"], axis=-1), np.sqrt(1 - speed2))
    attitude = rotation_between(natural, apparent) @ sun_body_axes(tt_days - light_days)
    to_date = erfa.c2i06a(J2000_JD, tt_days)
    position = np.einsum("nij,nj->ni", to_date, apparent) * (distance_au * AU_KM)[:, None]
    return np.concatenate([position, (to_date @ attitude).reshape(-1, 9)], axis=1)


def sun_body_axes(tdb_days: Array) -> Array:
    """The Sun's body axes as columns in the ICRS, shape (n, 3, 3), by the IAU elements."""
    node = np.deg2rad(SUN_POLE_RA_DEG + 90)
    tilt = np.deg2rad(90 - SUN_POLE_DEC_DEG)
    meridian = np.deg2rad((SUN_W0_DEG + SUN_W_DEG_PER_DAY * np.asarray(tdb_days)) % 360)
    equator_x = np.array([np.cos(node), np.sin(node), 0.0])
    pole = np.array([np.sin(tilt) * np.sin(node), -np.sin(tilt) * np.cos(node), np.cos(tilt)])
    equator_y = np.cross(pole, equator_x)
    cos, sin = np.cos(meridian)[:, None], np.sin(meridian)[:, None]
    x, y = cos * equator_x + sin * equator_y, cos * equator_y - sin * equator_x
    return np.stack([x, y, np.broadcast_to(pole, x.shape)], axis=-1)


def rotation_between(start: Array, end: Array) -> Array:
    """Smallest rotation (..., 3, 3) that carries unit vectors `start` to `end` (not opposite ones)."""
    axis = np.cross(start, end)
    zero = np.zeros(axis.shape[:-1])
    x, y, z = axis[..., 0], axis[..., 1], axis[..., 2]
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=-1).reshape(*axis.shape[:-1], 3, 3)
    cosine = dot(start, end)[..., None, None]
    return np.eye(3) + cross + cross @ cross / (1 + cosine)


def site_frame(site: Site) -> tuple[Array, Array, Array]:
    """Where a site is and how its local frame stands in the Earth-fixed frame, WGS84.

    Returns
    -------
    axes : ndarray, shape (..., 3, 3)
        Rows are east, north and up.
    position : ndarray, shape (..., 3)
        km from the Earth's centre.
    velocity : ndarray, shape (..., 3)
        Of the Earth's rotation, in units of the speed of light (diurnal aberration, up to 0.3 arcsec).
    """
    lat, lon, height = np.broadcast_arrays(site.latitude, site.longitude, site.height_m)
    sin_lat, cos_lat, sin_lon, cos_lon = np.sin(lat), np.cos(lat), np.sin(lon), np.cos(lon)
    zero = np.zeros(lat.shape)
    axes = np.stack(
        [
            np.stack([-sin_lon, cos_lon, zero], axis=-1),
            np.stack([-sin_lat * cos_lon, -sin_lat * sin_lon, cos_lat], axis=-1),
            np.stack([cos_lat * cos_lon, cos_lat * sin_lon, sin_lat], axis=-1),
        ],
        axis=-2,
    )
    position = erfa.gd2gc(1, lon, lat, height) / 1000  # 1: WGS84
    velocity = EARTH_SPIN_RAD_S / LIGHT_KM_S * np.stack([-position[..., 1], position[..., 0], zero], axis=-1)
    return axes, position, velocity


def _turn_to_earth(cos: Array, sin: Array, vectors: Array) -> Array:
    """Turn vectors (..., 3) of the celestial intermediate frame by the Earth rotation angle."""
    x, y = vectors[..., 0], vectors[..., 1]
    return np.stack([cos * x + sin * y, cos * y - sin * x, vectors[..., 2]], axis=-1)


def _interpolated(tt: Array) -> Array:
    """:func:`celestial_sun` by interpolation where fewer nodes than instants are needed."""
    segments = np.floor(tt / SEGMENT_DAYS).astype(int)
    wanted, which = np.unique(segments, return_inverse=True)
    if wanted.size * NODES > tt.size:
        return celestial_sun(tt)
    result = np.empty((tt.size, 12))
    order = np.argsort(which, kind="stable")
    edges = np.searchsorted(which[order], np.arange(wanted.size + 1))
    for number, segment in enumerate(wanted):
        rows = order[edges[number] : edges[number + 1]]
        phase = 2 * (tt[rows] / SEGMENT_DAYS - segment) - 1
        result[rows] = np.polynomial.chebyshev.chebvander(phase, NODES - 1) @ _segment(int(segment))
    return result


@functools.lru_cache(maxsize=4096)
def _segment(index: int) -> Array:
    """Chebyshev coefficients, shape (NODES, 12), of segment `index`."""
    nodes = np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)
    values = celestial_sun((index + (nodes + 1) / 2) * SEGMENT_DAYS)
    basis = np.polynomial.chebyshev.chebvander(nodes, NODES - 1)
    weights = np.full(NODES, 2.0 / NODES)
    weights[0] = 1.0 / NODES
    return weights[:, None] * (basis.T @ values)

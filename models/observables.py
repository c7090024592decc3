"""What can be seen follows from a :class:`SunView` by this code alone, the same for every model.

Disc frame: x to the right (growing azimuth), y up (towards the zenith), unit = limb radius, as the
observer facing the Sun sees it. Vertex angle: from the top of the disc, anticlockwise positive.
All angles in radians here; vectors have their components on the last axis.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .geometry import Array, SunView


class DiscPoints(NamedTuple):
    """Points of the Sun's surface as they stand on the disc.

    Attributes
    ----------
    x, y : ndarray
        Disc frame, limb radii; kept where hidden.
    mu : ndarray
        Cosine of the angle between the surface's normal and the line to the observer far away, -P.s.
    visible : ndarray of bool
        On the side that faces the observer (P.s < -1/d).
    """

    x: Array
    y: Array
    mu: Array
    visible: np.ndarray


def dot(a: Array, b: Array) -> Array:
    """Scalar product over the last axis."""
    return np.einsum("...i,...i->...", a, b)


def wrap_angle(angle: Array) -> Array:
    """Wrap radians to (-pi, pi]."""
    return -((np.pi - np.asarray(angle)) % (2 * np.pi) - np.pi)


def altitude(view: SunView) -> Array:
    """Altitude of the Sun's centre without refraction."""
    return np.arctan2(view.direction[..., 2], np.hypot(view.direction[..., 0], view.direction[..., 1]))


def azimuth(view: SunView) -> Array:
    """Azimuth of the Sun's centre from north through east, 0 to 2 pi."""
    return np.arctan2(view.direction[..., 0], view.direction[..., 1]) % (2 * np.pi)


def semidiameter(view: SunView) -> Array:
    """Angular radius of the disc, asin(1/distance)."""
    return np.arcsin(1 / view.distance)


def disc_axes(direction: Array) -> tuple[Array, Array]:
    """Unit vectors of the disc's right and up in the local frame, each shape (..., 3).

    At the zenith itself, where up has no meaning, azimuth 0 is assumed.
    """
    east, north, up = direction[..., 0], direction[..., 1], direction[..., 2]
    horizontal = np.hypot(east, north)
    safe = np.where(horizontal > 0, horizontal, 1.0)
    sin_az = np.where(horizontal > 0, east / safe, 0.0)
    cos_az = np.where(horizontal > 0, north / safe, 1.0)
    up_axis = np.stack([-up * sin_az, -up * cos_az, horizontal], axis=-1)
    right_axis = np.stack([cos_az, -sin_az, np.zeros_like(up)], axis=-1)
    return right_axis, up_axis


def vertex_angle_of_vector(view: SunView, vector: Array) -> Array:
    """Vertex angle of a direction (..., 3) in the local frame, projected on the plane of the sky."""
    right, up = disc_axes(view.direction)
    return np.arctan2(-dot(vector, right), dot(vector, up))


def north_vertex_angle(view: SunView) -> Array:
    """Vertex angle of the Sun's north pole (P - q for a real sky)."""
    return vertex_angle_of_vector(view, view.attitude[..., :, 2])


def parallactic_angle(view: SunView) -> Array:
    """Parallactic angle q; the celestial north's vertex angle is -q. nan without a celestial north."""
    return -vertex_angle_of_vector(view, view.celestial_north)


def sub_observer_point(view: SunView) -> tuple[Array, Array]:
    """Latitude and longitude (0 to 2 pi) on the Sun of the point under the observer."""
    towards = -np.einsum("...ij,...i->...j", view.attitude, view.direction)
    latitude = np.arcsin(np.clip(towards[..., 2], -1, 1))
    return latitude, np.arctan2(towards[..., 1], towards[..., 0]) % (2 * np.pi)


def body_vector(latitude: Array | float, longitude: Array | float) -> Array:
    """Unit vector in the body frame, shape (..., 3), from latitude and longitude in radians."""
    lat, lon = np.broadcast_arrays(np.asarray(latitude, float), np.asarray(longitude, float))
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)


def project(view: SunView, points: Array) -> DiscPoints:
    """Place surface points on the disc, with perspective.

    Parameters
    ----------
    view : SunView, leading shape (...)
    points : ndarray, shape (n, 3) or (..., n, 3)
        Unit vectors in the body frame; the leading axes broadcast with those of the view.

    Returns
    -------
    DiscPoints with arrays of shape (..., n).

    Notes
    -----
    With P = attitude p, s the direction, d the distance in radii:
    x = (P.r) sqrt(d^2 - 1) / (d + P.s), visible iff P.s < -1/d.
    """
    right, up = disc_axes(view.direction)
    axes = np.stack([right, up, view.direction], axis=-2)
    body_axes = axes @ view.attitude
    components = np.asarray(points, float) @ np.swapaxes(body_axes, -1, -2)
    distance = view.distance[..., None]
    along = components[..., 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        scale = np.sqrt(distance**2 - 1) / (distance + along)
    return DiscPoints(
        components[..., 0] * scale, components[..., 1] * scale, -along, np.asarray(along < -1 / distance)
    )


def unproject(view: SunView, x: Array, y: Array) -> Array:
    """Body-frame unit vectors of the visible surface at disc places (x, y).

    Parameters
    ----------
    view : SunView, leading shape (...)
    x, y : ndarray, shape (..., n)
        Disc frame; the leading axes broadcast with those of the view.

    Returns
    -------
    ndarray, shape (..., n, 3); nan outside the limb.

    Notes
    -----
    Inverse of :func:`project`: with a = (x^2 + y^2)/(d^2 - 1), the near side has
    P.s = (-a d - sqrt(1 - x^2 - y^2))/(1 + a).
    """
    right, up = disc_axes(view.direction)
    axes = np.stack([right, up, view.direction], axis=-2)
    body_axes = axes @ view.attitude
    distance = view.distance[..., None]
    k2 = 1 / (distance**2 - 1)
    rho2 = np.asarray(x) ** 2 + np.asarray(y) ** 2
    with np.errstate(invalid="ignore"):
        along = (-distance * rho2 * k2 - np.sqrt(1 - rho2)) / (1 + rho2 * k2)
    scale = (distance + along) * np.sqrt(k2)
    components = np.stack([x * scale, y * scale, along], axis=-1)
    return components @ body_axes

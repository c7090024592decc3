"""From a model's SunView to what the likelihood needs: body axes of the disc, distance, seen fraction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array, SunView
from ...models.observables import disc_axes, vertex_angle_of_vector
from ...models.place import Site
from .hidden_parts import Hidden, seen_fraction


@dataclass(frozen=True)
class Poses:
    """How the Sun's face stands in each shot, for a batch of `b` trials.

    Attributes
    ----------
    axes : ndarray, shape (b, s, 3, 3)
        Rows are the disc's right, up and the direction away from the observer, in the body frame.
    distance : ndarray, shape (b, s)
        Solar radii.
    seen : ndarray, shape (b,)
        Chance that a random spot is found at all (it does not depend on small rolls).
    """

    axes: Array
    distance: Array
    seen: Array

    def __len__(self) -> int:
        return len(self.distance)

    def __getitem__(self, key: np.ndarray | slice) -> Poses:
        return Poses(self.axes[key], self.distance[key], self.seen[key])


def poses_of(view: SunView, site: Site, equatorial: np.ndarray, hidden: Hidden | None = None) -> Poses:
    """Poses of a view with leading shape (b, s).

    An equatorial mount keeps the picture's up to its polar axis. Where a model has a celestial north,
    that is the axis; where it has none (planes) the mount still stands on the ground as its owner set
    it up, with the axis towards north and as high as the latitude.
    """
    axes = disc_body_axes(view, site, equatorial)
    distance = np.asarray(view.distance, dtype=float)
    return Poses(axes, distance, seen_fraction(axes, distance, hidden))


def disc_body_axes(view: SunView, site: Site, equatorial: np.ndarray) -> Array:
    """Right, up and away of the picture in the body frame, shape (..., s, 3, 3); see :func:`poses_of`."""
    right, up = disc_axes(view.direction)
    axes = np.stack([right, up, view.direction], axis=-2) @ view.attitude
    if not equatorial.any():
        return axes
    lat = np.broadcast_to(site.latitude, np.broadcast_shapes(view.shape, np.shape(site.latitude)))
    ground = np.stack([0 * lat, np.cos(lat), np.sin(lat)], axis=-1)
    polar = np.where(np.isfinite(view.celestial_north), view.celestial_north, ground)
    angle = np.where(equatorial, vertex_angle_of_vector(view, polar), 0.0)
    return rolled(axes, angle)


def rolled(axes: Array, roll: Array) -> Array:
    """Body axes of a picture whose camera is rolled anticlockwise by `roll` (shape of the leading axes)."""
    cos, sin = np.cos(roll)[..., None], np.sin(roll)[..., None]
    right, up = axes[..., 0, :], axes[..., 1, :]
    return np.stack([cos * right + sin * up, cos * up - sin * right, axes[..., 2, :]], axis=-2)

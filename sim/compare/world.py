"""The world that every model is scored in: how spots are found, missed, invented and how they drift.

The numbers are choices, the same for every model; none is fitted to an outcome.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array

FOUND = 0.9  # chance that a spot well inside the disc is found
FULL_RADIUS, LAST_RADIUS = 0.92, 0.98  # the chance falls linearly to 0 between them; no detections beyond
AREA_SOFTNESS = 0.5  # in ln(area), of the limit below which spots are missed
FALSE_RATES = (0.1, 0.3, 1.0, 3.0)  # false detections per shot, averaged over
DRIFT_RAD_PER_DAY = tuple(np.deg2rad(2 * deg) for deg in (0.25, 1.5))  # per axis: 0.25 and 1.5 deg / 12 h
DRIFT_SHARES = (0.9, 0.1)
JITTER_RAD = float(np.deg2rad(0.05))  # per shot and axis
GATE = 7.0  # Mahalanobis distance, with the faster drift, beyond which spots are not matched
_LEAST_OPEN = 0.05
_LEAST_SPOTS_SEEN = 0.5  # real spots per shot at least, where the false rate alone would explain the count


@dataclass(frozen=True)
class Rates:
    """Poisson numbers for each of :data:`FALSE_RATES`.

    Attributes
    ----------
    false : ndarray, shape (f,)
        False detections per shot.
    spots : ndarray, shape (f,)
        Real spots on the whole sphere.
    """

    false: Array
    spots: Array

    @property
    def density(self) -> Array:
        """Real spots per solid angle, (f,)."""
        return self.spots / (4 * np.pi)

    @classmethod
    def from_counts(cls, counts: Array, open_share: float = 1.0) -> Rates:
        """Rates from the number of detections in each shot alone; `open_share` of the discs was not hidden."""
        false = np.array(FALSE_RATES)
        seen = np.maximum(np.mean(counts) - false, _LEAST_SPOTS_SEEN)
        return cls(false, seen / (mean_detection() * max(open_share, _LEAST_OPEN)))


def disc_radius(cos_psi: Array, distance: Array) -> Array:
    """Disc radius of surface points seen at angle psi from the point under the observer; inf if hidden."""
    sin_psi = np.sqrt(np.maximum(1 - cos_psi**2, 0))
    gap = np.maximum(distance - cos_psi, 1e-9)
    radius = sin_psi * np.sqrt(np.maximum(distance**2 - 1, 1e-12)) / gap
    return np.where(cos_psi > 1 / distance, radius, np.inf)


def detection(radius: Array) -> Array:
    """Chance of finding a spot at a disc radius; 0 for inf."""
    return FOUND * np.clip((LAST_RADIUS - radius) / (LAST_RADIUS - FULL_RADIUS), 0, 1)


@functools.cache
def mean_detection() -> float:
    """Mean chance over the whole sphere, far Sun: 1/2 INT D(sin psi) d cos psi."""
    cos = (np.arange(20000) + 0.5) / 20000
    return float(detection(np.sqrt(1 - cos**2)).mean() / 2)


def fibonacci_sphere(n: int) -> Array:
    """Points spread evenly over the unit sphere, shape (n, 3)."""
    i = np.arange(n) + 0.5
    z = 1 - 2 * i / n
    phi = np.pi * (1 + 5**0.5) * i
    rho = np.sqrt(1 - z**2)
    return np.stack([rho * np.cos(phi), rho * np.sin(phi), z], axis=-1)


@functools.cache
def _overlap_table() -> tuple[Array, Array]:
    """Angle between two far observers' sub-observer points, and mean over the sphere of D1 D2."""
    points = fibonacci_sphere(20000)
    angle = np.linspace(0, np.pi, 181)
    first = detection(disc_radius(points[:, 2], np.array(1e9)))
    keep = first > 0
    points, first = points[keep], first[keep]
    axes = np.stack([np.sin(angle), 0 * angle, np.cos(angle)], axis=-1)
    second = detection(disc_radius(points @ axes.T, np.array(1e9)))
    return angle, (first[:, None] * second).sum(0) / 20000


LATTICE = fibonacci_sphere(600)
"""Points over which chances are averaged where no table serves."""
_FAR = 100.0


def seen_fraction(towards: Array, distance: Array) -> Array:
    """Mean over the sphere of 1 - PROD_s (1 - D_s): the chance that a random spot is found at all.

    Parameters
    ----------
    towards : ndarray, shape (b, s, 3)
        Body unit vectors to the observer in each shot.
    distance : ndarray, shape (b, s)
        In solar radii.

    Returns
    -------
    ndarray, shape (b,)

    Notes
    -----
    The spots' own drift between shots is left out (below 1 degree in a day). Two shots of a far Sun
    use a table in the angle between the two points under the observer.
    """
    b, s = distance.shape
    if s == 2 and np.all(distance > _FAR):
        cos = np.clip(np.einsum("bi,bi->b", towards[:, 0], towards[:, 1]), -1, 1)
        angle, overlap = _overlap_table()
        return 2 * mean_detection() - np.interp(np.arccos(cos), angle, overlap)
    result = np.empty(b)
    step = max(1, 2_000_000 // (s * len(LATTICE)))
    for start in range(0, b, step):
        part = slice(start, start + step)
        cos = towards[part] @ LATTICE.T
        missed = 1 - detection(disc_radius(cos, distance[part][..., None]))
        result[part] = 1 - missed.prod(axis=1).mean(axis=-1)
    return result

"""Where on Earth the photos may have been taken, under the distant sphere: a probability band on a map.

To a distant Sun a place on Earth matters in one way only: by the angle at which the Sun's disc stands over the
horizon in every photo. So the photos are fitted once with that angle free, and every place of a grid is weighed by
how well its angles agree. Two photos tell mainly one number, the turn, and so a band across the map; the way the spots
moved with the Sun's own rotation, more photos, or an altitude cut it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array, resolve_values
from ...models.observables import altitude
from ...models.place import Site
from ...models.registry import get_model
from .data import OutingData
from .evidence import integrate
from .latitude import MODEL, weighted_quantiles
from .poses import disc_body_axes
from .problem import Problem, problem_of

LEAST_ALTITUDE_DEG = -1.0  # of the Sun's centre without refraction: a Sun in a photo was up
CONTENTS = (0.68, 0.95)
EARTH_DEG_PER_S = 360.0 / 86400.0
_WORLD_STEP_DEG, _ZOOM_SPAN_DEG, _LOCAL_CELLS = 0.5, 60.0, 240
_MODE_RAD = np.deg2rad(25.0)  # draws of the free angles that lie nearer together are one mode
_LEAST_SHARE = 0.02
_LEAST_EFFECTIVE = 50.0  # draws that carry the angles' means and covariances
_AT_ONCE = 40_000


@dataclass(frozen=True)
class SiteBand:
    """Probability over the map.

    Attributes
    ----------
    latitude_deg : ndarray, shape (m,)
    longitude_deg : ndarray, shape (n,)
        Middles of the cells, growing; beyond +-180 where the region crosses that meridian.
    density : ndarray, shape (m, n)
        Probability per steradian.
    levels : tuple of float
        Densities above which 68 and 95 % of the probability lie.
    step_deg : float
        Side of a cell: a narrower band is drawn about that wide.
    given_deg : (float, float)
        Latitude and longitude in the outing.
    given_content : float
        Share of the probability at higher density than at the given site: 0.5 lies well inside, 0.99 outside.
    latitude_95_deg, longitude_95_deg : (float, float)
        Central 95 % of each by itself.
    """

    latitude_deg: Array
    longitude_deg: Array
    density: Array
    levels: tuple[float, ...]
    step_deg: float
    given_deg: tuple[float, float]
    given_content: float
    latitude_95_deg: tuple[float, float]
    longitude_95_deg: tuple[float, float]

    def to_json(self) -> dict:
        """Keys of the machine-readable output."""
        return {
            "given_deg": list(self.given_deg),
            "given_content": self.given_content,
            "latitude_95_deg": list(self.latitude_95_deg),
            "longitude_95_deg": list(self.longitude_95_deg),
            "contents": list(CONTENTS),
            "cell_deg": self.step_deg,
        }


@dataclass(frozen=True)
class Angles:
    """What the photos say of the angles (s,) beyond those at the given site: normal modes and their shares."""

    share: Array
    middle: Array  # (k, s)
    covariance: Array  # (k, s, s)


def find_site_band(data: OutingData, law: str, rng: np.random.Generator) -> SiteBand:
    """Probability of the site under the distant sphere, from the photos, their times and their level.

    Parameters
    ----------
    data : OutingData
    law : str
        Rotation law of the spots.
    rng : numpy.random.Generator

    Raises
    ------
    InputError
        No photo of known level, or the photos do not tell how the disc turned, or the Sun was nowhere up in all.
    """
    if not data.has_spots:
        hint = "other measurements alone are not drawn on the map"
        raise InputError("photos", "must be at least two, with spots, to draw the site; got none", hint=hint)
    level = np.flatnonzero(np.isfinite(data.roll_sigma) & ~data.equatorial)
    if len(level) < 2:
        hint = "photos by hand or on an equatorial mount tell no site"
        raise InputError("mount", "must be a level tripod for two photos or more to draw the site", hint=hint)
    angles = angles_of(data, law, rng, level)
    given = float(data.site.latitude_deg), float(data.site.longitude_deg)
    step = _WORLD_STEP_DEG
    world = _Grid.of((-90.0, 90.0), (given[1] - 180.0, given[1] + 180.0), step)
    mass = _mass(world, data, law, angles, level)
    spans = world.spans(mass)
    if max(high - low for low, high in spans) < _ZOOM_SPAN_DEG:
        # a closer look: room on both sides as wide as the region itself
        widest = max(max(high - low for low, high in spans), 2 * step)
        ends = [(low - 0.35 * widest, high + 0.35 * widest) for low, high in spans]
        step = max(high - low for low, high in ends) / _LOCAL_CELLS
        world = _Grid.of((max(ends[0][0], -90.0), min(ends[0][1], 90.0)), ends[1], step)
        mass = _mass(world, data, law, angles, level)
    return _band(world, mass, given)


def angles_of(data: OutingData, law: str, rng: np.random.Generator, level: np.ndarray) -> Angles:
    """Fit the photos with every camera's roll free and sum up the rolls of the shots in `level`."""
    model = get_model(MODEL)
    free = replace(data, roll_sigma=np.full(data.n_shots, np.inf), quantities=(), site_sigma_deg=(0.0, 0.0))
    problem = problem_of(model, model.variants[0], free, law)
    evidence = integrate(problem, rng)
    rolls, weight = problem.rolls(evidence.eta)[:, level], evidence.weight / evidence.weight.sum()
    left = np.ones(len(weight), dtype=bool)
    share, middle, covariance = [], [], []
    while weight[left].sum() > _LEAST_SHARE:
        chief = np.flatnonzero(left)[int(np.argmax(weight[left]))]
        gap = _wrapped(rolls - rolls[chief])
        near = left & np.all(np.abs(gap) < _MODE_RAD, axis=1)
        own = weight[near]
        left &= ~near
        if own.sum() < _LEAST_SHARE:
            continue
        mean = (own[:, None] * gap[near]).sum(0) / own.sum()
        away = gap[near] - mean
        share.append(own.sum())
        middle.append(rolls[chief] + mean)
        covariance.append(np.einsum("n,ni,nj->ij", own, away, away) / own.sum())
    if not share or np.sum(share) < 0.5 or evidence.effective < _LEAST_EFFECTIVE:
        raise InputError("photos", "do not tell how the disc turned, so they tell no site")
    shares = np.array(share)
    return Angles(shares / shares.sum(), np.array(middle), np.array(covariance))


def _wrapped(angle: Array) -> Array:
    return (angle + np.pi) % (2 * np.pi) - np.pi


@dataclass(frozen=True)
class _Grid:
    latitude: Array
    longitude: Array
    step: float

    @classmethod
    def of(cls, latitude: tuple[float, float], longitude: tuple[float, float], step: float) -> _Grid:
        def middles(low: float, high: float) -> Array:
            return low + step * (np.arange(max(round((high - low) / step), 1), dtype=np.float64) + 0.5)

        return cls(middles(*latitude), middles(*longitude), step)

    def spans(self, mass: Array) -> list[tuple[float, float]]:
        """Ranges of latitude and longitude that hold all but a ten-thousandth at each side."""
        return [
            (low, high)
            for axis, sums in ((self.latitude, mass.sum(1)), (self.longitude, mass.sum(0)))
            for low, high in [weighted_quantiles(axis, sums, (1e-4, 1 - 1e-4))]
        ]


def _mass(grid: _Grid, data: OutingData, law: str, angles: Angles, level: np.ndarray) -> Array:
    """Probability (m, n) of every cell, sum 1."""
    latitude, longitude = (x.ravel() for x in np.meshgrid(grid.latitude, grid.longitude, indexing="ij"))
    ln_mass = np.concatenate(
        [
            _ln_density(
                latitude[k : k + _AT_ONCE], longitude[k : k + _AT_ONCE], grid.step, data, angles, level
            )
            for k in range(0, len(latitude), _AT_ONCE)
        ]
    )
    if data.quantities:
        likely = np.flatnonzero(ln_mass > ln_mass.max() - 30.0)
        ln_mass[likely] += _ln_quantities(latitude[likely], longitude[likely], data, law)
    if not np.isfinite(ln_mass).any():
        raise InputError(
            "photos", "must show the Sun above the horizon of one place on a sphere at all times"
        )
    mass = np.exp(ln_mass - ln_mass.max()) * np.cos(np.deg2rad(latitude))
    return (mass / mass.sum()).reshape(len(grid.latitude), len(grid.longitude))


def _ln_density(
    latitude: Array, longitude: Array, step: float, data: OutingData, angles: Angles, level: np.ndarray
) -> Array:
    """ln likelihood (n,) of cells of side `step` about places; -inf where the Sun was not up in every photo."""
    here, up = _angles_at(latitude, longitude, data)
    ahead_lat, _ = _angles_at(np.minimum(latitude + 0.05, 90.0), longitude, data)
    ahead_lon, _ = _angles_at(latitude, longitude + 0.05, data)
    slopes = np.stack([_wrapped(ahead - here)[:, level] / 0.05 for ahead in (ahead_lat, ahead_lon)], axis=-1)
    # the cell's own width, and the clock, which moves the sky like a longitude
    clock = data.clock_sigma * EARTH_DEG_PER_S
    spread = slopes * np.array([step, np.hypot(step, np.sqrt(12) * clock)]) / np.sqrt(12)
    added = spread @ np.swapaxes(spread, 1, 2) + np.diag(data.roll_sigma[level] ** 2)
    total = np.full(len(latitude), -np.inf)
    for share, middle, covariance in zip(angles.share, angles.middle, angles.covariance, strict=True):
        whole = added + covariance
        gap = _wrapped(here[:, level] - middle)
        strain = np.einsum("ni,nij,nj->n", gap, np.linalg.inv(whole), gap)
        total = np.logaddexp(total, np.log(share) - 0.5 * strain - 0.5 * np.linalg.slogdet(whole)[1])
    return np.where(up, total, -np.inf)


def _angles_at(latitude: Array, longitude: Array, data: OutingData) -> tuple[Array, np.ndarray]:
    """Angle (n, s) of the disc over the horizon beyond that at the given site, and whether the Sun is up in all."""
    model = get_model(MODEL)
    values = resolve_values(model)
    turning = np.zeros(data.n_shots, dtype=bool)
    site = Site(latitude[:, None], longitude[:, None], data.site.height_m)
    view = model.view(data.instants, site, values)
    axes = disc_body_axes(view, site, turning)
    ground = disc_body_axes(model.view(data.instants, data.site, values), data.site, turning)
    across = np.einsum("nsi,si->ns", axes[:, :, 1], ground[:, 0])
    along = np.einsum("nsi,si->ns", axes[:, :, 1], ground[:, 1])
    up = np.all(np.rad2deg(altitude(view)) > LEAST_ALTITUDE_DEG, axis=-1)
    return np.arctan2(-across, along), up


def _ln_quantities(latitude: Array, longitude: Array, data: OutingData, law: str) -> Array:
    """ln density of the other quantities at places, clock and refraction at their likeliest."""
    model = get_model(MODEL)
    loose = replace(data, site_sigma_deg=(1.0, 1.0))
    problem: Problem = problem_of(model, model.variants[0], loose, law)
    eta = np.zeros((len(latitude), len(problem.nuisances.sigma)))
    for name, value, given in (
        ("latitude", latitude, data.site.latitude_deg),
        ("longitude", longitude, data.site.longitude_deg),
    ):
        place = problem.nuisances.place_of(name)
        assert place is not None
        eta[:, place] = value - given
    parts = [
        problem.ln_quantities(np.full(len(some), 0.5), some)
        for some in (eta[k : k + _AT_ONCE // 20] for k in range(0, len(eta), _AT_ONCE // 20))
    ]
    return np.concatenate(parts)


def _band(grid: _Grid, mass: Array, given: tuple[float, float]) -> SiteBand:
    """Contours and ranges of a grid's probability."""
    area = np.cos(np.deg2rad(grid.latitude))[:, None] * np.deg2rad(grid.step) ** 2
    density = mass / area
    order = np.argsort(-density, axis=None)
    total = np.cumsum(mass.ravel()[order])
    last = len(total) - 1
    levels = tuple(
        float(density.ravel()[order][min(int(np.searchsorted(total, share)), last)]) for share in CONTENTS
    )
    places = [
        int(np.floor((x - axis[0]) / grid.step + 0.5))
        for x, axis in zip(given, (grid.latitude, grid.longitude), strict=True)
    ]
    inside = all(0 <= k < size for k, size in zip(places, density.shape, strict=True))
    at_given = float(density[places[0], places[1]]) if inside else 0.0
    ranges = [
        weighted_quantiles(axis, sums, (0.025, 0.975))
        for axis, sums in ((grid.latitude, mass.sum(1)), (grid.longitude, mass.sum(0)))
    ]
    return SiteBand(
        grid.latitude,
        grid.longitude,
        density,
        levels,
        grid.step,
        given,
        float(mass[density > at_given].sum()),
        (ranges[0][0], ranges[0][1]),
        (ranges[1][0], ranges[1][1]),
    )

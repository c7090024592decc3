"""Drawing made-up outings as measured: the world of inference section 1, the same for every model.

What :mod:`world` says is also what is drawn here: spots uniform on the Sun, their drift, how they are found, missed
and invented. Only the model's SunView differs from model to model.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array, GeometryModel, Variant, view_of
from ...models.observables import project
from ...models.place import Instants, Site
from ..outing import MOUNTS, TRIPOD_ROLL_SIGMA_DEG, Outing, OutingSite, Shot, Spot
from ..rotation import RotationLaw, carry
from . import world
from .contest import Options, variants_of, weights_of
from .data import CLOCK_SIGMA_S
from .problem import Axis

SPOTS_FOUND = 6.0
PLACE_SIGMA = 0.004
FALSE_PER_SHOT = 0.3
_LIMB_PX, _LIMB_SIGMA_PX = 500.0, 0.1  # a well measured limb
RANGES = {
    "spots_found": (0.01, 60.0),
    "place_sigma": (1e-5, 0.5),
    "roll_sigma_deg": (1e-3, 90.0),
    "false_per_shot": (0.0, 50.0),
    "clock_sigma_s": (0.0, 86400.0),
}
"""Least and greatest of each number of a :class:`Design`."""


@dataclass(frozen=True)
class Design:
    """Where and when photos are taken, and how well they are measured.

    Parameters
    ----------
    site : OutingSite
    times_utc : tuple of str
        ISO 8601 with offset, rising.
    spots_found : float
        Mean number of real spots found in a photo of a far Sun.
    place_sigma : float
        Uncertainty of a spot's place, limb radii, each axis.
    roll_sigma_deg : float
        Uncertainty of the camera's level.
    mount : str
        As in an outing; ``hand-held`` has any roll.
    false_per_shot : float
        Mean number of false spots in a photo.
    clock_sigma_s : float
        Of the offset that all times share.

    Raises
    ------
    InputError
        A number is out of range, or the mount unknown.
    """

    site: OutingSite
    times_utc: tuple[str, ...]
    spots_found: float = SPOTS_FOUND
    place_sigma: float = PLACE_SIGMA
    roll_sigma_deg: float = TRIPOD_ROLL_SIGMA_DEG
    mount: str = "level-tripod"
    false_per_shot: float = FALSE_PER_SHOT
    clock_sigma_s: float = CLOCK_SIGMA_S

    def __post_init__(self) -> None:
        for name, (low, high) in RANGES.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise InputError(name, f"must be between {low:g} and {high:g}", value)
        if self.mount not in MOUNTS:
            raise InputError("mount", f"must be one of {', '.join(MOUNTS)}", self.mount)


def draw_truth(
    rng: np.random.Generator, model: GeometryModel, options: Options
) -> tuple[Variant, dict[str, Any]]:
    """A variant by the model's prior shares, and values of its parameters: given, fixed or from their priors.

    Raises
    ------
    InputError
        The model has only variants with free attitudes, which predict nothing.
    """
    variants = variants_of(model, options)
    shares = weights_of(variants)
    if not shares.sum() > 0:
        raise InputError(model.name, "must have a variant that says how the Sun's face is turned")
    variant = variants[rng.choice(len(variants), p=shares / shares.sum())]
    known = {parameter.name: parameter for parameter in model.parameters}
    values = {name: value for name, value in options.given.items() if name in known}
    values |= {
        name: float(Axis.of(known[name]).value(np.array(rng.random())))
        for name in variant.free
        if name not in values
    }
    return variant, {**values, **variant.fixed}


def uniform_points(rng: np.random.Generator, count: int) -> Array:
    """Unit vectors (count, 3), uniform on the sphere."""
    points = rng.standard_normal((count, 3))
    return points / np.linalg.norm(points, axis=1, keepdims=True)


def draw_outing(
    rng: np.random.Generator,
    model: GeometryModel,
    values: Mapping[str, Any],
    design: Design,
    law: RotationLaw,
    *,
    spots: int | None = None,
    points_of: Callable[[np.random.Generator, int], Array] = uniform_points,
    roll_sigmas_deg: Sequence[float] | None = None,
    tilt_deg: Sequence[float] | None = None,
) -> Outing:
    """An outing as measured, under a model.

    Parameters
    ----------
    rng : numpy.random.Generator
    model, values
        The truth: a model and its parameters.
    design : Design
    law : RotationLaw
        By which the spots drift in the body frame.
    spots : int, optional
        On the whole Sun; drawn (Poisson) by the design's `spots_found` where not given.
    points_of : callable, optional
        (rng, count) -> unit vectors (count, 3) in the body frame, the spots' places at the first shot.
    roll_sigmas_deg : sequence of float, optional
        Uncertainty of each shot's roll; the design's for all where not given.
    tilt_deg : sequence of float, optional
        A level blunder of each shot: anticlockwise roll beyond what `roll_sigma_deg` covers.

    Returns
    -------
    Outing
        Its shots may be without spots; then it cannot be scored.
    """
    instants = Instants.from_utc(list(design.times_utc))
    late_s = design.clock_sigma_s * rng.standard_normal() if design.clock_sigma_s else 0.0
    true = Instants.from_utc_days(instants.utc_days + round(late_s, 3) / 86400)
    site = design.site
    view = view_of(model, true, Site(site.latitude_deg, site.longitude_deg, site.height_m), values)
    if spots is None:
        spots = int(rng.poisson(design.spots_found / world.mean_detection()))
    points = points_of(rng, spots)
    slow = rng.random(spots) < world.DRIFT_SHARES[0]
    drift = rng.standard_normal((spots, 3)) * np.where(slow, *world.DRIFT_RAD_PER_DAY)[:, None]
    rolls = roll_sigmas_deg or (design.roll_sigma_deg,) * len(design.times_utc)
    shots = []
    for s, day in enumerate(instants.utc_days - instants.utc_days[0]):
        there = carry(points[None], np.array([day]), law)[0] + drift * day
        there += rng.standard_normal(there.shape) * world.JITTER_RAD
        there /= np.linalg.norm(there, axis=1, keepdims=True)
        disc = project(view[s], there)
        found = disc.visible & (rng.random(spots) < world.detection(np.hypot(disc.x, disc.y)))
        number = rng.poisson(design.false_per_shot)
        radius, angle = np.sqrt(rng.random(number)), 2 * np.pi * rng.random(number)
        x = np.concatenate([disc.x[found], radius * np.cos(angle)])
        y = np.concatenate([disc.y[found], radius * np.sin(angle)])
        roll = _roll(rng, design, rolls[s]) + (0.0 if tilt_deg is None else np.deg2rad(tilt_deg[s]))
        cos, sin = np.cos(roll), np.sin(roll)
        places = np.stack([cos * x + sin * y, cos * y - sin * x], axis=-1)
        places += design.place_sigma * rng.standard_normal(places.shape)
        places = places[np.hypot(*places.T) < world.LAST_RADIUS]
        shots.append(_shot(s, instants.iso()[s], design, rolls[s], places))
    return Outing(site, tuple(shots))


def _roll(rng: np.random.Generator, design: Design, sigma_deg: float) -> float:
    if design.mount == "hand-held":
        return float(rng.uniform(-np.pi, np.pi))
    return float(np.deg2rad(sigma_deg) * rng.standard_normal())


def _shot(number: int, time: str, design: Design, roll_sigma_deg: float, places: Array) -> Shot:
    sigma = design.place_sigma
    return Shot(
        f"shot-{number}.jpg",
        time,
        time_sigma_s=design.clock_sigma_s or None,
        mount=design.mount,
        roll_sigma_deg=None if design.mount == "hand-held" else roll_sigma_deg,
        semi_axes_px=(_LIMB_PX, _LIMB_PX),
        semi_axes_sigma_px=(_LIMB_SIGMA_PX, _LIMB_SIGMA_PX),
        axis_ratio=1.0,
        spots=tuple(Spot(i, float(x), float(y), sigma, sigma) for i, (x, y) in enumerate(places)),
    )

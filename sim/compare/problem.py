"""One variant of one model against one outing: parameters, nuisances, priors and the view they lead to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.stats import norm

from ...models.errors import InputError
from ...models.geometry import Array, GeometryModel, Parameter, SunView, Variant, resolve_values
from ...models.place import Instants, Site
from ..rotation import RotationLaw, rotation_law
from .data import OutingData
from .likelihood import Evaluation, Scene, evaluate, no_spots
from .numeric import ln_t4
from .poses import Poses, disc_body_axes, poses_of
from .quantities_likelihood import ln_densities
from .quantities_predict import forecast

View = Callable[[Instants, dict[str, Array]], SunView]
PRIOR_MAPS: dict[str, tuple[Callable[[Any], Any], Callable[[Any], Any]]] = {
    "uniform": (lambda v: v, lambda w: w),
    "log-uniform": (np.log, np.exp),
    "inverse-uniform": (lambda v: 1 / v, lambda w: 1 / w),
    "sine-uniform": (lambda v: np.sin(np.deg2rad(v)), lambda w: np.rad2deg(np.arcsin(np.clip(w, -1, 1)))),
}


@dataclass(frozen=True)
class Axis:
    """A free parameter in the coordinate in which its prior is uniform, from 0 to 1."""

    name: str
    unit: str
    low: float
    high: float
    prior: str

    @classmethod
    def of(cls, parameter: Parameter) -> Axis:
        """Axis of a model's parameter; its bounds must be finite (or its inverse's)."""
        if parameter.prior not in PRIOR_MAPS or not parameter.is_number:
            known = ", ".join(PRIOR_MAPS)
            raise InputError(
                parameter.name, f"must have one of the priors {known} to be free", parameter.prior
            )
        ends = [PRIOR_MAPS[parameter.prior][0](np.float64(end)) for end in (parameter.low, parameter.high)]
        if not np.all(np.isfinite(ends)):
            raise InputError(
                parameter.name, "must have finite bounds to be free", (parameter.low, parameter.high)
            )
        return cls(parameter.name, parameter.unit, parameter.low, parameter.high, parameter.prior)

    def value(self, unit_coordinate: Array) -> Array:
        """Parameter values at places 0 to 1 of the prior."""
        there, back = PRIOR_MAPS[self.prior]
        ends = there(np.float64(self.low)), there(np.float64(self.high))
        return np.clip(back(ends[0] + (ends[1] - ends[0]) * unit_coordinate), self.low, self.high)


@dataclass(frozen=True)
class Nuisances:
    """Roll and squash of each shot, the clock, a mount's angle, what quantities and an uncertain site add, and
    parameters beyond the first.

    Attributes
    ----------
    sigma : ndarray, shape (k,)
        Prior standard deviations; inf for a uniform prior.
    low, high : ndarray, shape (k,)
        Bounds of the uniform ones.
    periodic : ndarray of bool, shape (k,)
    n_shots : int
    shared : tuple of str
        Names of those between the mount's angle and the further parameters: ``"refraction"`` (standard deviations
        of the logarithm of its strength), ``"latitude"`` and ``"longitude"`` (degrees from the given site).
    """

    sigma: Array
    low: Array
    high: Array
    periodic: np.ndarray
    n_shots: int
    shared: tuple[str, ...] = ()

    @classmethod
    def of(cls, data: OutingData, extra_axes: int) -> Nuisances:
        """Nuisances of an outing and `extra_axes` further parameters (coordinates 0 to 1)."""
        mount = 1 if data.equatorial.any() else 0
        shared = data.shared_sigma
        sigma = np.concatenate(
            [
                data.roll_sigma,
                data.squash_sigma,
                [data.clock_sigma],
                np.full(mount, np.inf),
                list(shared.values()),
                np.full(extra_axes, np.inf),
            ]
        )
        uniform = ~np.isfinite(sigma)
        n = len(sigma) - extra_axes
        periodic = uniform & (np.arange(len(sigma)) < n)
        return cls(
            sigma,
            np.where(periodic, -np.pi, 0.0),
            np.where(periodic, np.pi, np.where(uniform, 1.0, 0.0)),
            periodic,
            data.n_shots,
            tuple(shared),
        )

    @property
    def uniform(self) -> np.ndarray:
        """Which have a uniform prior."""
        return ~np.isfinite(self.sigma)

    @property
    def width(self) -> Array:
        """Standard deviations, those of the uniform ones from their range."""
        return np.where(
            self.uniform, (self.high - self.low) / np.sqrt(12), np.where(self.uniform, 1, self.sigma)
        )

    @property
    def clock(self) -> int:
        """Place of the clock offset (seconds)."""
        return 2 * self.n_shots

    @property
    def mount(self) -> int | None:
        """Place of the mount's angle, None without equatorial mounts."""
        place = self.clock + 1
        return place if place < len(self.sigma) and self.periodic[place] else None

    @property
    def first_extra(self) -> int:
        """Place of the first parameter beyond the scanned one."""
        return self._first_shared + len(self.shared)

    @property
    def _first_shared(self) -> int:
        return self.clock + (1 if self.mount is None else 2)

    def place_of(self, name: str) -> int | None:
        """Place of one of `shared`, None where it is not there."""
        return self._first_shared + self.shared.index(name) if name in self.shared else None

    @property
    def moving(self) -> list[int]:
        """Places of those that change the model's view or what is seen of it, apart from roll, squash and mount."""
        return [self.clock, *range(self._first_shared, len(self.sigma))]

    def name_of(self, place: int) -> str:
        """``"clock"``, one of `shared`, or ``""``."""
        if place == self.clock:
            return "clock"
        index = place - self._first_shared
        return self.shared[index] if 0 <= index < len(self.shared) else ""

    def ln_prior(self, eta: Array) -> Array:
        """ln density at eta (b, k); -inf outside the bounds of what is not periodic."""
        return self.ln_priors(eta).sum(-1)

    def ln_priors(self, eta: Array) -> Array:
        """The parts of :meth:`ln_prior`, (b, k)."""
        sigma = np.where(self.uniform, 1.0, self.sigma)
        each = np.where(
            self.uniform,
            -np.log(self.high - self.low + ~self.uniform),
            norm.logpdf(eta / sigma) - np.log(sigma),
        )
        outside = self.uniform & ~self.periodic & ((eta < self.low) | (eta > self.high))
        return np.where(outside, -np.inf, each)

    def draw(self, unit: Array) -> Array:
        """Prior draws from uniform numbers (b, k)."""
        sigma = np.where(self.uniform, 1.0, self.sigma)
        return np.where(self.uniform, self.low + (self.high - self.low) * unit, norm.ppf(unit) * sigma)

    def wrapped(self, eta: Array) -> Array:
        """eta with the periodic ones brought to -pi ... pi."""
        return np.where(self.periodic, (eta + np.pi) % (2 * np.pi) - np.pi, eta)

    def inside(self, eta: Array) -> Array:
        """eta with the bounded ones brought inside their bounds."""
        bounded = self.uniform & ~self.periodic
        return np.where(bounded, np.clip(eta, self.low, self.high), eta)


@dataclass(frozen=True)
class Problem:
    """Everything needed to evaluate one variant: see :func:`problem_of` and :meth:`evaluate`.

    Attributes
    ----------
    data : OutingData
    scene : Scene
    view : callable
        (instants (b, s), values of the free parameters (b, 1)) -> SunView (b, s).
    axes : tuple of Axis
        Free parameters; the first is scanned, the others are nuisances with uniform priors.
    site : Site
    """

    data: OutingData
    scene: Scene
    view: View
    axes: tuple[Axis, ...]
    site: Site
    nuisances: Nuisances = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "nuisances", Nuisances.of(self.data, max(len(self.axes) - 1, 0)))

    def values(self, u: Array, eta: Array) -> dict[str, Array]:
        """Free parameters by name, each (b, 1), at scan places u (b,) and nuisances eta (b, k).

        Where the site is uncertain, its own latitude and longitude under the names of `SITE_VALUES` too.
        """
        first = self.nuisances.first_extra
        places = [u, *(eta[:, first + i] for i in range(len(self.axes) - 1))]
        found = {
            axis.name: axis.value(place)[:, None] for axis, place in zip(self.axes, places, strict=False)
        }
        for name, given, reach in (
            ("latitude", self.site.latitude_deg, 90.0),
            ("longitude", self.site.longitude_deg, 360.0),
        ):
            place = self.nuisances.place_of(name)
            if place is not None:
                found[SITE_VALUES[name]] = np.clip(given + eta[:, place], -reach, reach)[:, None]
        return found

    def view_of(self, instants: Instants, values: dict[str, Array], rows: int | None = None) -> SunView:
        """The view spread out to instants (b, t); with `rows` to (rows or more, t) for instants (t,)."""
        view = self.view(instants, values)
        shape = instants.shape if rows is None else (rows, *instants.shape)
        parts = (
            (view.direction, (3,)),
            (view.distance, ()),
            (view.attitude, (3, 3)),
            (view.celestial_north, (3,)),
            (view.sun_radius_km, ()),
        )
        if rows is not None:
            own = (part.shape[: part.ndim - len(tail)] for part, tail in parts)
            shape = np.broadcast_shapes(shape, *own)
        if all(part.shape == (*shape, *tail) for part, tail in parts):
            return view
        return SunView(*(np.broadcast_to(part, (*shape, *tail)) for part, tail in parts))

    def _view_at(self, u: Array, eta: Array) -> tuple[SunView, Site]:
        values = self.values(u, eta)
        clock = eta[:, self.nuisances.clock, None] / 86400
        utc = self.data.instants.utc_days + clock
        moved = Instants(utc, self.data.instants.ut1_days + clock, self.data.instants.tt_days + clock)
        return self.view_of(moved, values), site_at(self.site, values)

    def poses(self, u: Array, eta: Array) -> Poses:
        """Poses at scan places and nuisances (clock and further parameters; roll and squash apart)."""
        if self.data.n_shots == 0:
            return Poses(np.empty((len(u), 0, 3, 3)), np.empty((len(u), 0)), np.zeros(len(u)))
        view, site = self._view_at(u, eta)
        return poses_of(view, site, self.data.equatorial, self.data.hidden)

    def axes_at(self, u: Array, eta: Array) -> Array:
        """Only the body axes of :meth:`poses`, (b, s, 3, 3)."""
        if self.data.n_shots == 0:
            return np.empty((len(u), 0, 3, 3))
        view, site = self._view_at(u, eta)
        return disc_body_axes(view, site, self.data.equatorial)

    def rolls(self, eta: Array) -> Array:
        """Total roll of each shot, (b, s)."""
        roll = eta[:, : self.data.n_shots]
        mount = self.nuisances.mount
        return roll if mount is None else roll + np.where(self.data.equatorial, eta[:, mount, None], 0.0)

    def squashes(self, eta: Array) -> Array:
        """ln stretch of y of each shot, (b, s)."""
        return eta[:, self.data.n_shots : 2 * self.data.n_shots]

    def evaluate(
        self, u: Array, eta: Array, poses: Poses | None = None, *, keep: bool = False, rough: bool = False
    ) -> Evaluation:
        """ln likelihood of spots at scan places u (b,) and nuisances eta (b, k); 0 where no spots are data."""
        if not self.data.has_spots:
            return no_spots(len(u), len(self.scene.rates.false))
        poses = self.poses(u, eta) if poses is None else poses
        return evaluate(self.scene, poses, self.rolls(eta), self.squashes(eta), keep=keep, rough=rough)

    def ln_limbs(self, poses: Poses) -> Array:
        """ln density of the ratios of the limb's radii, (b,)."""
        total = np.zeros(len(poses))
        ln_radius = -0.5 * np.log(poses.distance**2 - 1)
        for ratio in self.data.limb_ratios:
            expected = ln_radius[:, ratio.shot] - ln_radius[:, 0]
            total += ln_t4((ratio.value - expected) / ratio.sigma) - np.log(ratio.sigma)
        return total

    def ln_quantities(self, u: Array, eta: Array) -> Array:
        """ln density of the measured quantities at scan places and nuisances, (b,)."""
        return ln_densities(self.data.quantities, forecast(self, u, eta)).sum(1)

    def ln_whole(self, u: Array, eta: Array, poses: Poses | None = None) -> Array:
        """ln likelihood of everything measured: spots, limbs and quantities, (b,)."""
        poses = self.poses(u, eta) if poses is None else poses
        total = self.evaluate(u, eta, poses).ln_like + self.ln_limbs(poses)
        return total + self.ln_quantities(u, eta) if self.data.quantities else total


SITE_VALUES = {"latitude": "site_latitude_deg", "longitude": "site_longitude_deg"}


def site_at(site: Site, values: Mapping[str, Any]) -> Site:
    """The site with the latitude and longitude that `values` holds for it."""
    latitude = values.get("latitude_deg", values.get(SITE_VALUES["latitude"]))
    longitude = values.get(SITE_VALUES["longitude"])
    if latitude is None and longitude is None:
        return site
    return Site(
        site.latitude_deg if latitude is None else latitude,
        site.longitude_deg if longitude is None else longitude,
        site.height_m,
    )


def problem_of(
    model: GeometryModel, variant: Variant, data: OutingData, law: str, given: Mapping[str, Any] | None = None
) -> Problem:
    """Problem of a model's variant; parameters in `given` are held, the variant's free ones integrated.

    A given parameter that the variant fixes otherwise is ignored for it; one that is free is held. What only an
    absolute angular size makes active is held at its default without one.
    """
    known = {p.name: p for p in model.parameters}
    given = {name: value for name, value in (given or {}).items() if name in known}
    held = resolve_values(model, {**given, **variant.fixed})
    active = (*variant.free, *(variant.free_with_size if data.has_size else ()))
    free = tuple(Axis.of(known[name]) for name in active if name not in given)

    def view(instants: Instants, values: dict[str, Array]) -> SunView:
        here = {name: value for name, value in values.items() if name in SITE_VALUES.values()}
        own = {name: value for name, value in values.items() if name not in here}
        return model.view(instants, site_at(data.site, here), {**held, **own})

    chosen: RotationLaw = rotation_law("rigid" if variant.rigid else law)
    return Problem(data, Scene.of(data, chosen), view, free, data.site)

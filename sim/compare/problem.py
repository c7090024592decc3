"""One variant of one model against one outing: parameters, nuisances, priors and the view they lead to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.special import gammaln
from scipy.stats import norm

from ...models.errors import InputError
from ...models.geometry import Array, GeometryModel, Parameter, SunView, Variant, resolve_values
from ...models.place import Instants, Site
from ..rotation import RotationLaw, rotation_law
from .data import OutingData
from .likelihood import Evaluation, Scene, evaluate
from .poses import Poses, disc_body_axes, poses_of

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
    """Roll and squash of each shot, the clock, a mount's angle, and parameters beyond the first.

    Attributes
    ----------
    sigma : ndarray, shape (k,)
        Prior standard deviations; inf for a uniform prior.
    low, high : ndarray, shape (k,)
        Bounds of the uniform ones.
    periodic : ndarray of bool, shape (k,)
    n_shots : int
    """

    sigma: Array
    low: Array
    high: Array
    periodic: np.ndarray
    n_shots: int

    @classmethod
    def of(cls, data: OutingData, extra_axes: int) -> Nuisances:
        """Nuisances of an outing and `extra_axes` further parameters (coordinates 0 to 1)."""
        mount = 1 if data.equatorial.any() else 0
        sigma = np.concatenate(
            [data.roll_sigma, data.squash_sigma, [data.clock_sigma], np.full(mount + extra_axes, np.inf)]
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
        return self.clock + (1 if self.mount is None else 2)

    def ln_prior(self, eta: Array) -> Array:
        """ln density at eta (b, k); -inf outside the bounds of what is not periodic."""
        sigma = np.where(self.uniform, 1.0, self.sigma)
        each = np.where(
            self.uniform,
            -np.log(self.high - self.low + ~self.uniform),
            norm.logpdf(eta / sigma) - np.log(sigma),
        )
        outside = self.uniform & ~self.periodic & ((eta < self.low) | (eta > self.high))
        return np.where(outside, -np.inf, each).sum(-1)

    def draw(self, unit: Array) -> Array:
        """Prior draws from uniform numbers (b, k)."""
        sigma = np.where(self.uniform, 1.0, self.sigma)
        return np.where(self.uniform, self.low + (self.high - self.low) * unit, norm.ppf(unit) * sigma)

    def wrapped(self, eta: Array) -> Array:
        """eta with the periodic ones brought to -pi ... pi."""
        return np.where(self.periodic, (eta + np.pi) % (2 * np.pi) - np.pi, eta)


def ln_t4(residual: Array) -> Array:
    """ln density of Student's t with 4 degrees of freedom."""
    return gammaln(2.5) - gammaln(2.0) - 0.5 * np.log(4 * np.pi) - 2.5 * np.log1p(residual**2 / 4)


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
        """Free parameters by name, each (b, 1), at scan places u (b,) and nuisances eta (b, k)."""
        first = self.nuisances.first_extra
        places = [u, *(eta[:, first + i] for i in range(len(self.axes) - 1))]
        return {axis.name: axis.value(place)[:, None] for axis, place in zip(self.axes, places, strict=False)}

    def _view_at(self, u: Array, eta: Array) -> tuple[SunView, Site]:
        values = self.values(u, eta)
        clock = eta[:, self.nuisances.clock, None] / 86400
        utc = self.data.instants.utc_days + clock
        moved = Instants(utc, self.data.instants.ut1_days + clock, self.data.instants.tt_days + clock)
        view = self.view(moved, values)
        if view.shape != utc.shape:
            shape = utc.shape
            view = SunView(
                np.broadcast_to(view.direction, (*shape, 3)),
                np.broadcast_to(view.distance, shape),
                np.broadcast_to(view.attitude, (*shape, 3, 3)),
                np.broadcast_to(view.celestial_north, (*shape, 3)),
                np.broadcast_to(view.sun_radius_km, shape),
            )
        latitude = values.get("latitude_deg")
        site = self.site if latitude is None else Site(latitude, self.site.longitude_deg, self.site.height_m)
        return view, site

    def poses(self, u: Array, eta: Array) -> Poses:
        """Poses at scan places and nuisances (clock and further parameters; roll and squash apart)."""
        view, site = self._view_at(u, eta)
        return poses_of(view, site, self.data.equatorial, self.data.hidden)

    def axes_at(self, u: Array, eta: Array) -> Array:
        """Only the body axes of :meth:`poses`, (b, s, 3, 3)."""
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
        """ln likelihood of spots at scan places u (b,) and nuisances eta (b, k)."""
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


def problem_of(
    model: GeometryModel, variant: Variant, data: OutingData, law: str, given: Mapping[str, Any] | None = None
) -> Problem:
    """Problem of a model's variant; parameters in `given` are held, the variant's free ones integrated.

    A given parameter that the variant fixes otherwise is ignored for it; one that is free is held.
    """
    known = {p.name: p for p in model.parameters}
    given = {name: value for name, value in (given or {}).items() if name in known}
    held = resolve_values(model, {**given, **variant.fixed})
    free = tuple(Axis.of(known[name]) for name in variant.free if name not in given)

    def view(instants: Instants, values: dict[str, Array]) -> SunView:
        return model.view(instants, data.site, {**held, **values})

    chosen: RotationLaw = rotation_law("rigid" if variant.rigid else law)
    return Problem(data, Scene.of(data, chosen), view, free, data.site)

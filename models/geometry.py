"""The ground floor: what a geometry model answers, in which frame, with which parameters.

Frames (all right-handed)
    local: east, north, up at the site (geodetic vertical).
    body: z = north pole of the Sun's rotation, x = prime meridian, longitude grows with the rotation.

A model answers one question, vectorised over instants, sites and parameter values by numpy's rules of
broadcasting: its :class:`SunView`. It knows nothing of spots, photos, cameras or statistics.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from .errors import InputError, UnknownNameError
from .place import Instants, Site

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Parameter:
    """One number or choice that a model needs.

    Parameters
    ----------
    name : str
        Name with its unit, such as ``height_km``.
    unit : str
        Unit in words, ``""`` for a choice.
    default : float or str
        Used when nothing is given.
    low, high : float
        Bounds of a number (inclusive), also those of the prior.
    prior : str
        ``"uniform"``, ``"log-uniform"``, ``"inverse-uniform"`` (uniform in 1/value) or ``"choice"``.
    meaning : str
        One plain sentence for the person.
    choices : tuple of str
        Short names of a choice; empty where any text goes (the model checks it).
    source : str
        Where default or prior come from.
    """

    name: str
    unit: str
    default: float | str
    low: float = -math.inf
    high: float = math.inf
    prior: str = "uniform"
    meaning: str = ""
    choices: tuple[str, ...] = ()
    source: str = ""

    @property
    def is_number(self) -> bool:
        """Whether the parameter is a number (False: a choice or text)."""
        return not isinstance(self.default, str)

    def check(self, value: Any) -> Any:
        """Return `value` as float array, float or str after checking it; raise :class:`InputError`."""
        if self.is_number:
            return self._check_number(value)
        if not isinstance(value, str):
            raise InputError(self.name, "must be text", value)
        if self.choices and value not in self.choices:
            raise UnknownNameError(f"value of '{self.name}'", value, self.choices)
        return value

    def _check_number(self, value: Any) -> Any:
        try:
            number = np.asarray(value, dtype=float)
        except (TypeError, ValueError):
            raise InputError(self.name, "must be a number", value) from None
        wrong = ~(np.isfinite(number) & (number >= self.low) & (number <= self.high))
        if np.any(wrong):
            rule = f"must be between {self.low:g} and {self.high:g} {self.unit}".rstrip()
            raise InputError(self.name, rule, float(number[wrong].flat[0]))
        return float(number) if number.ndim == 0 else number


@dataclass(frozen=True)
class Variant:
    """One way in which a model enters the contest.

    Parameters
    ----------
    name : str
        What the person reads, such as ``facing-pole``; ``""`` for a model without variants.
    fixed : mapping
        Parameter values that make the variant (a map, a face rule).
    free : tuple of str
        Names of the parameters that are integrated over their priors.
    rigid : bool
        Spots keep their place in the body frame instead of following the rotation law.
    attitude_free : bool
        The attitude of every shot is unconstrained; such a variant speaks as a third voice.
    group : str
        Variants of one group share one prior weight (a face rule with and without drift).
    free_with_size : tuple of str
        Names of parameters that are integrated only where an absolute angular size was measured; without one
        nothing depends on them.
    """

    name: str = ""
    fixed: Mapping[str, Any] = field(default_factory=dict)
    free: tuple[str, ...] = ()
    rigid: bool = False
    attitude_free: bool = False
    group: str = ""
    free_with_size: tuple[str, ...] = ()


@dataclass(frozen=True)
class SunView:
    """The Sun as seen from a site at an instant; arrays of one common leading shape.

    Parameters
    ----------
    direction : ndarray, shape (..., 3)
        Unit vector site -> Sun's centre in the local frame, apparent, without refraction.
    distance : ndarray, shape (...)
        Distance to the Sun's centre in radii of that model's Sun (> 1).
    attitude : ndarray, shape (..., 3, 3)
        Columns are the body axes in the local frame; nan where a model leaves them free.
    celestial_north : ndarray, shape (..., 3)
        Unit vector to the celestial north pole in the local frame; nan where there is none.
    sun_radius_km : ndarray, shape (...)
        Radius of that model's Sun.
    """

    direction: Array
    distance: Array
    attitude: Array
    celestial_north: Array
    sun_radius_km: Array

    @property
    def shape(self) -> tuple[int, ...]:
        """Common leading shape."""
        return self.distance.shape

    def __getitem__(self, key: Any) -> SunView:
        """Index the leading axes; an ellipsis stands for leading axes too."""
        key = key if isinstance(key, tuple) else (key,)
        if any(part is Ellipsis for part in key):
            at = next(i for i, part in enumerate(key) if part is Ellipsis)
            filled = self.distance.ndim - sum(part is not None for part in key) + 1
            key = (*key[:at], *[slice(None)] * filled, *key[at + 1 :])
        return SunView(
            self.direction[key],
            self.distance[key],
            self.attitude[key],
            self.celestial_north[key],
            self.sun_radius_km[key],
        )


@runtime_checkable
class GeometryModel(Protocol):
    """What a geometry has to offer to take part; see DEVELOPERS.md for a worked example."""

    @property
    def name(self) -> str:
        """Short name, words joined by hyphens."""
        ...

    @property
    def summary(self) -> str:
        """One plain sentence."""
        ...

    @property
    def parameters(self) -> tuple[Parameter, ...]:
        """All parameters, each with its default."""
        ...

    @property
    def variants(self) -> tuple[Variant, ...]:
        """How the model enters the contest; one or more."""
        ...

    def view(self, instants: Instants, site: Site, values: Mapping[str, Any]) -> SunView:
        """Answer for `instants`, `site` and numeric `values`, broadcast against each other.

        `values` holds every parameter of the model, checked by :func:`resolve_values`.
        The last axis is time; where a rule speaks of "the first instant" it means the first along it.
        """
        ...


def resolve_values(model: GeometryModel, given: Mapping[str, Any] | None = None) -> dict[str, Any]:
    """All parameter values of `model`: the given ones, checked, and defaults for the rest.

    Raises
    ------
    UnknownNameError
        A given name is no parameter of the model.
    InputError
        A value is out of bounds or of the wrong kind.
    """
    given = given or {}
    known = {parameter.name: parameter for parameter in model.parameters}
    for name in given:
        if name not in known:
            raise UnknownNameError(f"parameter of {model.name}", name, known)
    return {name: p.check(given[name]) if name in given else p.default for name, p in known.items()}


def view_of(
    model: GeometryModel, instants: Instants, site: Site, given: Mapping[str, Any] | None = None
) -> SunView:
    """:meth:`GeometryModel.view` with the values resolved and checked first."""
    return model.view(instants, site, resolve_values(model, given))

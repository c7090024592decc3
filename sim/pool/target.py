"""The summed log-likelihood of a block of rows: the one piece of work that is shared out to workers."""

from __future__ import annotations

import functools
import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...models.geometry import Array, GeometryModel, SunView, Variant, resolve_values
from ...models.place import Instants, Site
from ...models.registry import get_model
from ..compare.problem import Axis
from ..rotation import RotationLaw, rotation_law
from .mixture import Prepared, blunders_of, densities
from .predict import Predicted, View, predict_turns
from .submissions import Submissions

_AT_ONCE = 16_384  # rows times parameter values that are held in memory at once
_MOST_KEPT = 32
_KEPT: OrderedDict[str, Prepared] = OrderedDict()
_LOCK = threading.Lock()


@dataclass(frozen=True)
class PoolVariant:
    """One variant of a model as a worker needs it.

    Attributes
    ----------
    model : GeometryModel or str
        The model, or the text by which a worker finds it.
    variant : Variant
    held : mapping
        Values of all parameters; the free ones are replaced.
    axes : tuple of Axis
        The free ones, shared by all people.
    law : str
    """

    model: GeometryModel | str
    variant: Variant
    held: Mapping[str, Any]
    axes: tuple[Axis, ...]
    law: str

    @classmethod
    def of(
        cls,
        model: GeometryModel,
        variant: Variant,
        law: str,
        given: Mapping[str, Any],
        told: str | None = None,
    ) -> PoolVariant:
        """A variant with parameters `given` held; `told` is the text by which to find the model."""
        known = {p.name: p for p in model.parameters}
        given = {name: value for name, value in given.items() if name in known}
        held = resolve_values(model, {**given, **variant.fixed})
        axes = tuple(Axis.of(known[name]) for name in variant.free if name not in given)
        return cls(told or model, variant, held, axes, "rigid" if variant.rigid else law)

    @property
    def geometry(self) -> GeometryModel:
        """The model itself."""
        return _model_told(self.model) if isinstance(self.model, str) else self.model

    @property
    def rotation(self) -> RotationLaw:
        """Drift of the spots."""
        return rotation_law(self.law)

    def values(self, places: Array) -> dict[str, Array]:
        """Free parameters by name, each (p,), at places (p, k) of their priors (0 to 1)."""
        return {axis.name: axis.value(places[:, k]) for k, axis in enumerate(self.axes)}

    def view(self, places: Array) -> View:
        """The model at places (p, k) of its free parameters' priors."""
        free = {name: value[None, :, None] for name, value in self.values(places).items()}
        model, values = self.geometry, {**self.held, **free}

        def view(instants: Instants, site: Site) -> SunView:
            return model.view(instants, site, values)

        return view


@functools.cache
def _model_told(text: str) -> GeometryModel:
    """The model that `text` names; a person's own file is run once in a process."""
    return get_model(text)


@dataclass(frozen=True)
class Work:
    """Rows, variant and points at which to sum their ln likelihoods.

    Attributes
    ----------
    block : str
        Name of these rows, the same for the same rows; "" for rows that are looked at once.
    rows : Submissions
    variant : PoolVariant
    points : ndarray, shape (p, k + 2)
        Places of the free parameters (0 to 1), common offset (rad), ln of the noise scale (ln rad).
    reference : ndarray, shape (k,)
        Where the changes by blunders are worked out.
    """

    block: str
    rows: Submissions
    variant: PoolVariant
    points: Array
    reference: Array


def ln_sums(work: Work) -> Array:
    """Sum over the rows of ln likelihood (per radian), shape (p,)."""
    total = np.zeros(len(work.points))
    for parts, at in _blocks(work, _prepared(work)):
        total[at] = np.log(np.sum(parts, axis=0)).sum(axis=0)
    return total


def row_details(work: Work) -> Array:
    """At the one point of `work`: densities of the components, turn and tilt, shape (rows, 8)."""
    prepared = _prepared(work)
    ((parts, _),) = _blocks(work, prepared)
    found = _predicted(work, prepared, work.points[:, :-2])
    return np.concatenate([*parts, found.turn, found.tilt], axis=1)


def _prepared(work: Work) -> Prepared:
    """Rows with their instants, kept for the blocks that were worked on last: the Sun's places take long."""
    if not work.block:
        return Prepared.of(work.rows)
    with _LOCK:
        known = _KEPT.get(work.block)
    prepared = known or Prepared.of(work.rows)
    with _LOCK:
        _KEPT[work.block] = prepared
        _KEPT.move_to_end(work.block)
        while len(_KEPT) > _MOST_KEPT:
            _KEPT.popitem(last=False)
    return prepared


def _blocks(work: Work, prepared: Prepared) -> Iterator[tuple[list[Array], np.ndarray]]:
    """Densities of the components for some of the points at a time, with the places of those points."""
    k = work.points.shape[1] - 2
    rows = work.rows
    blunders = blunders_of(prepared, work.variant.view(work.reference[None]), work.variant.rotation)
    places, own = np.unique(work.points[:, :k], axis=0, return_inverse=True)
    own = own.ravel()
    order = np.argsort(own, kind="stable")
    step = max(1, _AT_ONCE // max(len(rows), 1))
    for start in range(0, len(order), step):
        at = order[start : start + step]
        low, high = int(own[at[0]]), int(own[at[-1]]) + 1
        here = _predicted(work, prepared, places[low:high]).at((slice(None), own[at] - low))
        yield densities(rows, here, blunders, work.points[at, k], work.points[at, k + 1]), at


def _predicted(work: Work, prepared: Prepared, places: Array) -> Predicted:
    return predict_turns(prepared.plain, work.variant.view(places), work.variant.rotation, len(places))

"""What a model lets every row's turn be, for many values of its parameters at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array, SunView
from ...models.observables import disc_axes, project, unproject, vertex_angle_of_vector, wrap_angle
from ...models.place import Instants, Site
from ..rotation import RotationLaw, carry
from ..turns import axis_turn, moment
from .submissions import KIND_NUMBER, Submissions

View = Callable[[Instants, Site], SunView]
_DRIFT_STEP_DAYS = 2 / 1440
_EDGE = 0.15  # a measured place near the limb is good to about this much of mu: hidden fades over it (choice)


class Predicted(NamedTuple):
    """Turns under a model, shape (rows, parameter values), radians.

    Attributes
    ----------
    turn : ndarray
        Expected turn; where `tilt` is finite the middle of its distribution. nan: no prediction.
    tilt : ndarray
        Tilt of the disc for rows averaged over spots' places, nan for the others.
    seen : ndarray
        Chance that a spot of known place is seen in the second photo at all, 1 for the other rows.
    """

    turn: Array
    tilt: Array
    seen: Array

    def at(self, key: Any) -> Predicted:
        """The same for some rows or values."""
        return Predicted(*(values[key] for values in tuple(self)))


@dataclass(frozen=True)
class Group:
    """Rows that are predicted by one rule: their numbers, themselves, their instants (n, 1, t) and sites."""

    index: np.ndarray
    rule: Callable[[Group, View, RotationLaw], Predicted]
    rows: Submissions
    instants: Instants
    site: Site


def groups_of(rows: Submissions) -> tuple[Group, ...]:
    """The rows by the rule for their kind; made once, it serves many predictions."""
    found = []
    for chosen, rule, steps in (
        (rows.kind == KIND_NUMBER["axis"], _axis, 0.0),
        (rows.kind == KIND_NUMBER["celestial-north"], _drift, [-_DRIFT_STEP_DAYS, _DRIFT_STEP_DAYS]),
        (rows.placed, _placed, 0.0),
        (rows.averaged, _averaged, 0.0),
    ):
        index = np.flatnonzero(chosen)
        if len(index):
            part = rows[index]
            found.append(Group(index, rule, part, part.instants(np.asarray(steps)), part.site()))
    return tuple(found)


def predict_turns(groups: Sequence[Group], view: View, law: RotationLaw, values: int) -> Predicted:
    """Turns of all rows under `view`, which holds `values` parameter values on its second axis.

    Parameters
    ----------
    groups : sequence of Group
        Of :func:`groups_of`.
    view : callable
        (instants (n, 1, t), sites (n, 1, 1)) -> SunView that broadcasts to (n, values, t).
    law : RotationLaw
        Drift of the spots.
    """
    shape = (sum(len(group.index) for group in groups), values)
    result = Predicted(np.full(shape, np.nan), np.full(shape, np.nan), np.ones(shape))
    for group in groups:
        try:
            found = group.rule(group, view, law)
        except InputError:  # no site of these lies on the model's map: it predicts nothing for them
            continue
        for out, new in zip(result, found, strict=True):
            out[group.index] = new
    return result


def mirrored(groups: Sequence[Group]) -> tuple[Group, ...]:
    """The groups with their spots' places mirrored left to right."""
    return tuple(
        replace(group, rows=replace(group.rows, vertex_angle_deg=-group.rows.vertex_angle_deg))
        for group in groups
    )


def shifted(rows: Submissions, hours: Array | float) -> Submissions:
    """The rows with both times moved by `hours`."""
    move = np.asarray(hours) / 24
    return replace(rows, from_day=rows.from_day + move, to_day=rows.to_day + move)


def _axis(group: Group, view: View, law: RotationLaw) -> Predicted:
    seen = view(group.instants, group.site)
    turn = axis_turn(moment(seen, 0), moment(seen, 1))
    return Predicted(turn, np.full(turn.shape, np.nan), np.ones(turn.shape))


def _drift(group: Group, view: View, law: RotationLaw) -> Predicted:
    """Turn of the direction in which the Sun moves: what a row about celestial north was measured by.

    It is the turn of celestial north where a model has one, to a few hundredths of a degree.
    """
    seen = view(group.instants, group.site)
    angles = []
    for first in (0, 2):
        before, after = moment(seen, first), moment(seen, first + 1)
        middle = before.direction + after.direction
        middle = middle / np.linalg.norm(middle, axis=-1, keepdims=True)
        there = replace(before, direction=middle)
        angles.append(vertex_angle_of_vector(there, after.direction - before.direction))
    turn = wrap_angle(angles[1] - angles[0])
    return Predicted(turn, np.full(turn.shape, np.nan), np.ones(turn.shape))


def _placed(group: Group, view: View, law: RotationLaw) -> Predicted:
    seen = view(group.instants, group.site)
    first, second = moment(seen, 0), moment(seen, 1)
    v = np.deg2rad(group.rows.vertex_angle_deg)[:, None, None]
    radius = group.rows.radius[:, None, None]
    points = unproject(first, -radius * np.sin(v), radius * np.cos(v))
    after = project(second, carry(points, group.rows.days[:, None], law))
    turn = wrap_angle(np.arctan2(-after.x, after.y) - v)[..., 0]
    chance = np.clip((after.mu[..., 0] + _EDGE) / _EDGE, 0, 1)
    return Predicted(turn, np.full(turn.shape, np.nan), chance)


def _averaged(group: Group, view: View, law: RotationLaw) -> Predicted:
    """Turn about the line of sight and tilt of the disc, the spots carried by their mean drift."""
    seen = view(group.instants, group.site)
    right, up = disc_axes(seen.direction)
    axes = np.stack([right, up, seen.direction], axis=-2)
    body = axes @ seen.attitude
    a, b = body[..., 0, :, :], body[..., 1, :, :]
    angle = _mean_drift(law) * group.rows.days[:, None, None]
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = cos * b[..., 0] + sin * b[..., 1], cos * b[..., 1] - sin * b[..., 0]
    b = np.stack(np.broadcast_arrays(x, y, b[..., 2]), axis=-1)

    def entry(i: int, j: int) -> Array:
        return np.einsum("...k,...k->...", b[..., i, :], a[..., j, :])

    turn = np.arctan2(entry(1, 0) - entry(0, 1), entry(0, 0) + entry(1, 1))
    tilt = np.arccos(np.clip(entry(2, 2), -1, 1))
    return Predicted(turn, tilt, np.ones(turn.shape))


def _mean_drift(law: RotationLaw) -> float:
    """Drift in the body frame averaged over the sphere, radians a day."""
    places, shares = np.polynomial.legendre.leggauss(8)
    return float(np.sum(law.drift(np.arcsin(places)) * shares) / 2)

"""How far the disc turned between two shots: four turns that are never mixed.

axis: of the Sun's north pole. celestial-north: of the celestial north, what the drift of the Sun measures.
spot: of one spot, which the Sun's own rotation moves too. pattern: the rotation about the disc's centre that
best carries, by least squares, the spots visible in both shots.

All are V2 - V1 wrapped to (-pi, pi], V the vertex angle, anticlockwise positive; nan where not defined.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from ..models.geometry import Array, GeometryModel, SunView, view_of
from ..models.observables import disc_axes, north_vertex_angle, parallactic_angle, project, wrap_angle
from ..models.place import Instants, Site
from .rotation import RotationLaw, carry

LATTICE_POINTS = 8000
_POINTS_AT_ONCE = 500_000
_GOLDEN_ANGLE = np.pi * (3 - np.sqrt(5))
_FINEST_STEP = np.deg2rad(30)
_LONGEST_DAYS = 400.0


class PatternTurn(NamedTuple):
    """Turn of the spot pattern between two shots, arrays of the views' common shape.

    Attributes
    ----------
    turn : ndarray
        Radians, anticlockwise positive; nan where no point stays visible.
    visible_fraction : ndarray
        Share of the face seen in the first shot that is visible in the second.
    scatter : ndarray
        Root mean square distance left after the turn, limb radii.
    """

    turn: Array
    visible_fraction: Array
    scatter: Array


def moment(view: SunView, index: int) -> SunView:
    """The view at one place of its last leading axis (time)."""
    return view[(slice(None),) * (len(view.shape) - 1) + (index,)]


def axis_turn(view_a: SunView, view_b: SunView) -> Array:
    """Turn of the Sun's north pole about the disc's centre."""
    return wrap_angle(north_vertex_angle(view_b) - north_vertex_angle(view_a))


def celestial_north_turn(view_a: SunView, view_b: SunView) -> Array:
    """Turn of the celestial north, the change of -q; nan where a model has none."""
    return wrap_angle(parallactic_angle(view_a) - parallactic_angle(view_b))


def spot_turns(
    view_a: SunView, view_b: SunView, points: Array, days: Array | float, law: RotationLaw
) -> Array:
    """Turns of single spots.

    Parameters
    ----------
    view_a, view_b : SunView, leading shape (...)
    points : ndarray, shape (n, 3) or (..., n, 3)
        Body-frame unit vectors at the first shot.
    days : float or ndarray, shape (...)
        Time from the first to the second shot.
    law : RotationLaw

    Returns
    -------
    ndarray, shape (..., n)
        nan where a spot is hidden in either shot.
    """
    first = project(view_a, points)
    second = project(view_b, carry(points, days, law))
    turn = wrap_angle(np.arctan2(-second.x, second.y) - np.arctan2(-first.x, first.y))
    return np.where(first.visible & second.visible, turn, np.nan)


def face_lattice(view: SunView, count: int = LATTICE_POINTS) -> Array:
    """Points spread evenly (Fibonacci lattice) over the part of the surface that faces the observer.

    Returns
    -------
    ndarray, shape (..., count, 3)
        Body-frame unit vectors.
    """
    steps = np.arange(count)
    share = (steps + 0.5) / count
    mu = 1 - (1 - 1 / view.distance[..., None]) * share
    sin = np.sqrt(1 - mu**2)
    right, up = disc_axes(view.direction)
    axes = np.stack([right, up, view.direction], axis=-2) @ view.attitude
    angle = _GOLDEN_ANGLE * steps
    components = np.stack([sin * np.cos(angle), sin * np.sin(angle), -mu], axis=-1)
    return components @ axes


def pattern_turn(
    view_a: SunView,
    view_b: SunView,
    days: Array | float,
    law: RotationLaw,
    points: Array | None = None,
) -> PatternTurn:
    """Turn of a pattern of spots about the disc's centre, by least squares.

    Parameters
    ----------
    view_a, view_b : SunView, leading shape (...)
    days : float or ndarray, shape (...)
        Time from the first to the second shot.
    law : RotationLaw
    points : ndarray, shape (n, 3) or (..., n, 3), optional
        The spots, body frame at the first shot; default: even over the face seen in the first shot.

    Notes
    -----
    The turn t that minimises the sum of |p2 - R(t) p1|^2 is atan2(sum p1 x p2, sum p1 . p2). Where the
    scatter nears 1 the pattern is turned inside out and its turn means little.
    """
    if points is not None:
        return _pattern_turn(view_a, view_b, days, law, points)
    shape = np.broadcast_shapes(view_a.shape, view_b.shape)
    flat_a, flat_b = _flattened(view_a, shape), _flattened(view_b, shape)
    flat_days = np.broadcast_to(np.asarray(days, dtype=float), shape).reshape(-1)
    block = max(1, _POINTS_AT_ONCE // LATTICE_POINTS)
    parts = []
    for start in range(0, flat_days.size, block):
        here = slice(start, start + block)
        lattice = face_lattice(flat_a[here])
        parts.append(_pattern_turn(flat_a[here], flat_b[here], flat_days[here], law, lattice))
    joined = (np.concatenate(values).reshape(shape) for values in zip(*parts, strict=True))
    return PatternTurn(*joined)


def _flattened(view: SunView, shape: tuple[int, ...]) -> SunView:
    """The view broadcast to `shape` with one leading axis."""

    def flat(values: Array, tail: tuple[int, ...] = ()) -> Array:
        return np.broadcast_to(values, shape + tail).reshape(-1, *tail)

    return SunView(
        flat(view.direction, (3,)),
        flat(view.distance),
        flat(view.attitude, (3, 3)),
        flat(view.celestial_north, (3,)),
        flat(view.sun_radius_km),
    )


def _pattern_turn(
    view_a: SunView, view_b: SunView, days: Array | float, law: RotationLaw, points: Array
) -> PatternTurn:
    first = project(view_a, points)
    second = project(view_b, carry(points, days, law))
    both = first.visible & second.visible
    cross = np.sum((first.x * second.y - first.y * second.x) * both, axis=-1)
    along = np.sum((first.x * second.x + first.y * second.y) * both, axis=-1)
    seen, kept = np.sum(first.visible, axis=-1), np.sum(both, axis=-1)
    squares = np.sum((first.x**2 + first.y**2 + second.x**2 + second.y**2) * both, axis=-1)
    known = (kept > 0) & np.isfinite(cross + along)
    with np.errstate(divide="ignore", invalid="ignore"):
        residual = np.sqrt(np.maximum(squares - 2 * np.hypot(cross, along), 0) / kept)
        fraction = np.where(np.isfinite(squares), kept / seen, np.nan)
    turn = np.where(known, np.arctan2(cross, along), np.nan)
    return PatternTurn(turn, fraction, np.where(known, residual, np.nan))


def unwrapped_turn(
    model: GeometryModel,
    instants: Instants,
    site: Site,
    given: Mapping[str, Any] | None = None,
    angle: Callable[[SunView], Array] = north_vertex_angle,
) -> float:
    """Turn from the first to the last of `instants` followed through all moments between, not wrapped.

    Parameters
    ----------
    model : GeometryModel
    instants : Instants, shape (n,)
    site : Site
        One place.
    given : mapping, optional
        Parameters of the model.
    angle : callable
        The vertex angle to follow; the Sun's north pole by default.

    Returns
    -------
    float
        Radians, anticlockwise positive; nan where the angle is not defined, where the Sun passes through the
        very zenith (both ways are then equal), or beyond 400 days.
    """
    first, last = float(instants.utc_days[0]), float(instants.utc_days[-1])
    if abs(last - first) > _LONGEST_DAYS:
        return float("nan")
    days = np.linspace(first, last, 65 + int(abs(last - first) * 144))

    def follow(extra: Array) -> Array:
        # The first instant leads: rules that speak of "the first instant asked" keep their meaning.
        moments = Instants.from_utc_days(np.append(first, extra))
        return angle(view_of(model, moments, site, given))[1:]

    values = follow(days)
    for _ in range(24):
        steps = wrap_angle(np.diff(values))
        wide = np.flatnonzero(np.abs(steps) > _FINEST_STEP)
        if not len(wide) or not np.all(np.isfinite(values)):
            return float(np.sum(steps))
        middle = (days[wide] + days[wide + 1]) / 2
        values = np.insert(values, wide + 1, follow(middle))
        days = np.insert(days, wide + 1, middle)
    return float("nan")


def turn_in_words(turn_deg: float | None, unwrapped_deg: float | None = None) -> str:
    """A turn as a person reads it: ``61.4 deg clockwise``, and the other way where a model says so.

    Parameters
    ----------
    turn_deg : float or None
        Wrapped, anticlockwise positive; None or nan gives a dash.
    unwrapped_deg : float, optional
        The turn that a model followed from shot to shot: it tells how many whole turns `turn_deg` lacks.
    """
    if turn_deg is None or not np.isfinite(turn_deg):
        return "-"
    words = f"{abs(turn_deg):.1f} deg" + ("" if abs(turn_deg) < 0.05 else f" {_sense(turn_deg)}")
    if unwrapped_deg is None or not np.isfinite(unwrapped_deg):
        return words
    whole = turn_deg + 360 * round((unwrapped_deg - turn_deg) / 360)
    if whole == turn_deg:
        return words
    if whole * turn_deg < 0:
        return f"{words}, or {abs(whole):.1f} deg the other way"
    return f"{words}, or {abs(whole):.1f} deg {_sense(whole)} in all"


def _sense(turn_deg: float) -> str:
    return "anticlockwise" if turn_deg > 0 else "clockwise"

"""From rough places to modes: parabolas through a few points about each, all modes in one round of work."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from ...models.geometry import Array

MOST_SCALE = (0.2, np.deg2rad(2.0), 0.5)  # of a free parameter's place, the offset, ln tau
LEAST_SCALE = 1e-7
_REACH, _LEAST_REACH, _MOST_REACH = 3.0, 0.5, 24.0
_FELL = 0.3  # nats that a move may lead down without being taken back


class Course(NamedTuple):
    """A move towards a parabola's top, to be shortened if it led down.

    Attributes
    ----------
    start : ndarray, shape (D,)
    whole : ndarray, shape (D,)
        Steps to the top along each axis of the parabola.
    axes : ndarray, shape (D, D)
        Columns: one step along each axis, in coordinates.
    reach : float
        Most steps along an axis.
    promise : float
        What the parabola promised for that.
    """

    start: Array
    whole: Array
    axes: Array
    reach: float
    promise: float

    @property
    def end(self) -> Array:
        """Where it leads, shape (D,)."""
        return self.start + self.axes @ np.clip(self.whole, -self.reach, self.reach)

    @property
    def longest(self) -> float:
        """Steps along the axis where it is longest."""
        return min(self.reach, float(np.abs(self.whole).max()))


@dataclass
class Mode:
    """A maximum of the posterior and the normal approximation there.

    Attributes
    ----------
    place : ndarray, shape (D,)
    scale : ndarray, shape (D,)
        Step of the parabola along each coordinate.
    cov : ndarray, shape (D, D)
    height : float
        ln posterior at `place`.
    settled : bool
        Whether the last step changed little.
    gain : float
        What the last parabola promised at its top, however far that was; never less than what was seen.
    reach : float
        Most steps that the next move may take along each axis of the parabola.
    course : Course or None
        The move that led here; `height` and `cov` are still those of its start.
    """

    place: Array
    scale: Array
    cov: Array
    height: float
    settled: bool = False
    gain: float = np.inf
    reach: float = _REACH
    course: Course | None = None

    @property
    def ln_mass(self) -> float:
        """ln of the normal approximation's integral."""
        return self.height + 0.5 * float(np.linalg.slogdet(2 * np.pi * self.cov)[1])


def folded(points: Array, free: int) -> Array:
    """Points whose first `free` coordinates are mirrored at 0 and 1 until they lie inside."""
    inside = points.copy()
    wave = points[:, :free] % 2.0
    inside[:, :free] = np.where(wave > 1, 2 - wave, wave)
    return inside


def most_scale(free: int) -> Array:
    """Largest steps along every coordinate, shape (free + 2,)."""
    return np.concatenate([np.full(free, MOST_SCALE[0]), MOST_SCALE[1:]])


def narrowed(mode: Mode, growth: float) -> Mode:
    """The mode as a start for `growth` times as many rows.

    It gets narrower by the root of that, and so its top may lie many of its new widths away: a parabola that held
    is trusted as far.
    """
    shrink = 1 / np.sqrt(growth)
    scale = np.clip(mode.scale * shrink, LEAST_SCALE, most_scale(len(mode.place) - 2))
    reach = _REACH * max(1.0, 1 / shrink) if mode.settled else _REACH
    return replace(mode, scale=scale, settled=False, reach=reach, height=-np.inf, course=None)


def start_at(place: Array, spacing: Array) -> Mode:
    """A mode to climb from: steps of half the spacing (k,) between the places that were tried."""
    scale = np.concatenate([spacing / 2, MOST_SCALE[1:]])
    return Mode(place, scale, np.diag(scale**2), -np.inf)


def stencil(mode: Mode) -> Array:
    """Points (m, D) of a parabola: the place, one step each way, and two opposite corners for every pair."""
    dim = len(mode.place)
    steps = [np.zeros(dim)]
    for i in range(dim):
        for sign in (1.0, -1.0):
            step = np.zeros(dim)
            step[i] = sign
            steps.append(step)
    for i in range(dim):
        for j in range(i):
            for sign in (1.0, -1.0):
                step = np.zeros(dim)
                step[i] = step[j] = sign
                steps.append(step)
    return mode.place + np.array(steps) * mode.scale


def climbed(mode: Mode, points: Array, values: Array, bounds: Array) -> Mode:
    """The mode moved to the parabola's top, by `mode.reach` steps at most along each of its axes.

    A move that led down is taken back to a quarter of it; after one that was cut short and rose as it should, the next
    may be twice as long.

    Parameters
    ----------
    points, values : ndarray, shapes (m, D), (m,)
        Of :func:`stencil`, with ln posterior.
    bounds : ndarray, shape (D,)
        Largest scales.
    """
    dim = len(mode.place)
    course, reach = mode.course, mode.reach
    if course is not None:
        rise = float(values[0]) - mode.height
        if rise < -_FELL:
            course = course._replace(reach=max(course.longest / 4, _LEAST_REACH))
            return replace(mode, place=course.end, reach=course.reach, course=course)
        if course.longest == course.reach and rise >= course.promise / 2:
            reach = min(2 * reach, _MOST_REACH)
    centre, plus, minus = values[0], values[1 : 2 * dim + 1 : 2], values[2 : 2 * dim + 1 : 2]
    gradient = (plus - minus) / 2
    curve = np.diag(plus + minus - 2 * centre)
    corner = iter(values[2 * dim + 1 :])
    for i in range(dim):
        for j in range(i):
            sides = plus[i] + plus[j] + minus[i] + minus[j]
            curve[i, j] = curve[j, i] = (next(corner) + next(corner) - sides + 2 * centre) / 2
    weight, axes = np.linalg.eigh(-curve)
    steady = np.maximum(weight, 0.05)  # where it does not bend down: go on, but carefully
    slope = axes.T @ gradient
    whole = slope / steady
    part = np.clip(whole, -reach, reach)
    step = axes @ part
    promise = float(slope @ part - steady @ part**2 / 2)
    best = int(np.argmax(values))
    surprised = values[best] > centre + 3 * max(float(gradient @ step) / 2, 0.5)
    course = None if surprised else Course(mode.place, whole, mode.scale[:, None] * axes, reach, promise)
    place = points[best] if course is None else course.end
    cov = (axes / steady) @ axes.T * np.outer(mode.scale, mode.scale)
    wanted = np.sqrt(np.diag(cov))
    scale = np.clip(np.clip(wanted, mode.scale / 4, mode.scale * 3), LEAST_SCALE, bounds)
    gain = 0.5 * float(slope @ whole)
    settled = not surprised and bool(np.all(np.abs(np.log(scale / mode.scale)) < 0.5)) and 0 <= gain < 0.3
    height = float(centre) + (gain if settled else 0.0)
    return Mode(place, scale, cov, height, settled, max(gain, float(values[best] - centre)), reach, course)


def distinct(modes: list[Mode], most: int, nats: float) -> list[Mode]:
    """The modes within `nats` of the heaviest, one of each that lie on the same place."""
    kept: list[Mode] = []
    for mode in sorted(modes, key=lambda one: -one.ln_mass):
        if kept and mode.ln_mass < kept[0].ln_mass - nats:
            break
        away = [mode.place - one.place for one in kept]
        near = (step @ np.linalg.solve(one.cov, step) < 4 for step, one in zip(away, kept, strict=True))
        if not any(near):
            kept.append(mode)
    return kept[:most]

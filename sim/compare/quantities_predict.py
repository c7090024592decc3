"""What a model lets the measured quantities be: one code for every model, from its SunView alone."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from ...models.geometry import Array, SunView
from ...models.observables import (
    altitude,
    azimuth,
    disc_axes,
    dot,
    project,
    semidiameter,
    unproject,
    wrap_angle,
)
from ...models.place import Instants
from ..atmosphere import LOWEST_TRUE_DEG, refraction_rad
from ..outing_observables import OF_A_DAY
from ..rotation import carry
from ..turns import axis_turn, face_lattice, moment
from . import world
from .quantities import Quantity

if TYPE_CHECKING:
    from .problem import Problem

CLOUD_POINTS, ROUGH_POINTS = 400, 50
"""Places of an unknown spot over which its turn is averaged; fewer where only a search is steered."""
_DRIFT_DAYS = 1 / 1440  # either way, for the direction of drift
_STEP_H, _REACH_H = 0.5, 24.0
_HOURS = np.arange(-_REACH_H, _REACH_H + _STEP_H / 2, _STEP_H)
_CENTRAL = np.flatnonzero(np.abs(_HOURS) <= 12)
_EVENT_REACH_H = 12.0
_STEEP = np.deg2rad(80.0)
_ROWS_AT_ONCE = 2000


class Forecast(NamedTuple):
    """Predictions for a batch of b trials and q quantities.

    Attributes
    ----------
    value : ndarray, shape (b, q)
        In the unit of :class:`Quantity`; nan where the model has none (a Sun that never sets, a hidden spot). Where
        the spot's place is unknown, the mean over the places.
    spread : ndarray, shape (b, q)
        Standard deviation over the places; 0 for all others.
    clouds : dict of int to (ndarray, ndarray), shape (b, n) each
        For those quantities the turns over the places, degrees, and the places' chances.
    """

    value: Array
    spread: Array
    clouds: dict[int, tuple[Array, Array]]


def forecast(problem: Problem, u: Array, eta: Array, points: int = CLOUD_POINTS) -> Forecast:
    """Predict every quantity of the problem's outing at scan places u (b,) and nuisances eta (b, k)."""
    b = len(u)
    if b <= _ROWS_AT_ONCE:
        return _forecast(problem, u, eta, points)
    starts = range(0, b, _ROWS_AT_ONCE)
    parts = [_forecast(problem, u[s : s + _ROWS_AT_ONCE], eta[s : s + _ROWS_AT_ONCE], points) for s in starts]
    clouds = {
        i: (np.concatenate([p.clouds[i][0] for p in parts]), np.concatenate([p.clouds[i][1] for p in parts]))
        for i in parts[0].clouds
    }
    return Forecast(
        np.concatenate([p.value for p in parts]), np.concatenate([p.spread for p in parts]), clouds
    )


def _forecast(problem: Problem, u: Array, eta: Array, points: int) -> Forecast:
    quantities = problem.data.quantities
    b = len(u)
    value, spread = np.full((b, len(quantities)), np.nan), np.zeros((b, len(quantities)))
    clouds: dict[int, tuple[Array, Array]] = {}
    values = problem.values(u, eta)
    clock = eta[:, problem.nuisances.clock]
    at = _moments(problem, quantities, values, clock)
    for i, one in enumerate(quantities):
        if one.kind not in _CURVES:
            rule = _TURNS[one.given.turn_kind or ""] if one.kind == "turn" else _POINTS[one.kind]
            found = rule(_Asked(one, at[i], _strength(problem, eta, one), problem, points))
            value[:, i] = found[0]
            if len(found) > 1:
                spread[:, i] = found[1]
                clouds[i] = found[2], found[3]
    for centre, group in _by_day(quantities).items():
        day = _Day(problem, centre, values, b)
        for i in group:
            one = quantities[i]
            value[:, i] = _CURVES[one.kind](one, day, clock, _strength(problem, eta, one))
    return Forecast(value, spread, clouds)


def _strength(problem: Problem, eta: Array, one: Quantity) -> Array:
    """Strength (b,) of the refraction that a quantity went through, 1 in standard air."""
    place = problem.nuisances.place_of("refraction")
    return np.exp(one.bend_sigma * (0.0 if place is None else eta[:, place])) * np.ones(len(eta))


# --- at given times ----------------------------------------------------------------------------------------


class _Asked(NamedTuple):
    """One quantity, the view (b, t) at its times, the strength of refraction (b,), places of an unknown spot."""

    one: Quantity
    view: SunView
    strength: Array
    problem: Problem
    points: int


@functools.lru_cache(maxsize=64)
def _base_instants(days: tuple[float, ...]) -> Instants:
    return Instants.from_utc_days(np.array(days))


def _moments(
    problem: Problem, quantities: Sequence[Quantity], values: dict[str, Array], clock: Array
) -> dict[int, SunView]:
    """Views (b, t) of all quantities that belong to given times, by the quantity's place."""
    days: list[float] = []
    where: dict[int, slice] = {}
    for i, one in enumerate(quantities):
        if one.kind in _CURVES:
            continue
        drifts = one.kind == "drift-direction" or one.given.turn_kind == "celestial-north"
        times = [t + s for t in one.days for s in (-_DRIFT_DAYS, _DRIFT_DAYS)] if drifts else list(one.days)
        where[i] = slice(len(days), len(days) + len(times))
        days += times
    if not days:
        return {}
    base, late = _base_instants(tuple(days)), clock[:, None] / 86400
    view = problem.view_of(Instants(base.utc_days + late, base.ut1_days + late, base.tt_days + late), values)
    return {i: view[:, part] for i, part in where.items()}


def _refraction(true_altitude: Array) -> Array:
    """Refraction of standard air, held at its last value where the formula ends; radians."""
    return refraction_rad(np.maximum(true_altitude, np.deg2rad(LOWEST_TRUE_DEG)))


def _altitude(asked: _Asked) -> tuple[Array]:
    true = altitude(asked.view[:, 0])
    return (np.rad2deg(true + asked.strength * _refraction(true)),)


def _azimuth(asked: _Asked) -> tuple[Array]:
    return (np.rad2deg(azimuth(asked.view[:, 0])),)


def _ln_diameter(asked: _Asked) -> tuple[Array]:
    return (np.log(np.rad2deg(2 * semidiameter(asked.view[:, 0]))),)


def _ln_ratio(asked: _Asked) -> tuple[Array]:
    size = np.log(semidiameter(asked.view))
    return (size[:, 1] - size[:, 0],)


def drift_angles(view: SunView) -> Array:
    """Vertex angles (b, t/2) of the Sun's way from the first to the second of each pair of times."""
    before, after = view.direction[:, 0::2], view.direction[:, 1::2]
    middle = before + after
    right, up = disc_axes(middle / np.sqrt(dot(middle, middle))[..., None])
    way = after - before
    return np.arctan2(-dot(way, right), dot(way, up))


def _drift(asked: _Asked) -> tuple[Array]:
    angle = drift_angles(asked.view)
    return (np.rad2deg(angle[:, 0] if angle.shape[1] == 1 else wrap_angle(angle[:, 1] - angle[:, 0])),)


def _axis(asked: _Asked) -> tuple[Array]:
    return (np.rad2deg(axis_turn(moment(asked.view, 0), moment(asked.view, 1))),)


def _spots(asked: _Asked) -> tuple[Array, ...]:
    """The turn of the spot of known place, or of spots anywhere that are seen in both photos.

    A pattern's turn is its spots' by least squares, in which each counts with the product of its radii: so do the
    places here. The spread that single spots have is left to it, as nobody knows how many there were.
    """
    one, first, second = asked.one, moment(asked.view, 0), moment(asked.view, 1)
    days = np.full(len(asked.view.distance), one.days[1] - one.days[0])
    if one.spot is not None:
        points = unproject(first, np.array([one.spot[0]]), np.array([one.spot[1]]))
    else:
        points = face_lattice(first, asked.points)
    a, b = project(first, points), project(second, carry(points, days, asked.problem.scene.law))
    turn = np.rad2deg(wrap_angle(np.arctan2(-b.x, b.y) - np.arctan2(-a.x, a.y)))
    if one.spot is not None:
        return (np.where(b.visible, turn, np.nan)[:, 0],)
    chance = [np.where(p.visible, world.detection(np.hypot(p.x, p.y)), 0.0) for p in (a, b)]
    weight = chance[0] * chance[1]
    if one.given.turn_kind == "pattern":
        weight = weight * np.hypot(a.x, a.y) * np.hypot(b.x, b.y)
    total = weight.sum(1)
    share = weight / np.where(total > 0, total, 1.0)[:, None]
    mean = (share * np.exp(1j * np.deg2rad(turn))).sum(1)
    length = np.clip(np.abs(mean), 1e-12, 1.0)
    middle = np.where(total > 0, np.rad2deg(np.angle(mean)), np.nan)
    return middle, np.rad2deg(np.sqrt(-2 * np.log(length))), turn, share


_POINTS: dict[str, Callable[[_Asked], tuple[Array, ...]]] = {
    "altitude": _altitude,
    "azimuth": _azimuth,
    "angular-diameter": _ln_diameter,
    "angular-diameter-ratio": _ln_ratio,
    "drift-direction": _drift,
}
_TURNS: dict[str, Callable[[_Asked], tuple[Array, ...]]] = {
    "axis": _axis,
    "celestial-north": _drift,
    "spot": _spots,
    "pattern": _spots,
}


# --- from the Sun's course through a day -------------------------------------------------------------------


def _by_day(quantities: Sequence[Quantity]) -> dict[float, list[int]]:
    """Places of the quantities that need the Sun's course, by the UTC day of the curve's middle."""
    groups: dict[float, list[int]] = {}
    for i, one in enumerate(quantities):
        if one.kind in _CURVES:
            centre = one.days[0] if one.kind in OF_A_DAY else round(one.days[0] * 4) / 4
            groups.setdefault(centre, []).append(i)
    return groups


class _Day:
    """The Sun's course over 48 hours about `centre` (UTC days), every half hour; no clock comes in here."""

    def __init__(self, problem: Problem, centre: float, values: dict[str, Array], b: int) -> None:
        self.problem, self.centre, self.values, self.b = problem, centre, values, b
        view = self._view(tuple((centre + _HOURS / 24).tolist()))
        self.direction = view.direction
        self.altitude = altitude(view)
        self.semidiameter = semidiameter(view)[:, len(_HOURS) // 2]

    def _view(self, days: tuple[float, ...]) -> SunView:
        """View (r, t) at fixed times, r = 1 where nothing in it depends on the trial."""
        return self.problem.view_of(_base_instants(days), self.values, rows=1)

    def level(self, horizon_deg: float, strength: Array) -> Array:
        """True altitude (b,) of the Sun's centre with its upper limb on a horizon of that apparent altitude."""
        goal = np.deg2rad(horizon_deg)
        limb = np.full(self.b, goal - np.deg2rad(0.5))
        step = 1e-5
        for _ in range(12):
            here = limb + strength * _refraction(limb)
            slope = (limb + step + strength * _refraction(limb + step) - here) / step
            limb = limb + (goal - here) / slope
        return limb - self.semidiameter

    def crossings(self, level: Array) -> tuple[Array, np.ndarray, np.ndarray]:
        """Height over `level` (b, t) and where it rises and falls through it between samples (b, t - 1)."""
        height = np.broadcast_to(self.altitude, (self.b, len(_HOURS))) - level[:, None]
        low, high = height[:, :-1] <= 0, height[:, 1:] <= 0
        return height, low & ~high, ~low & high

    def refined(self, height: Array, index: np.ndarray) -> Array:
        """Hours from the centre of the crossing in each row's interval `index` (b,), nan where that is -1."""
        cubic = _cubic(height, np.maximum(index, 0))
        low, high = np.zeros(len(index)), np.ones(len(index))
        start = np.sign(cubic[3])
        for _ in range(30):
            middle = (low + high) / 2
            value = ((cubic[0] * middle + cubic[1]) * middle + cubic[2]) * middle + cubic[3]
            left = np.sign(value) == np.where(start == 0, -1.0, start)
            low, high = np.where(left, middle, low), np.where(left, high, middle)
        return np.where(index >= 0, _HOURS[np.maximum(index, 0)] + _STEP_H * (low + high) / 2, np.nan)

    def azimuth_at(self, hours: Array) -> Array:
        """Azimuth (b,) in degrees at hours (b,) from the centre; nan at nan."""
        known = np.isfinite(hours)
        place = (np.where(known, hours, 0.0) + _REACH_H) / _STEP_H
        index = np.clip(place.astype(int), 0, len(_HOURS) - 2)
        x = place - index
        parts = []
        for axis in (0, 1):
            c = _cubic(np.broadcast_to(self.direction[..., axis], (self.b, len(_HOURS))), index)
            parts.append(((c[0] * x + c[1]) * x + c[2]) * x + c[3])
        return np.where(known, np.rad2deg(np.arctan2(parts[0], parts[1])) % 360, np.nan)

    def rise_and_set(self, level: Array) -> tuple[Array, Array, np.ndarray]:
        """Hours (b,) of the last rise before the day's highest Sun and of the first set after it; is it up there."""
        height, up, down = self.crossings(level)
        top = _CENTRAL[np.argmax(height[:, _CENTRAL], axis=1)][:, None]
        number = np.arange(len(_HOURS) - 1)
        before, after = up & (number < top), down & (number >= top)
        last = np.where(before.any(1), len(number) - 1 - np.argmax(before[:, ::-1], axis=1), -1)
        first = np.where(after.any(1), np.argmax(after, axis=1), -1)
        is_up = np.take_along_axis(height, top, axis=1)[:, 0] > 0
        rise, fall = self.refined(height, last), self.refined(height, first)
        return np.where(is_up, rise, np.nan), np.where(is_up, fall, np.nan), is_up

    def highest(self) -> Array:
        """The day's highest true altitude, (r,)."""
        top = _HOURS[_CENTRAL][np.argmax(self.altitude[:, _CENTRAL], axis=1)]
        best = self.altitude[:, _CENTRAL].max(1)
        for fraction in (4, 16, 64, 256):
            # only near the zenith does the altitude have a sharp peak
            if fraction > 16 and best.max() < _STEEP:
                break
            best, top = self._highest_near(top, _STEP_H / fraction)
        return best

    def _highest_near(self, top: Array, step: float) -> tuple[Array, Array]:
        """Highest altitude within four steps of `top` (r,), hours from the centre, and when that is."""
        best, then = np.empty_like(top), top.copy()
        for time in np.unique(top):
            rows = top == time
            hours = time + step * np.arange(-4, 5)
            samples = altitude(self._view(tuple((self.centre + hours / 24).tolist())))
            samples = np.broadcast_to(samples, (len(top), len(hours)))[rows]
            best[rows], then[rows] = _peak(samples), hours[np.argmax(samples, axis=1)]
        return best, then


def _cubic(samples: Array, index: np.ndarray) -> tuple[Array, Array, Array, Array]:
    """Coefficients, highest first, of the cubic through four samples of each row about interval `index`."""
    last = samples.shape[1] - 1
    index = np.clip(index, 1, last - 2)
    a, b, c, d = (np.take_along_axis(samples, (index + k)[:, None], axis=1)[:, 0] for k in (-1, 0, 1, 2))
    return (d - a) / 6 + (b - c) / 2, (a + c) / 2 - b, c - b / 2 - a / 3 - d / 6, b


def _peak(samples: Array) -> Array:
    """Highest value of the parabola through the highest of each row's samples and its neighbours."""
    top = np.clip(np.argmax(samples, axis=1), 1, samples.shape[1] - 2)
    a, b, c = (np.take_along_axis(samples, (top + k)[:, None], axis=1)[:, 0] for k in (-1, 0, 1))
    bend = a - 2 * b + c
    gain = np.where(bend < 0, (a - c) ** 2 / (-8 * np.where(bend < 0, bend, -1.0)), 0.0)
    return np.maximum(b + gain, samples.max(1))


def _event(one: Quantity, day: _Day, clock: Array, strength: Array) -> Array:
    """Seconds by which the model's rise or set comes after the measured one; nan without one within 12 hours."""
    height, up, down = day.crossings(day.level(one.given.horizon_deg or 0.0, strength))
    measured = (one.days[0] - day.centre) * 24 + clock / 3600
    gap = np.abs(_HOURS[:-1] + _STEP_H / 2 - measured[:, None])
    gap = np.where(up if one.kind == "rise" else down, gap, np.inf)
    index = np.argmin(gap, axis=1)
    there = np.take_along_axis(gap, index[:, None], axis=1)[:, 0] < _EVENT_REACH_H
    return 3600 * (day.refined(height, np.where(there, index, -1)) - measured)


def _event_azimuth(one: Quantity, day: _Day, clock: Array, strength: Array) -> Array:
    rise, fall, _ = day.rise_and_set(day.level(one.given.horizon_deg or 0.0, strength))
    return day.azimuth_at(rise if one.kind == "rise-azimuth" else fall)


def _day_length(one: Quantity, day: _Day, clock: Array, strength: Array) -> Array:
    """Hours of daylight: 24 for a Sun that stays up, 0 for one that stays down."""
    rise, fall, is_up = day.rise_and_set(day.level(one.given.horizon_deg or 0.0, strength))
    length = np.where(np.isfinite(rise + fall), np.minimum(fall - rise, 24.0), 24.0)
    return np.where(is_up, length, 0.0)


def _noon_altitude(one: Quantity, day: _Day, clock: Array, strength: Array) -> Array:
    true = np.broadcast_to(day.highest(), (day.b,))
    return np.rad2deg(true + strength * _refraction(true))


_CURVES: dict[str, Callable[[Quantity, _Day, Array, Array], Array]] = {
    "rise": _event,
    "set": _event,
    "rise-azimuth": _event_azimuth,
    "set-azimuth": _event_azimuth,
    "day-length": _day_length,
    "noon-altitude": _noon_altitude,
}

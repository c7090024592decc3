"""The turn against latitude under one model, between the same clock times for every model."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from ..models.errors import InputError, UnknownNameError
from ..models.geometry import Array, GeometryModel, view_of
from ..models.observables import body_vector
from ..models.place import Instants, Site
from .daylight import local_noon, parse_date, rise_set
from .rotation import RotationLaw
from .turns import axis_turn, celestial_north_turn, moment, pattern_turn, spot_turns
from .workers import Here, executor_for

EVENTS = ("rise-set", "hours")
_AT_ONCE = 256  # latitudes, the same wherever the work is done, so that the digits are the same too


@dataclass(frozen=True)
class SweepTimes:
    """The two moments at every latitude, the same for all models.

    Parameters
    ----------
    site : Site
        Latitudes of shape (n,), one longitude and height.
    instants : Instants, shape (n, 2)
    happens : ndarray of bool, shape (n,)
        False where the Sun does not rise or set; the instants are then placeholders.
    """

    site: Site
    instants: Instants
    happens: np.ndarray


def sweep_times(
    date: str | dt.date,
    latitudes_deg: Sequence[float],
    *,
    longitude_deg: float = 0.0,
    height_m: float = 0.0,
    event: str = "rise-set",
    hours: float = 5.0,
    horizon: str = "visible",
) -> SweepTimes:
    """Rise and set by the distant sphere, or local solar noon -/+ `hours`, on a local mean solar day."""
    if event not in EVENTS:
        raise UnknownNameError("event", event, EVENTS)
    latitudes = np.asarray(latitudes_deg, dtype=float)
    if latitudes.size == 0:
        raise InputError("latitudes", "must not be an empty range")
    site = Site(latitudes, longitude_deg, height_m)
    day = parse_date(date)
    if event == "rise-set":
        daylight = rise_set(day, site, horizon)
        return SweepTimes(site, daylight.instants(), daylight.happens)
    if not 0 < hours <= 12:
        raise InputError("hours", "must be above 0 and at most 12", hours)
    noon = np.broadcast_to(local_noon(day, site), latitudes.shape)
    pair = noon[:, None] + np.array([-hours, hours]) / 24
    return SweepTimes(site, Instants.from_utc_days(pair), np.ones(latitudes.shape, dtype=bool))


def sweep(
    model: GeometryModel,
    times: SweepTimes,
    given: Mapping[str, Any] | None = None,
    *,
    spots_deg: Sequence[tuple[float, float]] = (),
    law: RotationLaw,
    scheduler: str | None = None,
) -> list[dict[str, Any]]:
    """Turns between the two moments, one row per latitude.

    Parameters
    ----------
    model : GeometryModel
    times : SweepTimes
    given : mapping, optional
        Parameters of the model.
    spots_deg : sequence of (latitude, Carrington longitude)
        Degrees, at the first moment of each latitude.
    law : RotationLaw
    scheduler : str, optional
        Address of a Dask scheduler whose workers do the work.

    Returns
    -------
    list of dict
        Degrees, anticlockwise positive; None for the times and nan for the turns where the Sun does not
        rise or set.
    """
    places = np.deg2rad(np.asarray(spots_deg, dtype=float).reshape(-1, 2))
    latitudes = times.site.latitude_deg
    # Only where the Sun rises and sets: a pole may lie off a model's map.
    asked = np.flatnonzero(times.happens)
    points = body_vector(places[:, 0], places[:, 1])
    blocks = [asked[i : i + _AT_ONCE] for i in range(0, len(asked), _AT_ONCE)] or [asked]
    works = [_Block(model, times, block, given, points, law) for block in blocks]
    parts: list[Any] = [None] * len(works)
    with executor_for(scheduler, Here) as executor:
        for place, part in executor.run(_turns, works):
            parts[place] = part
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    texts = times.instants.iso()
    place_of = {int(index): k for k, index in enumerate(asked)}
    rows = []
    for i, latitude in enumerate(latitudes):
        k = place_of.get(i)
        row: dict[str, Any] = {
            "latitude_deg": float(latitude),
            "from_utc": None if k is None else texts[2 * i],
            "to_utc": None if k is None else texts[2 * i + 1],
        }
        for name, values in columns.items():
            row[name] = (np.full(values.shape[1:], np.nan) if k is None else values[k]).tolist()
        rows.append(row)
    return rows


class _Block(NamedTuple):
    """Some latitudes of a sweep, by their numbers."""

    model: GeometryModel
    times: SweepTimes
    asked: np.ndarray
    given: Mapping[str, Any] | None
    points: Array
    law: RotationLaw


def _turns(work: _Block) -> dict[str, Array]:
    """Columns of the turns, degrees, at the latitudes of a block; first axis: latitude."""
    model, times, asked, given, points, law = work
    if not len(asked):
        empty = np.empty(0)
        return {**dict.fromkeys(_COLUMNS, empty), "spots_turn_deg": np.empty((0, len(points)))}
    instants = times.instants[asked]
    site = Site(times.site.latitude_deg[asked, None], times.site.longitude_deg, times.site.height_m)
    view = view_of(model, instants, site, given)
    first, last = moment(view, 0), moment(view, 1)
    days = instants.utc_days[:, 1] - instants.utc_days[:, 0]
    pattern = pattern_turn(first, last, days, law)
    points = np.broadcast_to(points, (len(asked), *points.shape))
    values = (
        np.rad2deg(axis_turn(first, last)),
        np.rad2deg(celestial_north_turn(first, last)),
        np.rad2deg(pattern.turn),
        pattern.visible_fraction,
        pattern.scatter,
        np.rad2deg(spot_turns(first, last, points, days, law)),
    )
    return dict(zip(_COLUMNS, values, strict=True))


_COLUMNS = (
    "axis_turn_deg",
    "celestial_north_turn_deg",
    "pattern_turn_deg",
    "pattern_visible_fraction",
    "pattern_scatter",
    "spots_turn_deg",
)

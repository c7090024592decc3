"""Which latitudes and dates tell two models apart by the turn of the spot pattern between rise and set."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from ..models.errors import InputError
from ..models.geometry import GeometryModel
from ..render.separation_map import SeparationMap
from .rotation import RotationLaw
from .sweeping import sweep, sweep_times

DAYS_OF_MONTH = (5, 20)


def separation_map(
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
    year: int,
    latitudes_deg: Sequence[float],
    *,
    law: RotationLaw,
    sigma_deg: float = 2.0,
    longitude_deg: float = 0.0,
    height_m: float = 0.0,
    event: str = "rise-set",
    hours: float = 5.0,
    horizon: str = "visible",
    progress: Callable[[int, int, str], None] = lambda done, of, words: None,
) -> SeparationMap:
    """Difference of the two pattern turns, the shorter way round, over `sigma_deg`, for every latitude and date.

    Parameters
    ----------
    models : two of (model, its given parameters)
        At these values of their parameters; nothing is fitted.
    year : int
        The dates are the days `DAYS_OF_MONTH` of every month.
    latitudes_deg : sequence of float
    law : RotationLaw
    sigma_deg : float
        Uncertainty of a measured turn.
    longitude_deg, height_m, event, hours, horizon :
        See :func:`~whichsun.sim.sweeping.sweep_times`.
    progress : callable

    Raises
    ------
    InputError
        Not two models, a sigma that is not positive, or see :func:`~whichsun.sim.sweeping.sweep_times`.
    """
    if len(models) != 2:
        raise InputError("model", "must be two models to be told apart", len(models))
    if not sigma_deg > 0:
        raise InputError("sigma", "must be above 0", sigma_deg)
    if not 1600 <= year <= 2400:
        raise InputError("date", "must lie between the years 1600 and 2400", year)
    dates = [dt.date(year, month, day) for month in range(1, 13) for day in DAYS_OF_MONTH]
    turns = np.full((2, len(latitudes_deg), len(dates)), np.nan)
    scatter = np.full_like(turns, np.nan)
    for column, date in enumerate(dates):
        progress(column, len(dates), f"map of the year, {date:%B}")
        times = sweep_times(
            date,
            latitudes_deg,
            longitude_deg=longitude_deg,
            height_m=height_m,
            event=event,
            hours=hours,
            horizon=horizon,
        )
        for k, (model, given) in enumerate(models):
            rows = sweep(model, times, given, law=law)
            turns[k, :, column] = [row["pattern_turn_deg"] for row in rows]
            scatter[k, :, column] = [row["pattern_scatter"] for row in rows]
    difference = np.abs((turns[0] - turns[1] + 180) % 360 - 180)
    names = models[0][0].name, models[1][0].name
    return SeparationMap(
        names,
        np.asarray(latitudes_deg, dtype=float),
        tuple(dates),
        sigma_deg,
        difference / sigma_deg,
        np.max(scatter, axis=0),
    )

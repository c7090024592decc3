"""The latitude that a single turn would have under the distant sphere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...models.geometry import Array, SunView
from ...models.observables import wrap_angle
from ...models.place import Instants, Site
from ...models.registry import get_model
from ..rotation import rotation_law
from .meter import Progress
from .predict import groups_of, predict_turns
from .submissions import Submissions

MODEL = "distant-sphere"
_GRID_DEG = np.arange(-88.0, 89.0, 4.0)
_ROWS_AT_ONCE = 500
_STEP_DEG, _CLOSE_DEG, _ROUNDS = 0.05, 3.0, 2


def fitted_latitudes(rows: Submissions, law: str, progress: Progress | None = None) -> Array:
    """Latitude (deg) at which the distant sphere gives each row's turn; nan where none comes within 3 deg.

    Longitude and times are taken as handed in, no common offset is taken off. Where several latitudes give
    the same turn it is the one nearest the latitude that was handed in.
    """
    result = np.empty(len(rows))
    order = np.argsort(rows.from_day, kind="stable")  # the Sun is interpolated where instants lie close
    for start in range(0, len(rows), _ROWS_AT_ONCE):
        part = order[start : start + _ROWS_AT_ONCE]
        result[part] = _fitted(rows[part], law)
        if progress is not None:
            progress(start + len(part), len(rows), "latitude of every turn")
    return result


def _fitted(rows: Submissions, law: str) -> Array:
    groups = groups_of(rows)

    def misses(latitude_deg: Array) -> Array:
        """Measured less computed turn, degrees, at latitudes (n, p)."""
        turn = np.full(latitude_deg.shape, np.nan)
        for group in groups:
            place = Site(latitude_deg[group.index][:, :, None], group.rows.longitude_deg[:, None, None])
            here = replace(group, site=place, index=np.arange(len(group.index)))
            turn[group.index] = predict_turns([here], _view, rotation_law(law), latitude_deg.shape[1]).turn
        return np.rad2deg(wrap_angle(np.deg2rad(rows.turn_deg)[:, None] - turn))

    count = len(rows)
    grid = np.broadcast_to(_GRID_DEG, (count, len(_GRID_DEG)))
    miss = misses(grid)
    low, high = miss[:, :-1], miss[:, 1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = low / (low - high)
    crosses = (np.sign(low) != np.sign(high)) & (np.abs(low) < 90) & (np.abs(high) < 90)
    root = _GRID_DEG[:-1] + 4.0 * np.where(crosses, part, np.nan)
    away = np.where(crosses, np.abs(root - rows.latitude_deg[:, None]), np.inf)
    nearest = np.argmin(away, axis=1)
    found = crosses.any(axis=1)
    best = np.where(found, root[np.arange(count), nearest], _GRID_DEG[np.argmin(np.abs(miss), axis=1)])
    for _ in range(_ROUNDS):
        pair = misses(best[:, None] + np.array([-_STEP_DEG, _STEP_DEG]))
        slope = wrap_angle(np.deg2rad(pair[:, 1] - pair[:, 0])) / np.deg2rad(2 * _STEP_DEG)
        middle = pair[:, 0] + np.rad2deg(wrap_angle(np.deg2rad(pair[:, 1] - pair[:, 0]))) / 2
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.nan_to_num(-middle / slope, posinf=0.0, neginf=0.0)
        best = np.clip(best + np.clip(step, -4, 4), -89.9, 89.9)
    left = np.abs(misses(best[:, None])[:, 0])
    return np.where(left < _CLOSE_DEG, best, np.nan)


def _view(instants: Instants, site: Site) -> SunView:
    return get_model(MODEL).view(instants, site, {})

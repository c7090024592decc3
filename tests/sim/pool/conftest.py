"""Invented submissions: one spot (or an even pattern) seen at two times under a known model."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.geometry import view_of
from whichsun.models.observables import project, wrap_angle
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.pool.submissions import KIND_NUMBER, Submissions
from whichsun.sim.rotation import carry, rotation_law
from whichsun.sim.turns import axis_turn, celestial_north_turn, face_lattice, moment, pattern_turn


def draw_rows(
    count: int,
    *,
    model: str = "distant-sphere",
    given: dict | None = None,
    kind: str = "spot",
    placed: bool = True,
    tau_deg: float = 2.0,
    offset_deg: float = 1.8,
    sigma_deg: float = 1.0,
    flipped: tuple[int, ...] = (),
    late_hours: dict[int, float] | None = None,
    seed: int = 1,
) -> Submissions:
    """Rows under a model; `flipped` ones get the other sign, `late_hours` moves the times that are handed in."""
    rng = np.random.default_rng(seed)
    latitude = np.rad2deg(np.arcsin(rng.uniform(-0.85, 0.88, count)))
    longitude = rng.uniform(-180, 180, count)
    noon = np.floor(rng.uniform(9000, 9365, count)) - longitude / 360
    half = rng.uniform(3, 5.5, count) / 24
    nothing = np.full(count, np.nan)
    rows = Submissions(
        np.array([f"s{i}" for i in range(count)]),
        latitude,
        longitude,
        noon - half,
        noon + half,
        nothing,
        np.full(count, sigma_deg),
        np.full(count, KIND_NUMBER[kind]),
        nothing,
        nothing,
        np.array([f"line {i + 2}" for i in range(count)]),
    )
    site = Site(latitude[:, None], longitude[:, None])
    view = view_of(
        get_model(model), Instants.from_utc_days(np.stack([noon - half, noon + half], -1)), site, given
    )
    a, b, law = moment(view, 0), moment(view, 1), rotation_law("howard-1984")
    if kind == "axis":
        turn = axis_turn(a, b)
    elif kind == "celestial-north":
        turn = celestial_north_turn(a, b)
    else:
        points = face_lattice(a, 400)
        first, second = project(a, points), project(b, carry(points, rows.days, law))
        radius = np.hypot(first.x, first.y)
        seen = first.visible & second.visible & (radius < 0.9) & (radius > 0.25)
        chosen = (seen * rng.random(seen.shape)).argmax(axis=1)
        own = np.arange(count)
        start = np.arctan2(-first.x[own, chosen], first.y[own, chosen])
        turn = wrap_angle(np.arctan2(-second.x[own, chosen], second.y[own, chosen]) - start)
        if kind == "pattern":
            turn = pattern_turn(a, b, rows.days, law, points).turn
        elif placed:
            rows = replace(rows, vertex_angle_deg=np.rad2deg(start), radius=radius[own, chosen])
    noise = np.hypot(tau_deg, sigma_deg) * rng.standard_t(4, count)
    measured = np.rad2deg(turn) + offset_deg + noise
    measured[list(flipped)] *= -1
    late = np.zeros(count)
    for row, hours in (late_hours or {}).items():
        late[row] = hours / 24
    turn_deg = np.rad2deg(wrap_angle(np.deg2rad(measured)))
    return replace(rows, turn_deg=turn_deg, from_day=rows.from_day + late, to_day=rows.to_day + late)


@pytest.fixture
def rows_of() -> Callable[..., Submissions]:
    return draw_rows

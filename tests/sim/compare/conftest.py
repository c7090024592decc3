"""Invented outings for the comparison: the world of inference section 1, drawn with a seeded generator."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.registry import get_model
from whichsun.sim.compare import drawing
from whichsun.sim.compare.drawing import Design, uniform_points
from whichsun.sim.compare.problem import Axis
from whichsun.sim.outing import Outing, OutingSite
from whichsun.sim.rotation import rotation_law

TIMES = ("2024-03-25T06:40:00Z", "2024-03-25T17:20:00Z")


def draw_outing(
    rng: np.random.Generator,
    model: str = "distant-sphere",
    given: dict | None = None,
    *,
    site: tuple[float, float] = (47.0, 8.0),
    times: tuple[str, ...] = TIMES,
    spots: int = 16,
    sigma: float = 0.004,
    roll_sigma_deg: float = 0.7,
    mount: str = "level-tripod",
    false: float = 0.3,
    mirrored: tuple[int, ...] = (),
    groups: bool = False,
    place_factor: float = 1.0,
    roll_factor: float = 1.0,
    blunder_deg: float = 0.0,
    clock_sigma_s: float = 0.0,
) -> Outing:
    """An outing under a model: spots, drift, detection, false spots, noise and roll drawn anew.

    The factors make places and level worse than stated; `blunder_deg` tilts the last shot by that much; `groups`
    puts the spots into groups of some 5 degrees in two belts.
    """
    design = Design(
        OutingSite(*site),
        times,
        place_sigma=place_factor * sigma,
        roll_sigma_deg=roll_factor * roll_sigma_deg,
        mount=mount,
        false_per_shot=false,
        clock_sigma_s=clock_sigma_s,
    )
    tilt = (0.0,) * (len(times) - 1) + (blunder_deg,)
    points_of = in_groups if groups and spots else uniform_points
    law = rotation_law("howard-1984")
    outing = drawing.draw_outing(
        rng, get_model(model), given or {}, design, law, spots=spots, points_of=points_of, tilt_deg=tilt
    )
    stated = None if mount == "hand-held" else roll_sigma_deg
    shots = []
    for s, shot in enumerate(outing.shots):
        sign = -1.0 if s in mirrored else 1.0
        found = tuple(replace(spot, x=sign * spot.x, sigma_x=sigma, sigma_y=sigma) for spot in shot.spots)
        shots.append(replace(shot, roll_sigma_deg=stated, spots=found))
    return replace(outing, shots=tuple(shots))


def in_groups(rng: np.random.Generator, spots: int) -> np.ndarray:
    """Unit vectors (spots, 3) in groups of about four, in belts at 15 degrees either side of the equator."""
    uniform_points(rng, spots)  # as for spots without groups, so that the rest of the outing is drawn alike
    count = max(1, round(spots / 4))
    longitude = rng.uniform(0, 2 * np.pi, count)
    latitude = np.deg2rad(15 * rng.choice([-1, 1], count) + 5 * rng.standard_normal(count))
    own = rng.integers(0, count, spots)
    longitude = longitude[own] + np.deg2rad(5) * rng.standard_normal(spots)
    latitude = latitude[own] + np.deg2rad(2) * rng.standard_normal(spots)
    return np.stack(
        [np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude)],
        axis=-1,
    )


def draw_calibration(
    rng: np.random.Generator, half_hours: tuple[float, float] = (3.0, 5.5), **options
) -> tuple[str, dict, Outing]:
    """Model, its parameters from their priors, and an outing; the site's latitude is uniform in its sine."""
    truth = str(rng.choice(["distant-sphere", "nearby-plane", "nearby-sphere"], p=[0.4, 0.4, 0.2]))
    given: dict = {}
    if truth != "distant-sphere":
        known = {p.name: p for p in get_model(truth).parameters}
        free = {"nearby-plane": ["height_km"], "nearby-sphere": ["distance_km"]}[truth]
        if truth == "nearby-plane":
            given["face"] = str(rng.choice(["facing-pole", "fixed", "spinning"]))
            free += ["rate_deg_per_day"] if given["face"] == "spinning" else []
        given |= {name: float(Axis.of(known[name]).value(rng.random())) for name in free}
    latitude = float(np.rad2deg(np.arcsin(rng.uniform(-1, 1))))
    noon = np.datetime64("2024-01-01T12:00:00") + np.timedelta64(int(rng.integers(0, 365)), "D")
    half = np.timedelta64(int(rng.uniform(*half_hours) * 3600), "s")
    times = (f"{noon - half}Z", f"{noon + half}Z")
    settings = {"site": (latitude, 0.0), "times": times, "spots": int(rng.poisson(7)), "clock_sigma_s": 60.0}
    return truth, given, draw_outing(rng, truth, given, **(settings | options))


def draw_world(rng: np.random.Generator, **options) -> tuple[str, Outing]:
    """The model drawn first, then its parameters, site, day, hours and spots; outings without spots drawn anew."""
    truth = "distant-sphere" if rng.random() < 0.5 else "nearby-plane"
    while True:
        given: dict = {}
        if truth == "nearby-plane":
            given["height_km"] = float(np.exp(rng.uniform(np.log(500), np.log(50000))))
            given["face"] = str(rng.choice(["facing-pole", "fixed", "spinning"]))
            if given["face"] == "spinning":
                given["rate_deg_per_day"] = float(rng.uniform(-400, 400))
        latitude, day, hours = rng.uniform(-60, 60), rng.integers(0, 365), rng.uniform(3, 5.5)
        noon = np.datetime64("2024-01-01T12:00:00") + np.timedelta64(int(day), "D")
        half = np.timedelta64(int(hours * 3600), "s")
        times = (f"{noon - half}Z", f"{noon + half}Z")
        spots = int(rng.poisson(7))
        outing = draw_outing(
            rng, truth, given, site=(float(latitude), 0.0), times=times, spots=spots, **options
        )
        if all(shot.spots for shot in outing.shots):
            return truth, outing


@pytest.fixture
def world_of() -> Callable[..., tuple[str, Outing]]:
    return draw_world


@pytest.fixture
def outing_of() -> Callable[..., Outing]:
    return draw_outing

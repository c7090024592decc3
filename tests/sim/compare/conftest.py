"""Invented outings for the comparison: the world of inference section 1, drawn with a seeded generator."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from whichsun.models.geometry import view_of
from whichsun.models.observables import project
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.compare import world
from whichsun.sim.outing import Outing, OutingSite, Shot, Spot
from whichsun.sim.rotation import carry, rotation_law

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
) -> Outing:
    """An outing under a model: spots, drift, detection, false spots, noise and roll drawn anew."""
    instants = Instants.from_utc(list(times))
    view = view_of(get_model(model), instants, Site(*site), given or {})
    points = rng.standard_normal((spots, 3))
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    slow = rng.random(spots) < world.DRIFT_SHARES[0]
    drift = rng.standard_normal((spots, 3)) * np.where(slow, *world.DRIFT_RAD_PER_DAY)[:, None]
    law = rotation_law("howard-1984")
    shots = []
    for s, day in enumerate(instants.utc_days - instants.utc_days[0]):
        there = carry(points[None], np.array([day]), law)[0] + drift * day
        there += rng.standard_normal(there.shape) * world.JITTER_RAD
        there /= np.linalg.norm(there, axis=1, keepdims=True)
        disc = project(view[s], there)
        found = disc.visible & (rng.random(spots) < world.detection(np.hypot(disc.x, disc.y)))
        number = rng.poisson(false)
        radius, angle = np.sqrt(rng.random(number)), 2 * np.pi * rng.random(number)
        x = np.concatenate([disc.x[found], radius * np.cos(angle)])
        y = np.concatenate([disc.y[found], radius * np.sin(angle)])
        if mount == "hand-held":
            roll = rng.uniform(-np.pi, np.pi)
        else:
            roll = np.deg2rad(roll_sigma_deg) * rng.standard_normal()
        cos, sin = np.cos(roll), np.sin(roll)
        places = np.stack([cos * x + sin * y, cos * y - sin * x], axis=-1)
        places += sigma * rng.standard_normal(places.shape)
        if s in mirrored:
            places[:, 0] *= -1
        places = places[np.hypot(*places.T) < world.LAST_RADIUS]
        shots.append(
            Shot(
                f"shot-{s}.jpg",
                instants.iso()[s],
                mount=mount,
                roll_sigma_deg=None if mount == "hand-held" else roll_sigma_deg,
                semi_axes_px=(500.0, 500.0),
                semi_axes_sigma_px=(0.1, 0.1),
                axis_ratio=1.0,
                spots=tuple(Spot(i, float(px), float(py), sigma, sigma) for i, (px, py) in enumerate(places)),
            )
        )
    return Outing(OutingSite(*site), tuple(shots))


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

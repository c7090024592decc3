"""Posterior predictive check: can the model produce data that match as well as these do?

The statistic is T = ln(SUM over matchings / all unmatched), plus ln density of the other measured quantities. A
chi-square of matched spots would not do: a model that matches nothing has 0 of 0. After Gelman, Meng & Stern 1996
(from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...models.geometry import Array
from ..rotation import RotationLaw
from . import world
from .cells import Evidence
from .data import Detections
from .hidden_parts import disc_place
from .likelihood import Scene, evaluate, place
from .poses import Poses, rolled
from .problem import Problem
from .quantities_likelihood import replicate

DRAWS = 999
DRAWS_MANY_SHOTS = 199


def predictive_p(problem: Problem, evidence: Evidence, rng: np.random.Generator, draws: int = DRAWS) -> float:
    """Share of replicated outings whose statistic is at most that of the data.

    Parameters
    ----------
    problem : Problem
    evidence : Evidence
        Gives the posterior draws of parameters and nuisances.
    rng : numpy.random.Generator
    draws : int

    Notes
    -----
    For each draw: the richest shot's detections are real with their odds, their true places redrawn from
    the measurement; unseen spots are added (Poisson, thinned by 1 - D); all drift, are projected to the
    other shots, found with their chance, measured with noise; false ones are added. Areas are left out on
    both sides. Other quantities are made up with their stated errors and no blunders.
    """
    pick = rng.choice(len(evidence.u), draws, p=evidence.weight / evidence.weight.sum())
    u, eta = evidence.u[pick], evidence.eta[pick]
    seen, drawn = np.zeros(draws), np.zeros(draws)
    if problem.data.has_spots:
        seen, drawn = _spots_matched(problem, u, eta, rng)
    if problem.data.quantities:
        measured, made = replicate(problem, u, eta, rng)
        seen, drawn = seen + measured, drawn + made
    return float(np.mean(drawn <= seen + 1e-9))


def _spots_matched(problem: Problem, u: Array, eta: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    """T of the measured spots and of made-up ones, (b,) each."""
    draws = len(u)
    poses, roll, squash = problem.poses(u, eta), problem.rolls(eta), problem.squashes(eta)
    found = replace(problem.scene.detections, area=np.full(len(problem.scene.detections.shot), np.nan))
    scene = replace(problem.scene, detections=found)
    real = evaluate(scene, poses, roll, squash)
    share = np.exp(real.by_rate - real.by_rate.max(1, keepdims=True))
    share = np.cumsum(share / share.sum(1, keepdims=True), axis=1)
    rate = np.minimum((rng.random((draws, 1)) > share).sum(1), share.shape[1] - 1)
    made = _replicate(scene, poses, roll, squash, rate, rng)
    copy = evaluate(made, poses, roll, squash)
    rows = np.arange(draws)
    seen = (real.by_rate - real.unmatched_by_rate)[rows, rate]
    drawn = (copy.by_rate - copy.unmatched_by_rate)[rows, rate]
    return seen, drawn


def _replicate(
    scene: Scene, poses: Poses, roll: Array, squash: Array, rate: np.ndarray, rng: np.random.Generator
) -> Scene:
    """A scene with one made-up outing per trial; the richest shot keeps its detections."""
    found, b = scene.detections, len(poses)
    s_count = len(scene.days)
    richest = int(np.argmax(np.bincount(found.shot, minlength=s_count)))
    spots, exists = _true_spots(scene, poses, roll, squash, rate, richest, rng)
    slow = rng.random(spots.shape[:2]) < world.DRIFT_SHARES[0]
    speed = np.where(slow, world.DRIFT_RAD_PER_DAY[0], world.DRIFT_RAD_PER_DAY[1])[..., None]
    drift = rng.standard_normal(spots.shape) * speed
    z, root, valid, shot = [], [], [], []
    for s in range(s_count):
        own = np.flatnonzero(found.shot == s)
        if s == richest:
            z.append(np.broadcast_to(found.z[0, own], (b, len(own), 2)))
            root.append(np.broadcast_to(found.root[0, own], (b, len(own), 2, 2)))
            valid.append(np.ones((b, len(own)), dtype=bool))
        else:
            typical = np.median(found.root[0, own if len(own) else slice(None)], axis=0)
            days = scene.days[s] - scene.days[richest]
            there = _moved(spots, drift, days, scene.law, rng)
            axes = rolled(poses.axes[:, s], roll[:, s])
            places, seen = _seen_places(there, axes, poses.distance[:, s], rng)
            seen &= _shown(scene, s, places)
            places = places * np.stack([np.ones(b), np.exp(-squash[:, s])], axis=-1)[:, None]
            places, seen = _with_false(places, seen & exists, scene.rates.false[rate], rng)
            places = places + rng.standard_normal(places.shape) @ typical.T
            seen &= np.hypot(places[..., 0], places[..., 1]) < world.LAST_RADIUS
            places, seen = _packed(places, seen)
            z.append(places)
            root.append(np.broadcast_to(typical, (*seen.shape, 2, 2)))
            valid.append(seen)
        shot.append(np.full(z[-1].shape[1], s))
    numbers = np.concatenate(shot)
    made = Detections(
        np.concatenate(z, axis=1),
        np.concatenate(root, axis=1),
        numbers,
        np.concatenate(valid, axis=1),
        np.full(len(numbers), np.nan),
    )
    return replace(scene, detections=made)


def _true_spots(
    scene: Scene,
    poses: Poses,
    roll: Array,
    squash: Array,
    rate: np.ndarray,
    richest: int,
    rng: np.random.Generator,
) -> tuple[Array, np.ndarray]:
    """Real spots (b, n, 3) at the richest shot's time, and which of them exist."""
    b = len(poses)
    placed = place(scene, poses, roll, squash)
    own = np.flatnonzero(scene.detections.shot == richest)
    days = scene.days[richest] - scene.days[0]
    noise = rng.standard_normal((b, len(own), 1, 2)) @ placed.spread[:, own]
    seen = _moved(placed.point[:, own] + noise[:, :, 0], None, days, scene.law, rng)
    density = (scene.rates.spots / (4 * np.pi))[rate][:, None]
    ln_real = np.log(density) + placed.ln_found[:, own]
    false = (scene.rates.false / np.pi)[rate][:, None]
    is_real = rng.random((b, len(own))) < np.exp(ln_real) / (np.exp(ln_real) + false)
    number = rng.poisson(scene.rates.spots[rate])
    unseen = rng.standard_normal((b, int(number.max(initial=1)), 3))
    unseen /= np.linalg.norm(unseen, axis=-1, keepdims=True)
    cos = np.einsum("bni,bi->bn", unseen, -poses.axes[:, richest, 2])
    chance = world.detection(world.disc_radius(cos, poses.distance[:, richest, None]))
    if scene.hidden is not None:
        axes = rolled(poses.axes[:, richest], roll[:, richest])
        local = unseen @ np.swapaxes(axes, 1, 2)
        places = np.stack(disc_place(local, poses.distance[:, richest]), axis=-1)
        chance = chance * _shown(scene, richest, places)
    there = np.arange(unseen.shape[1]) < number[:, None]
    there &= rng.random(chance.shape) > chance
    return np.concatenate([seen, unseen], axis=1), np.concatenate([is_real, there], axis=1)


def _moved(
    points: Array, drift: Array | None, days: float, law: RotationLaw, rng: np.random.Generator
) -> Array:
    """Points (b, n, 3) after `days`: the law's drift, their own, and jitter where they have one of their own."""
    if drift is not None:
        jitter = np.sqrt(2) * world.JITTER_RAD * rng.standard_normal(points.shape)
        points = points + drift * days + jitter
    points = points / np.linalg.norm(points, axis=-1, keepdims=True)
    angle = law.drift(np.arcsin(np.clip(points[..., 2], -1, 1))) * days
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = points[..., 0], points[..., 1]
    return np.stack([cos * x - sin * y, sin * x + cos * y, points[..., 2]], axis=-1)


def _seen_places(
    points: Array, axes: Array, distance: Array, rng: np.random.Generator
) -> tuple[Array, np.ndarray]:
    """Disc places (b, n, 2) and which are found."""
    local = points @ np.swapaxes(axes, 1, 2)
    chance = world.detection(world.disc_radius(-local[..., 2], distance[:, None]))
    return np.stack(disc_place(local, distance), axis=-1), rng.random(chance.shape) < chance


def _shown(scene: Scene, shot: int, places: Array) -> np.ndarray:
    """Whether disc places (b, n, 2) are not hidden in a shot."""
    if scene.hidden is None:
        return np.ones(places.shape[:2], dtype=bool)
    return ~scene.hidden.at(shot, places[..., 0], places[..., 1])


def _with_false(
    places: Array, seen: np.ndarray, false: Array, rng: np.random.Generator
) -> tuple[Array, np.ndarray]:
    number = rng.poisson(false)
    most = int(number.max(initial=0))
    radius = np.sqrt(rng.random((len(places), most)))
    angle = 2 * np.pi * rng.random((len(places), most))
    extra = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)
    there = np.arange(most) < number[:, None]
    return np.concatenate([places, extra], axis=1), np.concatenate([seen, there], axis=1)


def _packed(places: Array, seen: np.ndarray) -> tuple[Array, np.ndarray]:
    """Move what was seen to the front and cut what nobody needs; padding lies at the centre."""
    order = np.argsort(~seen, axis=1, kind="stable")
    most = max(int(seen.sum(1).max(initial=0)), 1)
    order = order[:, :most]
    seen = np.take_along_axis(seen, order, axis=1)
    places = np.take_along_axis(places, order[..., None], axis=1)
    return np.where(seen[..., None], places, 0.0), seen

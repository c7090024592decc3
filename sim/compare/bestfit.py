"""The best fit of one variant: its likeliest state, the best matching there, residuals, chi-square, AICc."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.optimize import linear_sum_assignment

from ...models.geometry import Array
from . import world
from .cells import Evidence
from .likelihood import Evaluation, tangent_basis
from .modes import Frame, pair_chances, refine
from .poses import rolled
from .problem import Problem
from .quantities_likelihood import QuantityResidual, residuals_at

_ROUNDS, _TRIED = 6, 15
_STEP = 1e-5  # radians, of the slope of a place on the disc


@dataclass(frozen=True)
class Match:
    """Two detections (numbers in :class:`Detections`) taken for one spot, with the chance of it."""

    first: int
    second: int
    probability: float


@dataclass(frozen=True)
class BestFit:
    """Likeliest state of a variant.

    Attributes
    ----------
    values : dict of str to float
        The model's free parameters there.
    rolls_deg : ndarray, shape (s,)
        Roll found for each shot beyond what was undone.
    ln_like : float
        With the priors of the nuisances relative to their peaks (a penalised likelihood).
    tracks : tuple of tuple of int
        Detections taken for one spot each.
    matches : tuple of Match
    predicted : ndarray, shape (n, 2)
        Where each matched detection should have been, disc frame; nan without a match.
    standard : ndarray, shape (n, 2)
        Measured less predicted place over its standard deviation along x and y; nan without a match.
    chi2 : float
    dof : int or None
        2 (matched detections) - 2 (tracks) + quantities - fitted; None if not positive.
    fitted : int
        Parameters fitted without a prior: the model's own and the rolls of hand-held shots.
    quantities : tuple of QuantityResidual
        The other measured quantities; those that the model does not foresee count neither in `chi2` nor in `dof`.
    """

    values: dict[str, float]
    rolls_deg: Array
    ln_like: float
    tracks: tuple[tuple[int, ...], ...]
    matches: tuple[Match, ...]
    predicted: Array
    standard: Array
    chi2: float
    dof: int | None
    fitted: int
    quantities: tuple[QuantityResidual, ...] = ()


def best_fit(problem: Problem, evidence: Evidence) -> BestFit:
    """Polish the likeliest draw of an evidence and read off matching and residuals."""
    u, eta, value = _likeliest(problem, evidence)
    result = problem.evaluate(u, eta, keep=True)
    pairs = result.pairs
    assert pairs is not None
    chances = pair_chances(pairs, result.by_rate) if len(pairs) else np.empty(0)
    ln_ratio = pairs.ln_ratio[:, int(np.argmax(result.by_rate[0]))]
    tracks = best_tracks(pairs.first, pairs.second, ln_ratio, problem.scene.detections.shot)
    chance_of = dict(zip(zip(pairs.first.tolist(), pairs.second.tolist(), strict=True), chances, strict=True))
    matches = tuple(
        Match(a, b, float(chance_of.get((a, b), 0.0))) for track in tracks for a, b in pairwise(track)
    )
    predicted, standard, chi2 = _residuals(problem, u, eta, result, tracks)
    nuisances = problem.nuisances
    strain = np.where(nuisances.uniform, 0.0, eta[0] / np.where(nuisances.uniform, 1, nuisances.sigma))
    hand_held = int(nuisances.periodic.sum())
    fitted = len(problem.axes) + hand_held
    spots = sum(len(track) for track in tracks)
    others = residuals_at(problem, u, eta) if problem.data.quantities else ()
    z = np.array([one.z for one in others])
    known = np.isfinite(z)
    dof = 2 * spots - 2 * len(tracks) + int(known.sum()) - fitted
    values = problem.values(u, eta)
    return BestFit(
        {axis.name: float(values[axis.name][0, 0]) for axis in problem.axes},
        np.rad2deg(problem.rolls(eta)[0]),
        value,
        tracks,
        matches,
        predicted,
        standard,
        chi2 + float((strain**2).sum()) + float((z[known] ** 2).sum()),
        dof if dof > 0 else None,
        fitted,
        others,
    )


def aicc(ln_like: float, fitted: int, measured: int) -> float | None:
    """Akaike's criterion corrected for few data: -2 ln L + 2 k + 2 k (k + 1)/(n - k - 1).

    None where n - k - 1 is not positive. Hurvich & Tsai 1989, Biometrika 76, 297.
    """
    spare = measured - fitted - 1
    if spare <= 0:
        return None
    return -2 * ln_like + 2 * fitted + 2 * fitted * (fitted + 1) / spare


def _likeliest(problem: Problem, evidence: Evidence) -> tuple[Array, Array, float]:
    """Scan place (1,), nuisances (1, k) and penalised ln likelihood of the best state found."""
    nuisances = problem.nuisances
    peak = np.where(nuisances.uniform, 0.0, -np.log(np.where(nuisances.uniform, 1, nuisances.sigma)))
    top = float((peak - 0.5 * np.log(2 * np.pi) * ~nuisances.uniform).sum())
    flat = np.where(nuisances.uniform, np.log(np.maximum(nuisances.high - nuisances.low, 1e-300)), 0.0).sum()

    def value_of(u: Array, eta: Array) -> Array:
        return problem.ln_whole(u, eta) + nuisances.ln_prior(eta) - top + flat

    score = np.where(evidence.weight > 0, evidence.ln_like + nuisances.ln_prior(evidence.eta), -np.inf)
    start = int(np.argmax(score)) if np.isfinite(score).any() else 0
    u, eta = evidence.u[start : start + 1], evidence.eta[start : start + 1]
    best = float(value_of(u, eta)[0])
    step = 0.02 if problem.axes else 0.0
    for _ in range(_ROUNDS):
        tried = np.clip(u + step * np.linspace(-1, 1, _TRIED), 0, 1) if problem.axes else u
        frame = Frame(problem, tried, np.tile(eta, (len(tried), 1)))
        _, found, _, _, _ = refine(frame, frame.eta)
        values = value_of(tried, found)
        one = int(np.argmax(values))
        if values[one] > best:
            best, u, eta = float(values[one]), tried[one : one + 1], found[one : one + 1]
        elif not problem.axes:
            break
        step *= 0.3
    return u, eta, best


def best_tracks(
    first: np.ndarray, second: np.ndarray, ln_ratio: Array, shot: np.ndarray
) -> tuple[tuple[int, ...], ...]:
    """The heaviest matching: exact for two shots, grown from the heaviest pairs for more."""
    gain = np.flatnonzero(ln_ratio > 0)
    if len(gain) == 0:
        return ()
    if shot.max() == 1:
        weight = np.zeros((shot.size, shot.size))
        weight[first[gain], second[gain]] = ln_ratio[gain]
        rows, columns = linear_sum_assignment(-weight)
        return tuple((int(r), int(c)) for r, c in zip(rows, columns, strict=True) if weight[r, c] > 0)
    group: dict[int, set[int]] = {}
    for k in gain[np.argsort(-ln_ratio[gain])]:
        a, b = int(first[k]), int(second[k])
        joined = group.get(a, {a}) | group.get(b, {b})
        if len({int(shot[i]) for i in joined}) == len(joined):
            for member in joined:
                group[member] = joined
    unique = {tuple(sorted(track)) for track in group.values()}
    return tuple(sorted(unique))


def _residuals(
    problem: Problem, u: Array, eta: Array, result: Evaluation, tracks: tuple[tuple[int, ...], ...]
) -> tuple[Array, Array, float]:
    """Predicted disc places of matched detections, standardised residuals, the spots' part of chi-square.

    A residual against a mean that the detection itself helped to make scatters by its own covariance (place and
    drift) less the mean's.
    """
    placed, scene = result.placed, problem.scene
    assert placed is not None
    predicted = np.full((len(scene.detections.shot), 2), np.nan)
    standard = predicted.copy()
    total = 0.0
    poses = problem.poses(u, eta)
    axes = rolled(poses.axes, problem.rolls(eta))[0]
    for track in tracks:
        members = list(track)
        point, spread = placed.point[0, members], placed.spread[0, members]
        shots = scene.detections.shot[members]
        days = scene.days[shots] - scene.days[shots].mean()
        middle, strain, steps, scatter = _common_place(point, spread, days)
        total += strain
        trio = np.stack([middle, middle + _STEP * steps[0], middle + _STEP * steps[1]])
        for member, s, own in zip(members, shots, scatter, strict=True):
            step = scene.days[0] - scene.days[s]
            angle = -scene.law.drift(np.arcsin(np.clip(middle[2], -1, 1))) * step
            c, d = np.cos(angle), np.sin(angle)
            turn = np.array([[c, d, 0.0], [-d, c, 0.0], [0.0, 0.0, 1.0]])
            places = _on_picture(trio @ turn, axes[s], poses.distance[0, s])
            places[:, 1] *= np.exp(-problem.squashes(eta)[0, s])
            slope = (places[1:] - places[0]).T / _STEP
            predicted[member] = places[0]
            spreads = np.sqrt(np.diag(slope @ own @ slope.T))
            standard[member] = (scene.detections.z[0, member] - places[0]) / spreads
    return predicted, standard, total


def _on_picture(points: Array, axes: Array, distance: float) -> Array:
    local = points @ axes.T
    return local[:, :2] * np.sqrt(distance**2 - 1) / (distance + local[:, 2:])


def _common_place(point: Array, spread: Array, days: Array) -> tuple[Array, float, Array, Array]:
    """Weighted mean place (3,) of a track and the strain of its members, by the likelier drift class.

    Then the two directions (2, 3) across the place, and the covariance (m, 2, 2) along them of each member's
    residual.
    """
    basis = tangent_basis(point[0], point[-1])
    centre = point.mean(0) / np.linalg.norm(point.mean(0))
    offset = (point - centre) @ basis.T
    rows = spread @ basis.T
    best = (centre, 0.0, basis, np.zeros((len(point), 2, 2)))
    score = -np.inf
    for rate, share in zip(world.DRIFT_RAD_PER_DAY, world.DRIFT_SHARES, strict=True):
        extra = (rate * days) ** 2 * 2 + world.JITTER_RAD**2
        whole = np.swapaxes(rows, -1, -2) @ rows + extra[:, None, None] * np.eye(2)
        weight = np.linalg.inv(whole)
        mean = np.linalg.solve(weight.sum(0), np.einsum("mij,mj->i", weight, offset))
        strain = float(np.einsum("mi,mij,mj->", offset - mean, weight, offset - mean))
        ln = np.log(share) - 0.5 * strain + 0.5 * float(np.log(np.linalg.det(weight)).sum())
        if ln > score:
            place = centre + mean @ basis
            scatter = whole - np.linalg.inv(weight.sum(0))
            best, score = (place / np.linalg.norm(place), strain, basis, scatter), ln
    return best

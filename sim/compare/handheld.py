"""Seeds for shots whose roll is unknown: the rolls at which spots of two shots fall on each other.

A spot of a shot that is rolled runs on a circle about the point under the observer. Two circles meet in at
most two points; a circle and a fixed spot are closest at one roll.
"""

from __future__ import annotations

import numpy as np

from ...models.geometry import Array
from . import world
from .likelihood import place
from .modes import Frame, best_of_each, pair_seeds

_KEEP = 6


def roll_seeds(frame: Frame, most: int) -> tuple[np.ndarray, Array]:
    """Nuisances that align shots of unknown roll, up to `most` per row of the frame: (row, eta)."""
    uniform = frame.problem.nuisances.uniform[: frame.problem.data.n_shots]
    unknown, known = np.flatnonzero(uniform), np.flatnonzero(~uniform)
    row, eta = np.arange(len(frame.eta)), frame.eta.copy()
    if len(known) == 0:
        row, eta = _meeting_circles(frame, unknown[0], unknown[1])
        row, eta = _pruned(frame, row, eta)
        known, unknown = unknown[:2], unknown[2:]
    for shot in unknown:
        row, eta = _aligned(frame, row, eta, known, int(shot))
        row, eta = _pruned(frame, row, eta)
        known = np.append(known, shot)
    chosen = best_of_each(row, np.zeros(len(row)), most)
    return row[chosen], eta[chosen]


def chained_seeds(frame: Frame, width: Array, most: int) -> tuple[np.ndarray, Array]:
    """Seeds for three and more shots of nearly known roll: the first two by pairs, then shot after shot."""
    row, eta = pair_seeds(frame, width, 2, first_two=True)
    row = np.concatenate([np.arange(len(frame.eta)), row])
    eta = np.concatenate([frame.eta, eta])
    for shot in range(2, frame.problem.data.n_shots):
        row, eta = _aligned(frame, row, eta, np.arange(shot), shot)
        row, eta = _pruned(frame, row, eta)
    result = frame.problem.evaluate(frame.u[row], eta, frame.poses[row], rough=True)
    matched = result.ln_like > result.ln_unmatched + 0.1
    row, eta, value = row[matched], eta[matched], result.ln_like[matched]
    chosen = best_of_each(row, value + _tight_prior(frame, eta), most)
    return row[chosen], eta[chosen]


def _tight_prior(frame: Frame, eta: Array) -> Array:
    """ln of the normal priors against their peaks."""
    nuisances = frame.problem.nuisances
    strain = np.where(nuisances.uniform, 0.0, eta / np.where(nuisances.uniform, 1.0, nuisances.sigma))
    return -0.5 * (strain**2).sum(-1)


def _pruned(frame: Frame, row: np.ndarray, eta: Array) -> tuple[np.ndarray, Array]:
    """Keep the seeds of the highest likelihood in each row."""
    if len(row) == 0:
        return row, eta
    poses = frame.poses[row]
    value = frame.problem.evaluate(frame.u[row], eta, poses, rough=True).ln_like
    chosen = best_of_each(row, value + _tight_prior(frame, eta), _KEEP)
    return row[chosen], eta[chosen]


def _meeting_circles(frame: Frame, s: int, t: int) -> tuple[np.ndarray, Array]:
    """Rolls of shots s and t at which one spot of each lies on the same place of the Sun."""
    problem, shot = frame.problem, frame.problem.scene.detections.shot
    placed = place(problem.scene, frame.poses, problem.rolls(frame.eta), problem.squashes(frame.eta))
    centre_1, centre_2 = -frame.poses.axes[:, s, 2], -frame.poses.axes[:, t, 2]
    first, second = placed.point[:, shot == s], placed.point[:, shot == t]
    between = np.einsum("bi,bi->b", centre_1, centre_2)[:, None, None]
    cos_1 = np.einsum("bni,bi->bn", first, centre_1)[:, :, None]
    cos_2 = np.einsum("bni,bi->bn", second, centre_2)[:, None, :]
    across = np.maximum(1 - between**2, 1e-12)
    along_1, along_2 = (cos_1 - between * cos_2) / across, (cos_2 - between * cos_1) / across
    height2 = (1 - along_1**2 - along_2**2 - 2 * along_1 * along_2 * between) / across
    slack = 4 * np.sqrt(world.GATE**2 * (placed.spread**2).sum((-1, -2)).max()) / np.sqrt(across)
    b, i, j = np.nonzero(height2 > -slack)
    height = np.sqrt(np.maximum(height2[b, i, j], 0))[:, None]
    base = along_1[b, i, j][:, None] * centre_1[b] + along_2[b, i, j][:, None] * centre_2[b]
    normal = np.cross(centre_1[b], centre_2[b])
    rows, etas = [], []
    for sign in (1.0, -1.0):
        meeting = base + sign * height * normal
        eta = frame.eta[b].copy()
        eta[:, s] += _turn(centre_1[b], first[b, i], meeting)
        eta[:, t] += _turn(centre_2[b], second[b, j], meeting)
        rows.append(b)
        etas.append(eta)
    row, eta = np.concatenate(rows), np.concatenate(etas)
    return row, problem.nuisances.wrapped(eta)


def _aligned(
    frame: Frame, row: np.ndarray, eta: Array, known: np.ndarray, s: int
) -> tuple[np.ndarray, Array]:
    """Rolls of shot s that bring one of its spots next to a spot of the shots in `known`."""
    problem, shot = frame.problem, frame.problem.scene.detections.shot
    if len(row) == 0:
        return row, eta
    poses = frame.poses[row]
    placed = place(problem.scene, poses, problem.rolls(eta), problem.squashes(eta))
    centre = -poses.axes[:, s, 2]
    fixed, own = placed.point[:, np.isin(shot, known)], placed.point[:, shot == s]
    radius_fixed = np.arccos(np.clip(np.einsum("bni,bi->bn", fixed, centre), -1, 1))
    radius_own = np.arccos(np.clip(np.einsum("bni,bi->bn", own, centre), -1, 1))
    days = np.ptp(problem.scene.days)
    slack = world.GATE * np.sqrt(
        2 * (placed.spread**2).sum((-1, -2)).max() + (world.DRIFT_RAD_PER_DAY[-1] * days) ** 2
    )
    slack += 3 * np.max(
        problem.nuisances.sigma[: problem.data.n_shots][np.isfinite(problem.data.roll_sigma)], initial=0
    )
    b, i, j = np.nonzero(np.abs(radius_fixed[:, :, None] - radius_own[:, None, :]) < slack)
    new = eta[b].copy()
    new[:, s] += _turn(centre[b], own[b, j], fixed[b, i])
    return np.concatenate([row, row[b]]), np.concatenate([eta, problem.nuisances.wrapped(new)])


def _turn(axis: Array, start: Array, end: Array) -> Array:
    """Angle of the rotation about `axis` (b, 3) that carries the azimuth of `start` to that of `end`."""
    side = np.einsum("bi,bi->b", np.cross(axis, start), end)
    level = np.einsum("bi,bi->b", start, end) - np.einsum("bi,bi->b", axis, start) * np.einsum(
        "bi,bi->b", axis, end
    )
    return np.arctan2(side, level)

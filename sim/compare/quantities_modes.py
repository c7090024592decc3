"""Where the likelihood of measured quantities stands high in the nuisances, nothing being matched."""

from __future__ import annotations

import numpy as np

from ...models.geometry import Array
from .modes import Frame, Modes, best_of_each, without_twins
from .quantities_likelihood import Pull

_ROUNDS, _ANEW = 8, 2


def lone_modes(frame: Frame, node: np.ndarray, ln_flat: Array, most: int, places: tuple[int, ...]) -> Modes:
    """Modes of the quantities, from every row of the frame, in the nuisances at `places`.

    Parameters
    ----------
    frame : Frame
        One row for each start.
    node : ndarray of int
        Node of each row, not decreasing.
    ln_flat : ndarray
        ln likelihood of the spots with nothing matched, for each node.
    most : int
        Modes kept for each node.
    places : tuple of int
        Nuisances on which the quantities depend.

    Notes
    -----
    Each row starts from its own nuisances and from their least-squares solution: far from the measured value the
    robust likelihood does not pull. The predictions are taken as linear at first, then laid anew where they lead,
    twice.
    """
    problem, nuisances = frame.problem, frame.problem.nuisances
    columns = np.array(places)
    if columns.max() < nuisances.first_extra:  # all rows of a node start alike
        chosen = np.flatnonzero(np.diff(node, prepend=-1))
        frame, node = frame.part(chosen), node[chosen]
    assert frame.pull is not None
    row = np.tile(np.arange(len(node)), 2)
    leap = _step(frame, columns, frame.pull, frame.eta, robust=False)[0]
    start = np.concatenate([frame.eta, nuisances.inside(frame.eta + leap)])
    twice = frame.part(row)
    eta, value = _climbed(twice, columns, start)
    chosen = best_of_each(node[row], value, 2 * most)
    row = row[chosen]
    anew, eta = frame, eta[chosen]
    for _ in range(_ANEW):
        anew = Frame(problem, frame.u[row], eta)
        eta, value = _climbed(anew, columns, anew.eta)
    assert anew.pull is not None
    precision = _step(anew, columns, anew.pull.moved(eta - anew.eta), eta)[1]
    covariance = np.asarray(np.linalg.inv(precision), dtype=float)
    root = np.asarray(np.linalg.cholesky((covariance + np.swapaxes(covariance, 1, 2)) / 2), dtype=float)
    ln_volume = 0.5 * len(columns) * np.log(2 * np.pi) + np.log(np.einsum("mkk->mk", root)).sum(-1)
    where, part = node[row], eta[:, columns]
    order = best_of_each(where, value + ln_volume, len(where))
    order = without_twins(where, part, precision, np.zeros(len(columns), dtype=bool), order)
    order = order[best_of_each(where[order], (value + ln_volume)[order], most)]
    ln_prior = nuisances.ln_priors(eta[order])[:, columns].sum(1)
    ln_like = ln_flat[where[order]] + problem.ln_quantities(anew.u[order], eta[order])
    return Modes(where[order], part[order], root[order], ln_like + ln_prior + ln_volume[order])


def _step(
    frame: Frame, columns: np.ndarray, pull: Pull, eta: Array, *, robust: bool = True
) -> tuple[Array, Array, Array]:
    """Newton's step (m, k), precision (m, c, c) over the columns and ln posterior density (m,) at eta."""
    nuisances = frame.problem.nuisances
    gradient, precision, ln_like = pull.equations(frame.problem.data.quantities, robust=robust)
    prior = 1 / nuisances.width[columns] ** 2
    precision = precision[:, columns][..., columns] + np.diag(prior)
    back = np.where(nuisances.uniform[columns], 0.0, prior) * eta[:, columns]
    step = np.zeros(eta.shape)
    step[:, columns] = np.linalg.solve(precision, (gradient[:, columns] - back)[..., None])[..., 0]
    return step, precision, ln_like + nuisances.ln_priors(eta)[:, columns].sum(1)


def _climbed(frame: Frame, columns: np.ndarray, eta: Array) -> tuple[Array, Array]:
    """Best state on the way up from eta (m, k), predictions linear in the frame; and its ln posterior density."""
    assert frame.pull is not None
    best, best_value, share = eta, np.full(len(eta), -np.inf), np.ones(len(eta))
    for _ in range(_ROUNDS):
        step, _, value = _step(frame, columns, frame.pull.moved(eta - frame.eta), eta)
        better = value > best_value
        best = np.where(better[:, None], eta, best)
        best_value = np.maximum(value, best_value)
        share = np.where(better, 1.0, 0.3)
        eta = frame.problem.nuisances.inside(np.where(better[:, None], eta, best) + share[:, None] * step)
    return best, best_value

"""The sum over partitions into tracks for three and more shots, by hypotheses over connected components.

Detections that no gate links to each other cannot share a track, so the sum is a product over the connected
components of the gate graph. Inside a component the hypotheses grow shot by shot; those far below the best
are dropped.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np

from ...models.geometry import Array
from . import world
from .matching import PairList

KEEP_NATS = 12.0
MOST_HYPOTHESES = 200
Track = tuple[int, ...]


def sum_over_tracks(scene, placed, pairs: PairList, ln_single: Array, ln_density: Array, b: int) -> Array:
    """ln of the sum over partitions of PROD w(track) / PROD w(single), shape (b, f).

    Parameters
    ----------
    scene : Scene
    placed : Placed
        Places of the detections in every trial.
    pairs : PairList
        Pairs inside the gate.
    ln_single : ndarray, shape (b, n, f)
    ln_density : ndarray, shape (f,)
        ln of real spots per solid angle.
    """
    result = np.zeros((b, len(ln_density)))
    if len(pairs) == 0:
        return result
    n = len(scene.detections.shot)
    label = _components(pairs, b, n)
    size = np.zeros((b, n), dtype=int)
    np.add.at(size, (np.repeat(np.arange(b), n), label.ravel()), 1)
    lone_pair = size[pairs.trial, label[pairs.trial, pairs.first]] == 2
    np.add.at(result, pairs.trial[lone_pair], np.logaddexp(0.0, pairs.ln_ratio[lone_pair]))
    for members, trials in _groups(label, size):
        weights = _TrackWeights(scene, placed, ln_single, ln_density, trials)
        result[trials] += _component_sum(members, scene.detections.shot, weights)
    return result


def _components(pairs: PairList, b: int, n: int) -> np.ndarray:
    """Smallest detection number of the component of each detection, (b, n)."""
    label = np.tile(np.arange(n), (b, 1))
    while True:
        low = np.minimum(label[pairs.trial, pairs.first], label[pairs.trial, pairs.second])
        before = label.copy()
        np.minimum.at(label, (pairs.trial, pairs.first), low)
        np.minimum.at(label, (pairs.trial, pairs.second), low)
        if np.array_equal(before, label):
            return label


def _groups(label: np.ndarray, size: np.ndarray) -> Iterator[tuple[Track, np.ndarray]]:
    """Components of three and more detections, each with all trials in which it has the same members."""
    trial, root = np.nonzero(size > 2)
    if len(trial) == 0:
        return
    member = label[trial] == root[:, None]
    unique, place = np.unique(member, axis=0, return_inverse=True)
    place = place.ravel()
    for index, row in enumerate(unique):
        yield tuple(int(i) for i in np.flatnonzero(row)), trial[place == index]


class _TrackWeights:
    """ln of w(track) / PROD w(single) for the trials of one group, each computed once."""

    def __init__(self, scene, placed, ln_single: Array, ln_density: Array, trials: np.ndarray) -> None:
        self.shot, self.days = scene.detections.shot, scene.days
        self.point, self.spread = placed.point[trials], placed.spread[trials]
        self.ln_found, self.ln_missed = placed.ln_found[trials], placed.ln_missed[trials]
        self.ln_single, self.ln_density = ln_single[trials], ln_density
        self.known: dict[Track, Array] = {}

    def __getitem__(self, track: Track) -> Array:
        if len(track) == 1:
            return np.zeros((len(self.point), len(self.ln_density)))
        if track not in self.known:
            self.known[track] = self._weigh(list(track))
        return self.known[track]

    def _weigh(self, track: list[int]) -> Array:
        seen = self.shot[track]
        absent = np.setdiff1d(np.arange(len(self.days)), seen)
        missed = self.ln_missed[:, track][:, :, absent].mean(1).sum(-1)
        ln_g = ln_common_place(
            self.point[:, track], self.spread[:, track], self.days[seen] - self.days[seen].mean()
        )
        real = self.ln_found[:, track].sum(1) + ln_g + missed
        return real[:, None] + self.ln_density - self.ln_single[:, track].sum(1)


def ln_common_place(point: Array, spread: Array, days: Array) -> Array:
    """ln of INT d(place) PROD Normal(measured; place + drift days), mixed over the drift classes.

    Parameters
    ----------
    point : ndarray, shape (b, m, 3)
        Unit vectors carried to a common epoch by the rotation law.
    spread : ndarray, shape (b, m, 2, 3)
    days : ndarray, shape (m,)
        Times, from any zero.

    Returns
    -------
    ndarray, shape (b,)

    Notes
    -----
    The information form of a Kalman filter in place and drift on the tangent plane: every measurement
    adds H' W H with H = (1, days).
    """
    basis, offset, weight = _on_tangent(point, spread)
    del basis
    ln_each = 0.5 * np.log(np.linalg.det(weight)) - np.log(2 * np.pi)
    ln_each -= 0.5 * np.einsum("bmi,bmij,bmj->bm", offset, weight, offset)
    information = np.zeros((len(point), 4, 4))
    pull = np.zeros((len(point), 4))
    for index, day in enumerate(days):
        w, x = weight[:, index], offset[:, index]
        wx = np.einsum("bij,bj->bi", w, x)
        information[:, :2, :2] += w
        information[:, :2, 2:] += w * day
        information[:, 2:, :2] += w * day
        information[:, 2:, 2:] += w * day**2
        pull[:, :2] += wx
        pull[:, 2:] += wx * day
    terms = []
    for rate, share in zip(world.DRIFT_RAD_PER_DAY, world.DRIFT_SHARES, strict=True):
        whole = information.copy()
        whole[:, [2, 3], [2, 3]] += 1 / rate**2
        solved = np.linalg.solve(whole, pull[..., None])[..., 0]
        ln_integral = (
            2 * np.log(2 * np.pi)
            - 0.5 * np.log(np.linalg.det(whole))
            + 0.5 * np.einsum("bi,bi->b", pull, solved)
        )
        terms.append(np.log(share) - np.log(2 * np.pi * rate**2) + ln_integral + ln_each.sum(1))
    return np.logaddexp(*terms)


def _on_tangent(point: Array, spread: Array) -> tuple[Array, Array, Array]:
    """Tangent basis (b, 2, 3) at the mean place, offsets (b, m, 2) from it, inverse covariances."""
    middle = point.mean(1)
    middle /= np.linalg.norm(middle, axis=-1, keepdims=True)
    flat = np.maximum(np.hypot(middle[:, 0], middle[:, 1]), 1e-12)
    east = np.stack([-middle[:, 1] / flat, middle[:, 0] / flat, 0 * flat], axis=-1)
    basis = np.stack([east, np.cross(middle, east)], axis=1)
    offset = point @ np.swapaxes(basis, 1, 2)
    rows = spread @ np.swapaxes(basis, 1, 2)[:, None]
    cov: Array = np.swapaxes(rows, -1, -2) @ rows + world.JITTER_RAD**2 * np.eye(2)
    return basis, offset, np.asarray(np.linalg.inv(cov), dtype=float)


def _component_sum(members: Track, shot: np.ndarray, weights: _TrackWeights) -> Array:
    """ln of the sum over partitions of one component, (g, f)."""
    hypotheses: list[tuple[tuple[Track, ...], Array]] = [((), weights[members[:1]])]
    for s in np.unique(shot[list(members)]):
        arrivals = [i for i in members if shot[i] == s]
        grown = []
        for tracks, value in hypotheses:
            grown += [
                _joined(tracks, value, arrivals, choice, weights)
                for choice in _choices(len(tracks), len(arrivals))
            ]
        hypotheses = _pruned(grown)
    values = np.stack([value for _, value in hypotheses])
    top = values.max(0)
    return top + np.log(np.exp(values - top).sum(0))


def _choices(n_tracks: int, n_arrivals: int) -> Iterator[tuple[int, ...]]:
    """Ways to give each arrival a track (-1: a new one), no track twice."""
    for choice in product(range(-1, n_tracks), repeat=n_arrivals):
        taken = [c for c in choice if c >= 0]
        if len(taken) == len(set(taken)):
            yield choice


def _joined(
    tracks: tuple[Track, ...],
    value: Array,
    arrivals: list[int],
    choice: tuple[int, ...],
    weights: _TrackWeights,
) -> tuple[tuple[Track, ...], Array]:
    new = list(tracks)
    for arrival, c in zip(arrivals, choice, strict=True):
        if c < 0:
            new.append((arrival,))
        else:
            longer = (*tracks[c], arrival)
            value = value + weights[longer] - weights[tracks[c]]
            new[c] = longer
    return tuple(new), value


def _pruned(hypotheses: list) -> list:
    """Drop what lies 12 nats below the best in every trial, and all beyond the heaviest 200."""
    values = np.stack([value for _, value in hypotheses])
    below = (values - values.max(0)).max((1, 2))
    order = np.argsort(-below, kind="stable")[:MOST_HYPOTHESES]
    return [hypotheses[i] for i in order if below[i] > -KEEP_NATS]

"""The turn of the spot pattern about the disc's centre between two shots."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ...models.geometry import Array

EVOLUTION_DEG, EVOLUTION_95_DEG = 0.23, 0.93
"""Turn error that one spot's own motion brings in 12 h at 68 and 95 %: real umbrae tracked for one week."""

_TAIL_DOF, _TAIL_SCALE_DEG = 1.522, 0.1578
"""Student's t whose central 68.3 and 95 % are the two numbers above."""

_MOST_DOF = 10.0  # of a spot whose place is less sure than its own motion is small
_FULL_RADIUS = 0.5  # limb radii inside which the same motion turns a spot the more, as 1/r
_LEAST_FOR_PATTERN = 3
_DRAWS, _MOST_DRAWN = 8000, 60


@dataclass(frozen=True)
class Turn:
    """A measured turn, anticlockwise positive, wrapped to (-180, 180].

    Parameters
    ----------
    turn_deg : float
    sigma_deg : float or None
        Half of the interval that holds 68 %; None where a roll is unknown (a hand-held camera).
    spots_used : int
    scatter : float
        rms distance, in limb radii, of the spots from the turned pattern.
    low95_deg, high95_deg : float or None
        Interval that holds 95 %, not wrapped; more than two sigmas wide either way, for spots evolve with
        heavy tails.
    """

    turn_deg: float
    sigma_deg: float | None
    spots_used: int
    scatter: float
    low95_deg: float | None
    high95_deg: float | None


def pattern_turn(
    a: Array,
    b: Array,
    own_covariances: tuple[Array, Array],
    shared_modes: tuple[Array, Array],
    rolls_sigma_deg: tuple[float | None, float | None],
    days: float | None,
) -> Turn | None:
    """Robust least-squares turn about the disc's centre that carries the places `a` to `b`.

    Parameters
    ----------
    a, b : ndarray, shape (n, 2)
        Matched places in the disc frame.
    own_covariances : (ndarray, ndarray), each shape (n, 2, 2)
        Those of single spots, not shared.
    shared_modes : (ndarray, ndarray), each shape (k, n, 2)
        What each shot's limb does to all its spots: k independent displacements of one sigma, limb radii.
    rolls_sigma_deg : (float or None, float or None)
        The cameras' rolls. They are independent and enter the turn's sigma whole: the sigma is the honest
        total of places, limbs, rolls and the spots' own motion.
    days : float, optional
        Time between the shots, half a day where unknown; scales the spots' own motion.

    Returns
    -------
    Turn, or None without a spot off the centre.

    Notes
    -----
    With z = x + iy the turn is arg sum conj(z_a) z_b: the rotation of least squared distances. Of three
    spots or more, one that moved by itself is drawn towards where the others' rotation of the sphere
    carries it, by the weight of Student's t, whose degrees of freedom grow with the Gaussian part that the
    place's own sigma has in the sum. The intervals come from draws of both through the same weights, with what
    all spots share (limbs, rolls) added.
    """
    from_, to = a[:, 0] + 1j * a[:, 1], b[:, 0] + 1j * b[:, 1]
    if float(np.sum(np.abs(from_) * np.abs(to))) < 1e-3:
        return None
    radius = np.sqrt(np.abs(from_) * np.abs(to))
    elapsed = (0.5 if days is None else abs(days)) / 0.5
    evolution = np.radians(_TAIL_SCALE_DEG) * elapsed * _FULL_RADIUS / np.clip(radius, 0.02, _FULL_RADIUS)
    own_angle = np.sqrt(sum(np.trace(c, axis1=1, axis2=2) for c in own_covariances) / 2) / np.maximum(
        radius, 0.02
    )
    core = np.hypot(evolution, own_angle)
    # Places err as a Gaussian: the larger their part, the less does the sum look like Student's t.
    dof = np.minimum(_TAIL_DOF * (core / np.maximum(evolution, 1e-9)) ** 2, _MOST_DOF)
    to_used = to * np.exp(-1j * _stray(a, b, core, dof)) if len(a) >= _LEAST_FOR_PATTERN else to
    total = np.sum(np.conj(from_) * to_used)
    if abs(total) < 1e-9:
        return None
    turn = math.atan2(total.imag, total.real)
    size, step = abs(total), np.exp(1j * turn)
    pull_b, pull_a = _across(from_ * step) / size, _across(to_used / step) / size
    own = np.einsum("ni,nij,nj->n", pull_a, own_covariances[0], pull_a)
    own += np.einsum("ni,nij,nj->n", pull_b, own_covariances[1], pull_b)
    shared = np.sum(np.einsum("kni,ni->k", shared_modes[0], pull_a) ** 2)
    shared += np.sum(np.einsum("kni,ni->k", shared_modes[1], pull_b) ** 2)
    scatter = float(np.sqrt(np.mean(np.abs(to - from_ * step) ** 2)))
    degrees = _wrapped(math.degrees(turn))
    rolls = [sigma for sigma in rolls_sigma_deg if sigma is not None]
    if len(rolls) < 2:
        return Turn(degrees, None, len(a), scatter, None, None)
    gaussian = math.hypot(math.degrees(math.sqrt(shared)), *rolls)
    share = np.real(np.conj(from_) * to_used / step) / size
    spread = _Spread(
        np.degrees(evolution),
        np.degrees(np.sqrt(own) / np.maximum(np.abs(share), 1e-6)),
        np.degrees(core),
        dof,
    )
    half68, half95 = _half_widths(gaussian, spread, share)
    return Turn(degrees, half68, len(a), scatter, degrees - half95, degrees + half95)


def _across(places: Array) -> Array:
    """Vectors (n, 2) across the complex places, anticlockwise."""
    return np.stack([-places.imag, places.real], axis=1)


@dataclass(frozen=True)
class _Spread:
    """Angles (n,) in degrees by which single spots err: own motion, own place, both, and the sum's Student dof."""

    evolution: Array
    place: Array
    core: Array
    dof: Array


def _tail_weight(ratio: Array, dof: Array) -> Array:
    """Student's weight, at most 1, of a residual over the core's sigma."""
    return np.minimum((dof + 1) / (dof + ratio**2), 1.0)


def _stray(a: Array, b: Array, core: Array, dof: Array) -> Array:
    """Angles (n,) about the centre by which spots left the pattern's rotation of the sphere, to be undone."""
    p, q = _on_sphere(a), _on_sphere(b)
    weight = np.ones(len(a))
    angle = np.zeros(len(a))
    for _ in range(12):
        moment = np.einsum("n,ni,nj->ij", weight, q, p)
        u, _, v = np.linalg.svd(moment)
        carried = p @ (u @ np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ v))]) @ v).T
        across = carried[:, 0] - 1j * carried[:, 1]
        angle = np.angle(across * (b[:, 0] + 1j * b[:, 1]))
        weight = _tail_weight(np.linalg.norm(carried - q, axis=1) / (core * _FULL_RADIUS), dof)
    return angle * (1 - _tail_weight(angle / core, dof))


def _on_sphere(xy: Array) -> Array:
    z = np.sqrt(np.maximum(1 - np.sum(xy**2, axis=1), 0.02))
    vectors = np.column_stack([xy, z])
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


@lru_cache(maxsize=1)
def _draws() -> tuple[Array, Array, Array]:
    """Gaussian (m,) and (m, 60) and Student draws (m, 60): always the same, so that results repeat."""
    rng = np.random.default_rng(20240713)
    shape = _DRAWS, _MOST_DRAWN
    return rng.normal(size=_DRAWS), rng.standard_t(_TAIL_DOF, size=shape), rng.normal(size=shape)


def _half_widths(gaussian: float, spread: _Spread, share: Array) -> tuple[float, float]:
    """Half widths in degrees that hold 68.3 and 95 % of shared and spots' own errors together."""
    normal, tails, places = _draws()
    n = min(len(share), _MOST_DRAWN)
    share, core, dof = share[:n], spread.core[:n], spread.dof[:n]
    own = tails[:, :n] * spread.evolution[:n] + places[:, :n] * spread.place[:n]
    moved = own @ share
    if len(share) >= _LEAST_FOR_PATTERN:
        spare = math.sqrt((2 * n - 3) / (2 * n - 1))  # the sphere's tilt takes its part of the residuals
        # As the estimate does: what all share is the turn, what one spot has of its own is pulled in.
        for _ in range(4):
            left = own - moved[:, None]
            weight = _tail_weight(spare * left / core, dof)
            moved = np.sum(weight * own * share, axis=1) / np.sum(weight * share, axis=1)
        left = own - moved[:, None]
        moved = moved + (left * _tail_weight(spare * left / core, dof)) @ share
        moved = moved * (
            1 + 0.5 / (n - 1)
        )  # few spots judge one another badly: by trial, coverage 64 to 68 %
    error = np.abs(gaussian * normal + moved)
    return float(np.quantile(error, 0.6827)), float(np.quantile(error, 0.95))


def _wrapped(degrees: float) -> float:
    value = math.remainder(degrees, 360)
    return 180.0 if value == -180 else value

"""The turn of the spot pattern about the disc's centre between two shots."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array

EVOLUTION_DEG = 0.23
"""Turn error that one spot's own motion brings in 12 h, 68 % (95 %: 0.93, heavy tails): real umbrae, one week."""


@dataclass(frozen=True)
class Turn:
    """A measured turn, anticlockwise positive, wrapped to (-180, 180].

    Parameters
    ----------
    turn_deg : float
    sigma_deg : float or None
        None where a roll is unknown (a hand-held camera).
    spots_used : int
    scatter : float
        rms distance, in limb radii, of the spots from the turned pattern.
    """

    turn_deg: float
    sigma_deg: float | None
    spots_used: int
    scatter: float


def pattern_turn(
    a: Array,
    b: Array,
    own_covariances: tuple[Array, Array],
    centre_sigma: float,
    rolls_sigma_deg: tuple[float | None, float | None],
    days: float | None,
) -> Turn | None:
    """Least-squares turn about the disc's centre that carries the places `a` to `b`.

    Parameters
    ----------
    a, b : ndarray, shape (n, 2)
        Matched places in the disc frame.
    own_covariances : (ndarray, ndarray), each shape (n, 2, 2)
        Those of single spots, not shared.
    centre_sigma : float
        Uncertainty of the disc's centres of both shots together, limb radii; it moves all spots alike.
    rolls_sigma_deg : (float or None, float or None)
        The cameras' rolls. They are independent and enter the turn's sigma whole: the sigma is the honest
        total of places, centres, rolls and the spots' own motion.
    days : float, optional
        Time between the shots, half a day where unknown; scales the spots' own motion.

    Returns
    -------
    Turn, or None without a spot off the centre.

    Notes
    -----
    With z = x + iy the turn is arg sum conj(z_a) z_b: the rotation of least squared distances.
    """
    from_, to = a[:, 0] + 1j * a[:, 1], b[:, 0] + 1j * b[:, 1]
    weight = float(np.sum(np.abs(from_) * np.abs(to)))
    if weight < 1e-3:
        return None
    total = np.sum(np.conj(from_) * to)
    if abs(total) < 1e-9:
        return None
    turn = math.atan2(total.imag, total.real)
    across_a = np.stack([-a[:, 1], a[:, 0]], axis=1)
    across_b = np.stack([-b[:, 1], b[:, 0]], axis=1)
    own = np.einsum("ni,nij,nj->", across_b, own_covariances[0], across_b)
    own += np.einsum("ni,nij,nj->", across_a, own_covariances[1], across_a)
    shared = (centre_sigma * abs(np.sum(from_))) ** 2
    places = math.degrees(math.sqrt(own + shared) / weight)
    share = float(np.sum(np.abs(from_) ** 4) / np.sum(np.abs(from_) ** 2) ** 2)
    evolution = EVOLUTION_DEG * (0.5 if days is None else abs(days)) / 0.5 * math.sqrt(share)
    rotated = from_ * np.exp(1j * turn)
    scatter = float(np.sqrt(np.mean(np.abs(to - rotated) ** 2)))
    rolls = [sigma for sigma in rolls_sigma_deg if sigma is not None]
    sigma = math.hypot(places, evolution, *rolls) if len(rolls) == 2 else None
    return Turn(_wrapped(math.degrees(turn)), sigma, len(a), scatter)


def _wrapped(degrees: float) -> float:
    value = math.remainder(degrees, 360)
    return 180.0 if value == -180 else value

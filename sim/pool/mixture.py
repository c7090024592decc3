"""How likely a row's angle is: right, or one of the blunders that people make, in fixed shares.

With turn t, measured y, common offset b and error e: y = t + b + e, e a Student t (4 degrees of freedom) of
scale^2 = stated^2 + tau^2. The same for every model.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ...models.geometry import Array
from ..rotation import RotationLaw
from .predict import Group, Predicted, View, groups_of, mirrored, predict_turns, shifted
from .spread import averaged_density, spread_table
from .submissions import KIND_NUMBER, Submissions

RIGHT, SIGN_OR_MIRROR, HOUR, ANY = 0.90, 0.04, 0.01, 0.04  # prior shares; HOUR each way
COMPONENTS = ("right", "sign", "mirrored", "hour-earlier", "hour-later", "any")
OFFSET_SIGMA = np.deg2rad(3.0)
LN_TAU, LN_TAU_SIGMA = np.log(np.deg2rad(3.0)), 0.7
_ANY_DENSITY = 1 / (2 * np.pi)


class Blunders(NamedTuple):
    """How a row's prediction changes under a blunder, at one reference value of the parameters.

    Attributes
    ----------
    mirrored, earlier, later : Predicted, shape (n, 1)
        Of the row with its place mirrored (rows with a place only), or its times moved by an hour.
    reference : Predicted, shape (n, 1)
    """

    mirrored: Predicted
    earlier: Predicted
    later: Predicted
    reference: Predicted


class Prepared(NamedTuple):
    """Rows ready for prediction: as they are, mirrored, and an hour earlier and later."""

    plain: tuple[Group, ...]
    mirrored: tuple[Group, ...]
    earlier: tuple[Group, ...]
    later: tuple[Group, ...]

    @classmethod
    def of(cls, rows: Submissions) -> Prepared:
        """Groups of the rows and of their blunders."""
        plain = groups_of(rows)
        return cls(plain, mirrored(plain), *(groups_of(shifted(rows, hours)) for hours in (-1.0, 1.0)))


def blunders_of(prepared: Prepared, view: View, law: RotationLaw) -> Blunders:
    """Predictions of the rows and of their blunders, for a view of one parameter value."""
    plain, other, earlier, later = (predict_turns(groups, view, law, 1) for groups in prepared)
    return Blunders(other, earlier, later, plain)


def shares_of(rows: Submissions) -> Array:
    """Prior share of every component, shape (n, 6): a place parts mirroring from a flipped sign."""
    placed = rows.placed[:, None]
    half = SIGN_OR_MIRROR / 2
    told = np.array([RIGHT, half, half, HOUR, HOUR, ANY])
    plain = np.array([RIGHT, SIGN_OR_MIRROR, 0.0, HOUR, HOUR, ANY])
    return np.where(placed, told, plain)


def densities(
    rows: Submissions, found: Predicted, blunders: Blunders, offset: Array, ln_tau: Array
) -> list[Array]:
    """Share times density (per radian) of every component, each shape (n, p).

    Parameters
    ----------
    rows : Submissions, n rows
    found : Predicted, shape (n, p)
    blunders : Blunders
    offset, ln_tau : ndarray, shape (p,)
        Radians.
    """
    measured = np.deg2rad(rows.turn_deg)[:, None]
    scale = np.sqrt(np.deg2rad(rows.sigma_deg)[:, None] ** 2 + np.exp(2 * ln_tau))
    share = shares_of(rows)

    def part(number: int, angle: Array, there: Predicted) -> Array:
        density = _density(rows, angle - offset, there, scale)
        return share[:, number, None] * np.where(np.isfinite(density), density, 0.0) * there.seen

    moved = [
        _moved(found, blunder, blunders.reference)
        for blunder in (blunders.mirrored, blunders.earlier, blunders.later)
    ]
    return [
        part(0, measured, found),
        part(1, -measured, found),
        part(2, -measured, moved[0]) if rows.placed.any() else np.zeros(found.turn.shape),
        part(3, measured, moved[1]),
        part(4, measured, moved[2]),
        np.broadcast_to(share[:, 5, None] * _ANY_DENSITY, found.turn.shape),
    ]


def t4(residual: Array) -> Array:
    """Density of Student's t with 4 degrees of freedom, without the logarithm's detour."""
    wide = 1 + residual**2 / 4
    return 0.375 / (wide * wide * np.sqrt(wide))


def _moved(found: Predicted, blunder: Predicted, reference: Predicted) -> Predicted:
    tilt = np.clip(found.tilt + (blunder.tilt - reference.tilt), 0, np.pi)
    seen = np.broadcast_to(blunder.seen, found.seen.shape)
    return Predicted(found.turn + (blunder.turn - reference.turn), tilt, seen)


def _density(rows: Submissions, angle: Array, there: Predicted, scale: Array) -> Array:
    """Density per radian of the angle less the offset, (n, p); nan without a prediction."""
    off = angle - there.turn
    off = off - 2 * np.pi * np.rint(off / (2 * np.pi))
    spread = rows.averaged
    if not spread.any():
        return t4(off / scale) / scale
    result = np.empty(off.shape)
    exact = ~spread
    result[exact] = t4(off[exact] / scale[exact]) / scale[exact]
    for kind in ("spot", "pattern"):
        index = np.flatnonzero(spread & (rows.kind == KIND_NUMBER[kind]))
        if len(index):
            known = np.isfinite(off[index])
            tilt = np.where(known, there.tilt[index], 0.0)
            table = spread_table(kind == "pattern")
            value = averaged_density(np.where(known, off[index], 0.0), tilt, scale[index], table)
            result[index] = np.where(known, value, np.nan)
    return result

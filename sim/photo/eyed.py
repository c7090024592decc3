"""A spot that an eye sees: measured where something dark is, placed with an honest sigma where nothing is."""

from __future__ import annotations

import math

import numpy as np

from ...models.geometry import Array
from ..outing import Spot
from .field import disc_field
from .limb import Limb, place_covariance
from .load import Photo, linear_table
from .pieces import cut_pieces
from .spots import MeasuredSpot, measure_piece

_SIGMAS, _DEPTH = 3.0, 0.03
_GROW_SIGMAS, _GROW_DEPTH = 1.5, 0.015
_REACH = 0.02  # limb radii: how far from the given place the dark thing may lie
_LEAST_REACH_PX = 3.0
_BY_EYE, _LEAST_BY_EYE_PX = 0.006, 2.0  # limb radii and pixels: how well an eye places a spot (a choice)


def measure_at(photo: Photo, limb: Limb, column: float, row: float) -> tuple[MeasuredSpot, bool]:
    """The spot at a place of the photo, and whether it was measured there.

    Parameters
    ----------
    photo : Photo
    limb : Limb
    column, row : float
        Pixels; something dark is looked for within 0.02 limb radii (3 pixels at least), by half of the
        detector's threshold.

    Returns
    -------
    (MeasuredSpot, bool)
        False where nothing dark stands out: the spot is then placed as given, without area and darkness.
    """
    table = linear_table(photo.luma)
    field, _ = disc_field(photo, table, limb)
    if field is not None:
        low = np.maximum(_GROW_SIGMAS * field.sigma, _GROW_DEPTH)
        high = np.maximum(_SIGMAS * field.sigma, _DEPTH)
        reach = max(_REACH * limb.disc.a, _LEAST_REACH_PX)
        best = None
        for piece in cut_pieces(field.smooth, field.depth, field.sigma, low, high, field.usable):
            spot = measure_piece(photo, table, limb, field, piece)
            if isinstance(spot, MeasuredSpot):
                gap = math.hypot(spot.column - column, spot.row - row)
                if gap < reach and (best is None or gap < best[0]):
                    best = gap, spot
        if best is not None:
            return best[1], True
    return _placed(limb, column, row), False


def _placed(limb: Limb, column: float, row: float) -> MeasuredSpot:
    disc = limb.disc
    x, y = (float(value) for value in disc.to_disc(np.array(column), np.array(row)))
    spread = max(_BY_EYE * disc.a, _LEAST_BY_EYE_PX, limb.ripple_px)
    jacobian = disc.jacobian(x, y)
    own = spread**2 * jacobian @ jacobian.T
    return _bare(limb, x, y, own)


def spot_of_file(limb: Limb, spot: Spot) -> MeasuredSpot:
    """A spot that stands in an outing file as the photo's others are kept."""
    shared = spot.correlation * spot.sigma_x * spot.sigma_y
    own = np.array([[spot.sigma_x**2, shared], [shared, spot.sigma_y**2]])
    area = math.nan if spot.area_msh is None else spot.area_msh
    darkness = math.nan if spot.darkness is None else spot.darkness
    return _bare(limb, spot.x, spot.y, own, area, darkness)


def _bare(
    limb: Limb, x: float, y: float, own: Array, area: float = math.nan, darkness: float = math.nan
) -> MeasuredSpot:
    column, row = (float(value) for value in limb.disc.to_pixels(np.array(x), np.array(y)))
    whole = own + place_covariance(limb, x, y)
    pixel = round(column), round(row)
    return MeasuredSpot(column, row, x, y, whole, own, area, darkness, pixel, 0.0)

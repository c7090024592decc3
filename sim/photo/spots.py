"""Dark spots on the disc: detection against the fitted background, places, areas, and what is no spot."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .background import Background, fit_background
from .edges import beyond_line
from .impostors import impostors
from .limb import Limb, place_covariance
from .load import Photo, linear_table
from .pieces import Piece, cut_pieces

DETECT_SIGMAS = 6.0
LEAST_DEPTH = 0.10
MAX_RADIUS = 0.98
_DETECT_DIAMETER_PX = 900
_GROW_SIGMAS, _GROW_DEPTH = 3.0, 0.05
_BRIGHT, _NEARLY_WHITE = 1.5, 0.6
_LEAST_MARK_PIXELS = 6
_RIPPLE_GAIN = 1.1
_PLACE_FLOOR_PX = 0.05
_MOST_SPOTS = 60


@dataclass(frozen=True)
class MeasuredSpot:
    """One dark spot, umbra and penumbra together.

    Parameters
    ----------
    column, row : float
        Darkness-weighted centroid in the picture, pixels.
    x, y : float
        The same in the disc frame, squash and roll undone.
    covariance : ndarray, shape (2, 2)
        Of x, y: centroid noise, the air's ripple and the limb's uncertainty.
    own_covariance : ndarray, shape (2, 2)
        The part that is not shared with the other spots of the photo.
    area_msh : float
        Millionths of the solar hemisphere, foreshortening undone.
    darkness : float
        Depth of the darkest part below the photosphere, 0 to 1, linear light.
    darkest_px : tuple of int
        Column and row of the darkest pixel.
    significance : float
        Peak depth over the noise.
    """

    column: float
    row: float
    x: float
    y: float
    covariance: Array
    own_covariance: Array
    area_msh: float
    darkness: float
    darkest_px: tuple[int, int]
    significance: float


@dataclass(frozen=True)
class SpotFindings:
    """Spots by falling area, and what was refused: (column, row, reason)."""

    spots: tuple[MeasuredSpot, ...]
    refused: tuple[tuple[float, float, str], ...]
    clipped_share: float


@dataclass(frozen=True)
class _Field:
    """The disc at the detection's scale."""

    step: int
    left: int
    top: int
    depth: Array
    smooth: Array
    sigma: Array
    usable: npt.NDArray[np.bool_]
    marked: npt.NDArray[np.bool_]
    background: Background


def find_spots(photo: Photo, limb: Limb) -> SpotFindings:
    """Measure every dark spot with r <= 0.98 that is at least 10 % deep and 6 sigma above the noise."""
    table = linear_table(photo.luma)
    field, clipped = _field(photo, table, limb)
    if field is None:
        return SpotFindings((), (), clipped)
    pieces = _pieces(field)
    refused = impostors(
        pieces,
        field.usable,
        field.marked,
        blur_px=limb.edge_sigma_px / field.step,
        radius_px=limb.disc.a / field.step,
    )
    spots, reasons = [], []
    for index, piece in enumerate(pieces):
        reason = refused.get(index, "")
        spot = None if reason else _measure(photo, table, limb, field, piece)
        if spot is None:
            if reason:
                row, column = piece.peak
                reasons.append((*_full(field, column, row), reason))
        elif isinstance(spot, str):
            row, column = piece.peak
            reasons.append((*_full(field, column, row), spot))
        else:
            spots.append(spot)
    spots.sort(key=lambda spot: -spot.area_msh)
    return SpotFindings(tuple(spots[:_MOST_SPOTS]), tuple(reasons), clipped)


def _full(field: _Field, column: float, row: float) -> tuple[float, float]:
    shift = (field.step - 1) / 2
    return field.left + field.step * column + shift, field.top + field.step * row + shift


def _field(photo: Photo, table: npt.NDArray[np.float32], limb: Limb) -> tuple[_Field | None, float]:
    disc, luma = limb.disc, photo.luma
    step = max(1, -(-int(2 * disc.a) // _DETECT_DIAMETER_PX))
    columns, rows = disc.outline()
    left, top = max(int(columns.min()) - 2, 0), max(int(rows.min()) - 2, 0)
    width = (min(int(columns.max()) + 3, luma.shape[1]) - left) // step
    height = (min(int(rows.max()) + 3, luma.shape[0]) - top) // step
    cut = luma[top : top + height * step, left : left + width * step]
    light = table[cut]
    full_scale = len(table) - 1
    clipped = (cut >= 0.992 * full_scale).astype(np.float32)
    if step > 1:
        light = light.reshape(height, step, width, step).mean(axis=(1, 3))
        clipped = clipped.reshape(height, step, width, step).mean(axis=(1, 3))
    light = light.astype(float)
    shift = (step - 1) / 2
    grid_rows, grid_columns = np.mgrid[:height, :width].astype(float)
    full_columns, full_rows = left + step * grid_columns + shift, top + step * grid_rows + shift
    x, y = disc.to_disc(full_columns, full_rows)
    rho = np.hypot(x, y)
    edge = min(0.988, 1 - 2.2 * limb.edge_sigma_px / disc.a - 0.5 * step / disc.a)
    usable = rho < edge
    if limb.horizon is not None:
        usable &= ~beyond_line(full_columns, full_rows, disc, limb.horizon, 0.02)
    share = float(np.mean(clipped[usable] > 0.5)) if np.any(usable) else 1.0
    usable &= clipped < 0.1
    if np.count_nonzero(usable) < 400:
        return None, share
    background = fit_background(light, x, y, usable)
    ratio = light / np.maximum(background.at(x, y), 1e-6)
    marked = _bright_marks(ratio, usable, light)
    usable &= ~marked
    background = fit_background(light, x, y, usable)
    depth = np.where(usable, 1 - light / np.maximum(background.at(x, y), 1e-6), 0.0)
    width_px = max(0.8, 0.7 * limb.edge_sigma_px / step)
    weight = ndimage.gaussian_filter(usable.astype(float), width_px)
    smooth = np.where(usable, ndimage.gaussian_filter(depth, width_px) / np.maximum(weight, 0.05), 0.0)
    sigma = _noise(smooth, rho, usable)
    return _Field(step, left, top, depth, smooth, sigma, usable, marked, background), share


def _bright_marks(ratio: Array, usable: npt.NDArray[np.bool_], light: Array) -> npt.NDArray[np.bool_]:
    """Captions and other nearly white marks on a darker disc, with the ringing round them.

    A lone bright pixel or two belong to faculae.
    """
    core = usable & (ratio > _BRIGHT) & (light > _NEARLY_WHITE)
    if np.count_nonzero(core) < _LEAST_MARK_PIXELS:
        return np.zeros_like(core)
    labels: Any = ndimage.label(usable & (ratio > 1.2), structure=np.ones((3, 3)))[0]  # type: ignore[index]
    grown = (np.bincount(labels[core], minlength=int(labels.max()) + 1) >= _LEAST_MARK_PIXELS)[labels]
    grown &= labels > 0
    return np.logical_and(ndimage.binary_dilation(grown, iterations=3), usable)


def _noise(depth: Array, rho: Array, usable: Any) -> Array:
    """Robust sigma of the spotless disc as a function of the radius, per pixel."""
    edges = np.array([0, 0.35, 0.55, 0.7, 0.8, 0.87, 0.92, 0.95, 0.975, 1.0])
    middles, values = [], []
    for low, high in pairwise(edges):
        ring = depth[usable & (rho >= low) & (rho < high)]
        if len(ring) > 60:
            # The upper half holds the spots; the lower half does not.
            low_side = np.median(ring) - np.percentile(ring, 15.87)
            middles.append((low + high) / 2)
            values.append(max(low_side, 1.4826 * np.median(np.abs(ring - np.median(ring))), 1e-4))
    if not values:
        return np.full(depth.shape, np.inf)
    return np.interp(rho, middles, values)


def _pieces(field: _Field) -> list[Piece]:
    """Connected dark regions with a deep enough peak, cut into single spots."""
    low = np.maximum(_GROW_SIGMAS * field.sigma, _GROW_DEPTH)
    high = np.maximum(DETECT_SIGMAS * field.sigma, LEAST_DEPTH)
    return cut_pieces(field.smooth, field.depth, field.sigma, low, high, field.usable)


def _measure(
    photo: Photo, table: npt.NDArray[np.float32], limb: Limb, field: _Field, piece: Piece
) -> MeasuredSpot | str | None:
    """Centroid, area and darkness on the full-size picture."""
    step, disc = field.step, limb.disc
    top = field.top + step * (piece.origin[0] - 1)
    left = field.left + step * (piece.origin[1] - 1)
    mask = np.pad(piece.mask, 1)
    mask = np.repeat(np.repeat(mask, step, axis=0), step, axis=1)
    rows, columns = np.nonzero(mask)
    rows, columns = rows + top, columns + left
    inside = (rows >= 0) & (columns >= 0) & (rows < photo.luma.shape[0]) & (columns < photo.luma.shape[1])
    rows, columns = rows[inside], columns[inside]
    x, y = disc.to_disc(columns.astype(float), rows.astype(float))
    depth = 1 - table[photo.luma[rows, columns]] / np.maximum(field.background.at(x, y), 1e-6)
    total = float(np.sum(depth))
    if total <= 0:
        return None
    column, row = float(np.sum(depth * columns) / total), float(np.sum(depth * rows) / total)
    centre_x, centre_y = (float(value) for value in disc.to_disc(np.array(column), np.array(row)))
    if np.hypot(centre_x, centre_y) > MAX_RADIUS:
        return "too near the limb"
    offset = np.stack([columns - column, rows - row])
    jacobian = disc.jacobian(centre_x, centre_y)
    # Noise power of one full-size pixel, from what the detection's Gaussian left of it.
    sigma = float(field.sigma[piece.peak]) * np.sqrt(4 * np.pi) * max(0.8, 0.7 * limb.edge_sigma_px / step)
    noise = sigma**2 * step**2 * (offset @ offset.T) / total**2
    spread = (_RIPPLE_GAIN * limb.ripple_px) ** 2 + _PLACE_FLOOR_PX**2
    own = jacobian @ (noise + spread * np.eye(2)) @ jacobian.T
    mu = np.sqrt(np.clip(1 - x**2 - y**2, 0.03, 1))
    area = abs(float(np.linalg.det(jacobian))) * float(np.sum(1 / mu)) / (2 * np.pi) * 1e6
    darkest = int(np.argmin(photo.luma[rows, columns]))
    return MeasuredSpot(
        column,
        row,
        centre_x,
        centre_y,
        own + place_covariance(limb, centre_x, centre_y),
        own,
        area,
        float(min(max(piece.depth, _peak(photo, table, field, piece, limb)), 1.0)),
        (int(columns[darkest]), int(rows[darkest])),
        piece.significance,
    )


def _peak(photo: Photo, table: npt.NDArray[np.float32], field: _Field, piece: Piece, limb: Limb) -> float:
    """Depth of the darkest 3 by 3 pixels' middle at full size."""
    column, row = (round(value) for value in _full(field, piece.peak[1], piece.peak[0]))
    reach = field.step + 1
    box = photo.luma[max(row - reach, 0) : row + reach + 1, max(column - reach, 0) : column + reach + 1]
    light = ndimage.uniform_filter(table[box].astype(float), min(3, *box.shape))
    x, y = limb.disc.to_disc(np.array(float(column)), np.array(float(row)))
    return 1 - float(light.min()) / max(float(field.background.at(x, y)), 1e-6)

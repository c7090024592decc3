"""Dark spots on the disc: detection against the fitted background, places, areas, and what is no spot."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ...models.geometry import Array
from .covered import hidden_part
from .field import DiscField, disc_field
from .grids import labelled
from .impostors import impostors
from .limb import Limb, place_covariance
from .load import Photo, linear_table
from .pieces import WEIGHT_SHARE, Piece, cut_pieces

DETECT_SIGMAS = 6.0
LEAST_DEPTH = 0.10
MAX_RADIUS = 0.98
_GROW_SIGMAS, _GROW_DEPTH = 3.0, 0.05
_RIPPLE_GAIN, _RIPPLE_PATCH = 1.2, 0.02  # of limb ripple; radius, in limb radii, of what moves as one
_MASK_GAIN = 1.55  # of the noise's variance: a piece's outline follows the noise as well (on drawn spots)
_PLACE_FLOOR_PX = 0.018  # across the line to the centre the more, the more foreshortened the spot is
_OUTLINE_SHARE = 0.0015  # of a spot's width: what its ragged outline does to the centroid
_MOST_SPOTS = 60
_FAINT_SIGMAS, _FAINT_DEPTH, _MOST_FAINT = 3.5, 0.04, 200
_LEAST_UMBRA, _PENUMBRA = 0.4, 0.2  # depths: no umbra is less, a penumbra's usual one


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
        Millionths of the solar hemisphere, foreshortening and blur undone; nan where an eye placed the spot.
    umbra_area_msh : float
        Of its darker inner part, 0 where none stands out.
    penumbra_darkness : float
        Median depth of the rest, 0 to 1.
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
    umbra_area_msh: float = math.nan
    penumbra_darkness: float = math.nan


@dataclass(frozen=True)
class SpotFindings:
    """Spots by falling area, and what was refused: (column, row, reason).

    `faint` are places of dips too weak to be called spots: what dust looks like in a softer photo. `hidden` are
    the cells of the disc that could not be searched, as text (:mod:`whichsun.sim.hidden`).
    """

    spots: tuple[MeasuredSpot, ...]
    refused: tuple[tuple[float, float, str], ...]
    clipped_share: float
    faint: tuple[MeasuredSpot, ...] = ()
    hidden: str | None = None


def find_spots(photo: Photo, limb: Limb) -> SpotFindings:
    """Measure every dark spot with r <= 0.98 that is at least 10 % deep and 6 sigma above the noise."""
    table = linear_table(photo.luma)
    field, clipped = disc_field(photo, table, limb)
    if field is None:
        return SpotFindings((), (), clipped)
    pieces = _pieces(field)
    refused = impostors(
        pieces,
        field.usable,
        field.marked,
        blur_px=limb.edge_sigma_px / field.step,
        radius_px=limb.disc.a / field.step,
        smooth=field.smooth,
        outline=field.places_of(*limb.disc.outline(73))[:-1],
    )
    spots, reasons = [], []
    for index, piece in enumerate(pieces):
        reason = refused.get(index, "")
        spot = None if reason else measure_piece(photo, table, limb, field, piece)
        if spot is None:
            if reason:
                row, column = piece.peak
                reasons.append((*field.full_place(column, row), reason))
        elif isinstance(spot, str):
            row, column = piece.peak
            reasons.append((*field.full_place(column, row), spot))
        else:
            spots.append(spot)
    spots.sort(key=lambda spot: -spot.area_msh)
    hidden = hidden_part(limb.disc, field, pieces, refused, spots)
    return SpotFindings(tuple(spots[:_MOST_SPOTS]), tuple(reasons), clipped, _faint(field, limb), hidden)


def _pieces(field: DiscField) -> list[Piece]:
    """Connected dark regions with a deep enough peak, cut into single spots."""
    low = np.maximum(_GROW_SIGMAS * field.sigma, _GROW_DEPTH)
    high = np.maximum(DETECT_SIGMAS * field.sigma, LEAST_DEPTH)
    return cut_pieces(field.smooth, field.depth, field.sigma, low, high, field.usable)


def _faint(field: DiscField, limb: Limb) -> tuple[MeasuredSpot, ...]:
    """Dips of 3.5 sigma and 4 % that are not deep enough for a spot."""
    level = np.maximum(_FAINT_SIGMAS * field.sigma, _FAINT_DEPTH)
    dips = field.usable & (field.smooth > level)
    places, labels, count = labelled(dips, corners=False)
    if count == 0 or count > _MOST_FAINT:
        return ()
    order = np.lexsort((-field.smooth.ravel()[places], labels))
    peaks = places[order][np.searchsorted(labels[order], np.arange(count))]
    found = []
    for row, column in zip(*np.divmod(peaks, dips.shape[1]), strict=True):
        depth = float(field.smooth[row, column])
        if depth > max(DETECT_SIGMAS * field.sigma[row, column], LEAST_DEPTH):
            continue
        box = np.clip(field.smooth[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2], 0, None)
        rows, columns = np.indices(box.shape)
        total = float(box.sum())
        place = field.full_place(
            max(column - 1, 0) + float((box * columns).sum()) / total,
            max(row - 1, 0) + float((box * rows).sum()) / total,
        )
        x, y = (float(v) for v in limb.disc.to_disc(np.array(place[0]), np.array(place[1])))
        own = (0.5 * field.step / limb.disc.a) ** 2 * np.eye(2)
        pixel = round(place[0]), round(place[1])
        significance = depth / float(field.sigma[row, column])
        found.append(MeasuredSpot(*place, x, y, own, own, 1.0, depth, pixel, significance))
    return tuple(found)


def measure_piece(
    photo: Photo, table: npt.NDArray[np.float32], limb: Limb, field: DiscField, piece: Piece
) -> MeasuredSpot | str | None:
    """Centroid, areas and darkness of a dark piece on the full-size picture; words where it cannot be."""
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
    sigma = float(field.sigma[piece.peak]) * np.sqrt(4 * np.pi) * field.smoothing_px
    noise = _MASK_GAIN * sigma**2 * step**2 * (offset @ offset.T) / total**2
    outline = _OUTLINE_SHARE * 2 * math.sqrt(len(rows) / math.pi)
    patches = 1 + 0.5 * len(rows) / (math.pi * (_RIPPLE_PATCH * disc.a) ** 2)
    spread = (_RIPPLE_GAIN * limb.ripple_px) ** 2 / patches + outline**2
    own = jacobian @ (noise + spread * np.eye(2)) @ jacobian.T + _floor(centre_x, centre_y, disc.a)
    mu = np.sqrt(np.clip(1 - x**2 - y**2, 0.03, 1))
    pixel_msh = abs(float(np.linalg.det(jacobian))) / mu / (2 * np.pi) * 1e6
    darkness = float(min(max(piece.depth, _peak(photo, table, field, piece, limb)), 1.0))
    blur = math.hypot(limb.edge_sigma_px, step * field.smoothing_px)
    share = _unblurred_share(len(depth), total, darkness, blur)
    area = share * float(np.sum(pixel_msh))
    outward = _outward(x, y, depth, (centre_x, centre_y), area, limb.edge_sigma_px / disc.a)
    centre_x, centre_y = outward * centre_x, outward * centre_y
    column, row = (float(v) for v in disc.to_pixels(np.array(centre_x), np.array(centre_y)))
    umbra = depth > max(_LEAST_UMBRA, 0.5 * (darkness + _PENUMBRA))
    darkest = int(np.argmin(photo.luma[rows, columns]))
    return MeasuredSpot(
        column,
        row,
        centre_x,
        centre_y,
        own + place_covariance(limb, centre_x, centre_y),
        own,
        area,
        darkness,
        (int(columns[darkest]), int(rows[darkest])),
        piece.significance,
        min(float(np.sum(pixel_msh[umbra])), area),
        float(np.clip(np.median(depth[~umbra]), 0, 1)) if not np.all(umbra) else math.nan,
    )


def _floor(x: float, y: float, radius_px: float) -> Array:
    """Covariance of x, y that is left without noise."""
    r2 = x * x + y * y
    across = np.array([[y * y, -x * y], [-x * y, x * x]])
    lengthened = 1 / max(1 - r2, 0.03) - 1
    return (_PLACE_FLOOR_PX / radius_px) ** 2 * (np.eye(2) + lengthened * across / max(r2, 1e-12))


def _outward(
    x: Array, y: Array, depth: Array, centre: tuple[float, float], area_msh: float, blur: float
) -> float:
    """Factor from a piece's centroid in the picture to its middle on the sphere.

    The flat picture of a round piece of a sphere has its centroid inside of the middle by the mean square of
    its angle from there, which is twice that of its width across the line to the disc's centre, blur taken
    off; at most rho^2 / 2, an even cap's. Lengths in limb radii.
    """
    cos, sin = np.array(centre) / max(math.hypot(*centre), 1e-9)
    width = (cos * (y - centre[1]) - sin * (x - centre[0])) ** 2
    spread = max(float(np.sum(depth * width) / np.sum(depth)) - blur**2, 0.0)
    return 1 + min(2 * spread, area_msh / 1e6)


def _unblurred_share(pixels: int, deficit: float, darkness: float, blur_px: float) -> float:
    """Share of a piece's pixels that the spot covered before the blur.

    The piece is cut at 15 % of its peak, where a point blurred by a Gaussian of sigma s fills 3.79 pi s^2:
    spots of that size come out by about half of it too large, ones of many times that size true (found by
    trial on drawn spots). The light missing sets a floor: no spot is deeper than 90 %.
    """
    spread = 2 * math.log(1 / WEIGHT_SHARE) * math.pi * blur_px**2
    excess = 0.6 * spread * math.exp(-((pixels / spread / 5.5) ** 2))
    return max(pixels - excess, deficit / max(0.9, darkness)) / pixels


def _peak(photo: Photo, table: npt.NDArray[np.float32], field: DiscField, piece: Piece, limb: Limb) -> float:
    """Depth of the darkest 3 by 3 pixels' middle at full size."""
    column, row = (round(value) for value in field.full_place(piece.peak[1], piece.peak[0]))
    reach = field.step + 1
    box = photo.luma[max(row - reach, 0) : row + reach + 1, max(column - reach, 0) : column + reach + 1]
    light = ndimage.uniform_filter(table[box].astype(float), min(3, *box.shape))
    x, y = limb.disc.to_disc(np.array(float(column)), np.array(float(row)))
    return 1 - float(light.min()) / max(float(field.background.at(x, y)), 1e-6)

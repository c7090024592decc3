"""The limb to a fraction of a pixel: edge per ray, robust fit with the refraction term, covariance.

What rays alone do not know is added from the picture itself: the edges are found once more with another tone
curve undone, and their shift (alike all round an evenly lit Sun in an even sky) is doubt of the unknown curve.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ...models.errors import PictureError
from ...models.geometry import Array
from .blur import STILL, Motion, limb_motion
from .coarse import CoarseDisc, find_disc
from .discmap import DiscMap
from .edges import EdgeSet, beyond_line, edge_points, edge_points_by, ray_angles, sample
from .limb_fit import LEAST_RAYS, LimbFit, autocorrelation, fit_limb, grown, moved, prior_c, radial
from .limb_profile import light_slope_shift, true_edge_offset
from .load import Photo, linear_table

_FLAT_SHARE = 0.985  # in codes; the Sun has 0.9 or less
_CONTRAST = 0.13
"""A picture style's S-curve, one sigma of what is not known of a camera's tone curve: the extra steepness in its
middle (common practice, no source). Another exponent moves all edges nearly alike."""
_UNEVEN_SHARE = 0.1  # doubt of what an uneven light does, as a share of it
_SMEAR_PX, _SMEAR_SHARE = 3.0, 0.008  # of the radius: about 0.2 deg by the false squash


@dataclass(frozen=True)
class Limb:
    """The measured limb.

    Parameters
    ----------
    disc : DiscMap
    covariance : ndarray, shape (5, 5)
        Of (right, up, a, b, c) in pixels along the squash's axes, autocorrelation and tone curve's doubt included.
    edge_sigma_px : float
        Blur of the limb, as the sigma of a Gaussian.
    ripple_px : float
        Residuals of the limb that neighbouring rays share: the air's ripple.
    residual_px : float
        Robust rms of all residuals.
    rays_used : float
        Share of the rays that carried the fit.
    tilt_deg, tilt_sigma_deg : float or None
        Direction of the squash against the level (a check of it), where the squash is large enough.
    horizon : tuple of ndarray or None
        Two points (columns, rows) of a straight cut across the disc, if there is one; lit part right.
    motion : Motion
        What the limb's width shows of motion during the exposure.
    shape_doubt : float
        Error of places at the limb that lens or shutter may bring, limb radii.
    flat : bool
        No limb darkening: an eyepiece's stop, or a picture with the darkening taken out.
    hidden_deg : tuple of (float, float)
        Stretches of the limb that were not seen (horizon, cloud, branch, frame): vertex angles from and to,
        anticlockwise, the second up to 360 beyond the first.
    """

    disc: DiscMap
    covariance: Array
    edge_sigma_px: float
    ripple_px: float
    residual_px: float
    rays_used: float
    tilt_deg: float | None
    tilt_sigma_deg: float | None
    horizon: tuple[Array, Array] | None = None
    motion: Motion = STILL
    shape_doubt: float = 0.0
    flat: bool = False
    hidden_deg: tuple[tuple[float, float], ...] = ()

    @property
    def smeared(self) -> bool:
        """Whether motion makes the squash, and with it all angles, false."""
        # Two edges within each other's blur leave the squash right; apart they do not.
        least = max(_SMEAR_PX, _SMEAR_SHARE * self.disc.a, self.motion.still_px)
        return self.motion.length_px > least


def measure_limb(
    photo: Photo,
    *,
    roll_deg: float = 0.0,
    mirrored: bool = False,
    follow_squash: bool = False,
    near: Limb | None = None,
) -> Limb:
    """Find the disc and fit its limb.

    Parameters
    ----------
    photo : Photo
    roll_deg : float
        The camera's anticlockwise roll; the axes of the fit lie along and across the true vertical.
    mirrored : bool
    follow_squash : bool
        Let the axes follow the squash where it shows its direction (roll unknown).
    near : Limb, optional
        The same photo's limb under nearly the same roll, which spares looking for the disc.

    Raises
    ------
    PictureError
        No disc, or too little of its limb.
    """
    roll = math.radians(roll_deg)
    if not follow_squash:
        return _limb_along(photo, roll, 0.0, mirrored, near)
    level = _limb_along(photo, roll, 0.0, mirrored)
    best = level
    for start in (0.0, 45.0, 90.0, 135.0):
        tilt: float | None = start
        for _ in range(4):
            try:
                limb = _limb_along(photo, roll, math.remainder(math.radians(tilt), math.pi), mirrored)
            except PictureError:
                break
            if limb.residual_px < best.residual_px:
                best = limb
            tilt = limb.tilt_deg
            if tilt is None:
                break
        if best.tilt_sigma_deg is not None and best.tilt_sigma_deg < 1:
            break
    return best if best.tilt_sigma_deg is not None and best.tilt_sigma_deg < 5 else level


def _limb_along(photo: Photo, roll: float, tilt: float, mirrored: bool, near: Limb | None = None) -> Limb:
    """The limb with the axes of the squash in one direction."""
    name = photo.path.name
    # In the picture's own pixels a mirrored scene is turned the other way.
    level = -(roll - tilt) if mirrored else roll - tilt
    if near is None:
        coarse = find_disc(photo, level, np.random.default_rng(20240713))
    else:
        known = near.disc
        coarse = CoarseDisc(known.column, known.row, known.a, known.b, 1.0, 0.0, 0.0, near.horizon)
    if coarse is None or coarse.covered < 0.2:
        raise PictureError(
            name, "no disc of the Sun was found", "the disc must be brighter than the sky around it"
        )
    start = DiscMap(coarse.column, coarse.row, coarse.a, coarse.b, 0.0, roll, tilt, mirrored)
    _refuse_outgrown(name, start, photo.luma.shape)
    table = linear_table(photo.luma)
    disc, edges, other, horizon = _narrowing_passes(photo, table, coarse, start)
    fit = fit_limb(name, edges, disc)
    bend = _tone_bend(other, edges.blur_px, fit)
    offset = true_edge_offset(photo.luma, table, fit.disc, edges, ray_angles())
    uneven = light_slope_shift(photo.luma, table, fit.disc, edges, ray_angles())
    motion = limb_motion(photo.luma, table, fit.disc, edges, ray_angles())
    return replace(
        _limb(fit, edges, offset, uneven, bend, horizon), motion=motion, flat=_is_flat(photo, fit.disc)
    )


def _refuse_outgrown(name: str, disc: DiscMap, shape: tuple[int, ...]) -> None:
    if disc.a < 12:
        raise PictureError(
            name,
            f"no disc of the Sun was found (the roundest bright thing is {2 * disc.a:.0f} pixels wide)",
            "use a longer focal length",
        )
    columns, rows = disc.outline(360)
    inside = (columns > 1) & (rows > 1) & (columns < shape[1] - 2) & (rows < shape[0] - 2)
    share = float(np.mean(inside))
    if share < LEAST_RAYS:
        raise PictureError(
            name,
            f"too little of the limb: {100 * share:.0f} % of the outline is in the picture",
            "frame the disc",
        )


def _is_flat(photo: Photo, disc: DiscMap) -> bool:
    """Whether the disc is as bright near its edge as halfway in, and not for being clipped."""
    angle = ray_angles()[::6]
    top = np.iinfo(photo.luma.dtype).max
    light = []
    for share in (0.93, 0.5):
        columns, rows = disc.to_pixels(share * np.cos(angle), share * np.sin(angle))
        values = sample(photo.luma, (np.arange(top + 1) / top).astype(np.float32), columns, rows)
        light.append(float(np.nanmedian(values)))
    rim, middle = light
    return _FLAT_SHARE * middle < rim < 1.1 * middle and middle < 0.94


Line = tuple[Array, Array]
_FEW_SIDES, _ALL_SIDES = 3, 9
_WELL_WITHIN = 0.2  # of the band: an outline that moves by less has all its edges in it


def _narrowing_passes(
    photo: Photo, table: npt.NDArray[np.float32], coarse: CoarseDisc, disc: DiscMap
) -> tuple[DiscMap, EdgeSet, EdgeSet, Line | None]:
    """Edge points in narrowing bands round a better and better outline.

    Last outline, edges, edges where a picture style is undone as well, and horizon.
    """
    radius, blur = disc.a, max(1.2, 0.004 * disc.a)
    angles = ray_angles()
    horizon = coarse.horizon
    codes = np.linspace(0, 1, len(table))
    styled = np.interp(codes, codes - _CONTRAST * np.sin(2 * np.pi * codes) / (2 * np.pi), codes)
    unstyled = np.interp(styled, codes, table).astype(np.float32)
    first = photo.luma, table, disc, angles[::2], max(0.05 * radius, 5.0), blur
    edges = edge_points(*first, horizon, _FEW_SIDES)
    for turn in range(3):
        fit = fit_limb(photo.path.name, edges, disc)
        shift = _shift(disc, fit.disc)
        disc = fit.disc
        blur = float(np.clip(edges.blur_px, 0.7, 0.02 * radius + 0.7))
        reach = max(4.5 * blur, 5 * fit.scale, 4.0)
        if turn == 0 and horizon is not None and _limb_goes_on(photo, table, fit, blur, horizon):
            horizon = None
        if turn == 2 or (turn == 1 and shift < _WELL_WITHIN * reach):
            break
        edges = edge_points(photo.luma, table, disc, angles[::2], reach, blur, horizon, _FEW_SIDES)
    both = edge_points_by(photo.luma, (table, unstyled), disc, angles, reach, blur, horizon, _ALL_SIDES)
    return disc, both[0], both[1], horizon


def _shift(disc: DiscMap, other: DiscMap) -> float:
    """Bound on how far two outlines lie apart, pixels."""
    centre = math.hypot(disc.column - other.column, disc.row - other.row)
    return centre + max(abs(disc.a - other.a), abs(disc.b - other.b)) + abs(disc.c - other.c)


def _limb_goes_on(
    photo: Photo, table: npt.NDArray[np.float32], fit: LimbFit, blur: float, line: Line
) -> bool:
    """Whether the limb is seen beyond a straight cut: then it is a bar across the disc, no horizon."""
    reach = max(0.02 * fit.disc.a, 4.5 * blur)
    edges = edge_points(photo.luma, table, fit.disc, ray_angles(), reach, blur, None)
    beyond = beyond_line(
        *fit.disc.to_pixels(np.cos(ray_angles()), np.sin(ray_angles())), fit.disc, line, 0.06
    )
    if np.count_nonzero(beyond) < 8:
        return False
    off = np.abs(radial(fit.disc, edges.columns, edges.rows))
    return float(np.mean((edges.good & (off < max(5 * fit.scale, 0.006 * fit.disc.a)))[beyond])) > 0.6


def _tone_bend(other: EdgeSet, blur: float, fit: LimbFit) -> Array:
    """How far each ray's edge moves, against the mean, when a picture style is undone as well, pixels."""
    both = other.good & (fit.weight > 0)
    if not np.any(both):
        return np.zeros(len(fit.weight))
    bend = radial(fit.disc, other.columns, other.rows) - fit.residual
    # A ray that jumps to another edge says nothing of the curve.
    both &= np.abs(bend - np.median(bend[both])) < 2 * blur
    mean = float(np.average(bend[both], weights=fit.weight[both]))
    return np.where(both, bend - mean, 0.0)


def _tilt(edges: EdgeSet, fit: LimbFit, bend: Array) -> tuple[float | None, float | None]:
    """Direction of the squash against the level and its sigma, degrees, from a fit with free tilt."""
    disc = fit.disc
    if disc.a - disc.b < 6 * fit.scale / math.sqrt(len(fit.weight)):
        return None, None
    use = fit.weight > 0.05
    step = 1e-3

    def turned(angle: float) -> Array:
        return radial(replace(disc, tilt=disc.tilt + angle), edges.columns[use], edges.rows[use])

    slope = (turned(step) - turned(-step)) / (2 * step)
    design = np.column_stack([fit.derivative[use], slope])
    weight = fit.weight[use]
    normal = design.T @ (design * weight[:, None])
    normal[4, 4] += fit.scale**2 / prior_c(disc.a, disc.b)[1] ** 2
    change = np.linalg.solve(normal, -design.T @ (weight * fit.residual[use]))
    left = np.full(len(fit.residual), np.nan)
    left[use] = fit.residual[use] + design @ change
    inflation, _ = autocorrelation(left, fit.weight)
    scale = float(np.sqrt(np.sum(weight * left[use] ** 2) / np.sum(weight)))
    sigma = scale * math.sqrt(inflation * np.linalg.inv(normal)[5, 5])
    tone = np.linalg.solve(normal, -design.T @ (weight * bend[use]))[5]
    sigma = math.hypot(sigma, tone)
    if sigma > math.radians(20):
        return None, None
    return math.degrees(disc.tilt + change[5]), math.degrees(sigma)


def _limb(
    fit: LimbFit,
    edges: EdgeSet,
    offset: tuple[float, float],
    uneven: tuple[float, float],
    bend: Array,
    horizon: Line | None,
) -> Limb:
    inflation, neighbours = autocorrelation(fit.residual, fit.weight)
    used = fit.residual[fit.weight > 0.05]
    rms = float(np.sqrt(np.mean(used**2)))
    covariance = np.linalg.inv(fit.normal) * (max(rms, fit.scale) / fit.scale) ** 2
    covariance *= inflation
    tone = np.linalg.solve(fit.normal, fit.derivative.T @ (fit.weight * bend) / fit.scale**2)
    covariance = covariance + np.outer(tone, tone)
    grow = grown(fit)  # by what the inflection lies inside the true edge
    covariance = covariance + offset[1] ** 2 * np.outer(grow, grow)
    shift = np.array([*uneven, 0.0, 0.0, 0.0])
    covariance = covariance + _UNEVEN_SHARE**2 * np.outer(shift, shift)
    return Limb(
        moved(fit.disc, offset[0] * grow - shift),
        np.asarray(covariance, float),
        edges.blur_px,
        rms * math.sqrt(min(max(neighbours - 0.2, 0.0), 1.0)),
        rms,
        float(np.mean(fit.weight > 0.05)),
        *_tilt(edges, fit, bend),
        horizon,
        hidden_deg=_hidden(fit.weight),
    )


def _hidden(weight: Array) -> tuple[tuple[float, float], ...]:
    """Stretches of three rays or more that carried nothing, as vertex angles."""
    count = len(weight)
    lost = weight <= 0.05
    if not np.any(lost) or np.all(lost):
        return ()
    first = int(np.flatnonzero(~lost)[0])
    turned = np.concatenate([[False], np.roll(lost, -first), [False]]).astype(int)
    starts, ends = np.flatnonzero(np.diff(turned) == 1), np.flatnonzero(np.diff(turned) == -1)
    step = 360 / count
    return tuple(
        (
            math.remainder((start + first) * step - 90, 360),
            math.remainder((start + first) * step - 90, 360) + (end - start) * step,
        )
        for start, end in zip(starts, ends, strict=True)
        if end - start >= 3
    )


def place_covariance(limb: Limb, x: float, y: float) -> Array:
    """Covariance (2, 2) of a disc place (x, y) that the limb's own uncertainty brings."""
    disc = limb.disc
    columns, rows = disc.to_pixels(np.array(x), np.array(y))
    steps = 0.05 * np.eye(5)
    derivative = np.empty((2, 5))
    for index, step in enumerate(steps):
        ahead = np.stack(moved(disc, step).to_disc(columns, rows))
        behind = np.stack(moved(disc, -step).to_disc(columns, rows))
        derivative[:, index] = (ahead - behind) / 0.1
    bent = (limb.shape_doubt * math.hypot(x, y)) ** 2
    return derivative @ limb.covariance @ derivative.T + bent * np.eye(2)


def limb_sigmas(limb: Limb) -> tuple[tuple[float, float], tuple[float, float]]:
    """Sigmas of the centre (column, row) and of the axes (a, b), pixels."""
    turn = limb.disc.roll - limb.disc.tilt
    rotation = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    centre = rotation @ limb.covariance[:2, :2] @ rotation.T
    axes = np.sqrt(np.diag(limb.covariance)[2:4])
    return (math.sqrt(centre[0, 0]), math.sqrt(centre[1, 1])), (float(axes[0]), float(axes[1]))

"""The Sun's disc as a picture: limb darkening, perspective, refraction squash, roll, spots, horizon.

The limb is area-sampled: a pixel that it crosses holds the mean over its square, so that a limb fitted to
the picture closes on the given centre and radius far below a pixel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError, UnknownNameError
from ..models.geometry import SunView
from .frame import PictureFrame, VerticalWarp, bounding_box, limb_reach
from .ground import Ground, cover_by_ground
from .limb_darkening import LIMB_LAWS, RGB_NM, limb_coefficients
from .mottling import Granulation, SurfaceFaculae, paint_mottling
from .picture import to_picture
from .pixel_share import shadow_share, trapezoid
from .spot_painting import draw_spots
from .spots import SurfaceSpots
from .surfaces import SURFACES, paint_surface
from .texture import SurfaceTexture, paint_texture

__all__ = ["LIMB_LAWS", "SURFACES", "PictureFrame", "SurfaceSpots", "render_disc", "to_picture"]

Image = npt.NDArray[np.float32]
_BLOCK = 1 << 17  # pixels per block: the working arrays stay in the cache
# Widths, inside and outside of the limb, of the ring where the light is integrated over the pixels; beyond
# half a pixel's diagonal outside nothing of a pixel is covered.
_RING_PX, _OUTSIDE_PX = 2.0, 0.75
_FAR = 1e-4  # perspective below which it is left out
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_NODES = (((_NODES + 1) / 2) ** 2).astype(np.float32)
_WEIGHTS = (_WEIGHTS * np.sqrt(_NODES)).astype(np.float32)  # up to a factor, which the sum takes off


def render_disc(
    view: SunView,
    frame: PictureFrame,
    spots: SurfaceSpots | None = None,
    *,
    vertical_table: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    limb_law: str = "neckel-labs",
    wavelengths_nm: Sequence[float] = RGB_NM,
    surface: str = "plain",
    texture: SurfaceTexture | None = None,
    granulation: Granulation | None = None,
    faculae: SurfaceFaculae | None = None,
    grid_step_deg: float = 15.0,
    horizon: float | None = None,
    sky: float = 0.0,
    ground: float = 0.004,
) -> Image:
    """Render the disc in linear light, 1 at the centre of the disc without spots.

    Parameters
    ----------
    view : SunView of one site and instant (no leading axes)
    frame : PictureFrame
    spots : SurfaceSpots, optional
        Those on the far side are not drawn.
    vertical_table : (array, array), optional
        Apparent and true heights in limb radii, from the Sun's apparent and true centre, both rising:
        refraction. None: no refraction.
    limb_law, wavelengths_nm :
        See :func:`~whichsun.render.limb_darkening.limb_coefficients`; one channel per wavelength.
    surface : str
        ``"plain"``, ``"grid"`` (heliographic lines) or ``"stripes"`` (between meridians, for teaching).
    texture : SurfaceTexture, optional
        A picture of the surface; grid, stripes and spots are laid over it.
    granulation, faculae : optional
        Mottling of the photosphere; None: smooth.
    grid_step_deg : float
        Distance of the grid's lines or width of the stripes.
    horizon : float, optional
        Height of the horizon in limb radii from the Sun's apparent centre (negative: below it). The
        ground hides what lies under it.
    sky, ground : float
        Linear light of the sky around the disc and of the ground.

    Returns
    -------
    ndarray of float32, shape (height_px, width_px, channels)

    Raises
    ------
    InputError
        The view has leading axes, or the attitude is needed and not there.
    UnknownNameError
        Unknown law or surface.
    """
    if view.shape != ():
        raise InputError("view", "must be of one site and instant", view.shape, "index it: view[i]")
    if not (np.all(np.isfinite(view.direction)) and math.isfinite(float(view.distance))):
        raise InputError("view", "must have a finite direction and distance")
    if surface not in SURFACES:
        raise UnknownNameError("surface", surface, SURFACES)
    law = limb_coefficients(limb_law, wavelengths_nm)
    warp = VerticalWarp(vertical_table)
    perspective = 1 / (float(view.distance) ** 2 - 1)
    image = np.zeros((frame.height_px, frame.width_px, len(law)), np.float32)
    coverage_ring = _paint_face(image, frame, warp, law, perspective)
    if texture is not None:
        paint_texture(image, view, frame, warp, texture)
    paint_mottling(image, view, frame, warp, granulation, faculae)
    if surface != "plain":
        paint_surface(image, view, frame, warp, surface, grid_step_deg)
    if spots is not None and len(spots):
        draw_spots(image, view, frame, spots, warp)
    if sky:
        _add_sky(image, frame, warp, coverage_ring, sky)
    if horizon is not None:
        cover_by_ground(image, frame, Ground(horizon, light=ground))
    return image


Ring = tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.float64]]


def _paint_face(
    image: Image, frame: PictureFrame, warp: VerticalWarp, law: npt.NDArray, perspective: float
) -> Ring:
    """Fill the disc; return rows, columns and covered share of the pixels that the limb crosses."""
    r0, r1, c0, c1 = bounding_box(frame, warp)
    if r0 >= r1 or c0 >= c1:
        empty = np.zeros(0, np.intp)
        return empty, empty, np.zeros(0)
    px = 2 * warp.steepest / frame.radius_px  # what 1 - rho^2 changes by, in a pixel at the limb, at most
    inner, outer = np.float32(_RING_PX * px), np.float32(-_OUTSIDE_PX * px)
    step = max(1, _BLOCK // (c1 - c0))
    buffers = [np.empty(step * (c1 - c0), np.float32) for _ in range(4)]
    found_rows, found_columns = [], []
    reach = limb_reach(frame, warp)
    for top in range(r0, r1, step):
        rows = np.arange(top, min(top + step, r1))
        left, right = reach(top, top + rows.size)
        size = rows.size, right - left
        rho2, mu, inside, value = (buffer[: size[0] * size[1]].reshape(size) for buffer in buffers)
        _radius_squared(rho2, frame, warp, rows, np.arange(left, right))
        np.subtract(1, rho2, out=mu)
        ring = mu < inner
        ring &= mu > outer
        row, column = np.divmod(np.flatnonzero(ring), size[1])
        found_rows.append(row + top)
        found_columns.append(column + left)
        np.greater(mu, 0, out=inside)
        np.maximum(mu, 0, out=mu)
        if perspective > _FAR:
            rho2 *= np.float32(perspective)
            rho2 += 1
            mu /= rho2
        np.sqrt(mu, out=mu)
        for channel, coefficients in enumerate(law.astype(np.float32)):
            np.multiply(mu, coefficients[-1], out=value)
            for coefficient in coefficients[-2:0:-1]:
                value += coefficient
                value *= mu
            np.multiply(inside, coefficients[0], out=rho2)
            np.add(value, rho2, out=image[top : top + rows.size, left:right, channel])
    rows, columns = np.concatenate(found_rows), np.concatenate(found_columns)
    share = _paint_limb(image, frame, warp, law, perspective, rows, columns)
    return rows, columns, share


def _radius_squared(
    out: npt.NDArray[np.float32],
    frame: PictureFrame,
    warp: VerticalWarp,
    rows: npt.NDArray,
    columns: npt.NDArray,
) -> None:
    """Squared true radius of the pixels' centres, float32, into `out` (rows, columns)."""
    right = (columns - frame.centre_px[0]) / frame.radius_px
    up = (frame.centre_px[1] - rows) / frame.radius_px
    if warp.is_identity:
        np.add((up**2).astype(np.float32)[:, None], (right**2).astype(np.float32), out=out)
        return
    if frame.roll_deg == 0:
        height = warp.true(up)
        np.add((height**2).astype(np.float32)[:, None], (right**2).astype(np.float32), out=out)
        return
    roll = math.radians(frame.roll_deg)
    cos, sin = math.cos(roll), math.sin(roll)
    apparent = (up * cos).astype(np.float32)[:, None] + (right * sin).astype(np.float32)
    if warp.polynomial is None:
        height = warp.true(apparent).astype(np.float32)
    else:
        height = np.full_like(apparent, warp.polynomial[-1])
        for coefficient in warp.polynomial[-2::-1]:
            height *= apparent
            height += np.float32(coefficient)
    across = (-up * sin).astype(np.float32)[:, None] + (right * cos).astype(np.float32)
    np.multiply(height, height, out=out)
    across *= across
    out += across


def _paint_limb(
    image: Image,
    frame: PictureFrame,
    warp: VerticalWarp,
    law: npt.NDArray,
    perspective: float,
    rows: npt.NDArray,
    columns: npt.NDArray,
) -> npt.NDArray[np.float64]:
    """Mean light over the squares of the pixels at the limb; returns their covered share.

    Along the limb's normal the light is integrated by Gauss-Legendre in the root of the distance from
    the limb, where it is smooth; the covered share is exact for a straight limb.
    """
    x, apparent = frame.to_disc(columns, rows)
    y = warp.true(apparent)
    slope = warp.slope(apparent)
    rho = np.hypot(x, y) + 1 / (24 * frame.radius_px**2)  # mean over a pixel's extent along the limb
    across, up = x / rho, y / rho * slope
    steepness = np.hypot(across, up)
    foot, plateau = trapezoid(frame, across / steepness, up / steepness)
    gradient = steepness / frame.radius_px
    limb = (1 - rho) / gradient
    share = shadow_share(limb, foot, plateau)
    far = np.minimum(limb, foot)
    length = np.maximum(far + foot, 0)
    # From here on float32, the nodes on the first axis; 1 - radius^2 is taken from the limb, where it is small.
    far, length, foot32, flank, rise = (
        values.astype(np.float32) for values in (far, length, foot, foot - plateau, gradient)
    )
    t = length * _NODES[:, None]
    np.subtract(far, t, out=t)
    weight = np.abs(t)
    np.subtract(foot32, weight, out=weight)
    np.clip(weight, 0, flank, out=weight)
    weight *= _WEIGHTS[:, None]
    total = weight.sum(axis=0)
    t *= rise
    depth = np.subtract((1 - rho).astype(np.float32), t, out=t)  # 1 - radius
    mu = depth * (2 - depth)
    np.maximum(mu, 0, out=mu)
    if perspective > _FAR:
        mu /= 1 + (1 - depth) ** 2 * np.float32(perspective)
    np.sqrt(mu, out=mu)
    light = np.empty_like(mu)
    shown = np.divide(share, total, out=np.zeros_like(share), where=total > 0)
    for channel, coefficients in enumerate(law.astype(np.float32)):
        np.multiply(mu, coefficients[-1], out=light)
        for coefficient in coefficients[-2:0:-1]:
            light += coefficient
            light *= mu
        light += coefficients[0]
        light *= weight
        image[rows, columns, channel] = shown * light.sum(axis=0)
    return share


def _add_sky(image: Image, frame: PictureFrame, warp: VerticalWarp, ring: Ring, sky: float) -> None:
    """Set the sky outside the disc to `sky`."""
    rows, columns, share = ring
    for top in range(0, frame.height_px, 64):
        block = np.arange(top, min(top + 64, frame.height_px))
        rho2 = np.empty((block.size, frame.width_px), np.float32)
        _radius_squared(rho2, frame, warp, block, np.arange(frame.width_px))
        outside = (rho2 > 1).astype(np.float32) * np.float32(sky)
        here = (rows >= top) & (rows < top + 64)
        outside[rows[here] - top, columns[here]] = (1 - share[here]) * sky
        image[block[0] : block[-1] + 1] += outside[..., None]

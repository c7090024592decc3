"""One picture of the disc for the sheet and the film of a day: one light, a table of colours, ground below."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ..models.geometry import SunView
from .disc import render_disc
from .frame import PictureFrame
from .spots import SurfaceSpots
from .tone import srgb_encode

Picture = npt.NDArray[np.uint8]

SKY_RGB = (24, 28, 36)
GROUND_RGB = (86, 80, 68)
_LEVELS = 2048
_BRIGHTEST = 1.02  # linear light of the last level
_EXPOSURE = 0.9
_TINT = np.array([1.0, 0.84, 0.55])
_WAVELENGTH_NM = (550.0,)


def paint_day_disc(
    view: SunView | None,
    frame: PictureFrame,
    spots: SurfaceSpots | None,
    *,
    vertical_table: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    horizon: float = -math.inf,
    through_rgb: Sequence[float] = (1.0, 1.0, 1.0),
    surface: str = "plain",
) -> Picture:
    """The disc in the colours of a filtered photo, exposed anew for every picture.

    The light of one wavelength is rendered and coloured by a table, which is several times as fast as three.

    Parameters
    ----------
    view : SunView of one site and instant, or None where the Sun is far below the horizon
    frame : PictureFrame
    spots : SurfaceSpots, optional
    vertical_table : (array, array), optional
        Refraction, see :func:`~whichsun.render.disc.render_disc`.
    horizon : float
        Height of the horizon in limb radii from the Sun's apparent centre.
    through_rgb : three floats
        Share of the light that comes through the air; only their ratios show.
    surface : str
        One of :data:`~whichsun.render.surfaces.SURFACES`.

    Returns
    -------
    ndarray of uint8, shape (height_px, width_px, 3)
    """
    if view is None:
        return np.full((frame.height_px, frame.width_px, 3), GROUND_RGB, np.uint8)
    light = render_disc(
        view, frame, spots, vertical_table=vertical_table, wavelengths_nm=_WAVELENGTH_NM, surface=surface
    )[..., 0]
    light *= np.float32((_LEVELS - 1) / _BRIGHTEST)
    np.minimum(light, _LEVELS - 1, out=light)
    picture = _colours(through_rgb)[light.astype(np.uint16)].view(np.uint8)
    picture = picture.reshape(frame.height_px, frame.width_px, 4)[..., :3]
    _cover(picture, frame, horizon)
    return picture


def horizon_in_picture(frame: PictureFrame, horizon: float) -> bool:
    """Whether any of the picture lies below the horizon."""
    column = np.array([0, frame.width_px - 1] * 2) + np.array([-0.5, 0.5] * 2)
    row = np.array([-0.5, -0.5, frame.height_px - 0.5, frame.height_px - 0.5])
    return bool(np.min(frame.to_disc(column, row)[1]) < horizon)


def _colours(through_rgb: Sequence[float]) -> npt.NDArray[np.uint32]:
    """Four bytes (red, green, blue, 255) for every level of light, as one number each."""
    through = np.asarray(through_rgb, float) / max(float(np.max(through_rgb)), 1e-12)
    level = np.linspace(0, _BRIGHTEST, _LEVELS)[:, None]
    coded = 255 * srgb_encode(level * _EXPOSURE * _TINT * through)
    table = np.full((_LEVELS, 4), 255, np.uint8)
    table[:, :3] = np.rint(np.maximum(coded, SKY_RGB))
    return table.view(np.uint32)[:, 0]


def _cover(picture: Picture, frame: PictureFrame, horizon: float) -> None:
    """Lay the ground over what is below the horizon, its edge one pixel soft."""
    if not horizon_in_picture(frame, horizon):
        return
    column, row = np.arange(frame.width_px)[None, :], np.arange(frame.height_px)[:, None]
    height = frame.to_disc(column, row)[1]
    share = np.clip((horizon - height) * frame.radius_px + 0.5, 0, 1)[..., None]
    picture[:] = np.rint(picture * (1 - share) + share * GROUND_RGB)

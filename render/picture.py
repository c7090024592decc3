"""The camera's side of a picture: exposure, filter tint, blur, haze, vignetting, noise, tone curve."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..models.errors import InputError
from .tone import srgb_encode

_BAND_PX = 1 << 20  # pixels worked on at once: the memory beside the picture stays small
_TRUNCATE = 5.0  # standard deviations at which the point spread is cut off


def to_picture(
    linear: npt.NDArray[np.float32],
    *,
    exposure: float = 0.85,
    tint_rgb: Sequence[float] = (1.0, 1.0, 1.0),
    blur_px: float = 0.0,
    glow: float = 0.0,
    haze: float = 0.0,
    vignetting: float = 0.0,
    noise_dn: float = 0.0,
    rng: np.random.Generator | None = None,
    style: Callable[[npt.NDArray[np.float32]], npt.NDArray[np.float32]] | None = None,
) -> npt.NDArray[np.uint8]:
    """What the camera makes of a rendered disc.

    Parameters
    ----------
    linear : ndarray, shape (rows, cols, 3)
        Linear light from :func:`~whichsun.render.disc.render_disc`.
    exposure : float
        Linear value, 1 is full scale, that the disc's centre gets.
    tint_rgb : three floats
        Factor of each channel: the filter's colour, and the air's reddening.
    blur_px : float
        Standard deviation of the Gaussian point spread.
    glow : float
        Share of the light scattered into a wide aureole around the disc.
    haze : float
        Even veil, as a share of the disc's centre.
    vignetting : float
        Loss of light in the corners, 0 to 1, growing with the square of the distance from the middle.
    noise_dn : float
        Standard deviation of Gaussian noise in steps of the 8-bit scale; needs `rng`.
    rng : numpy.random.Generator, optional
    style : callable, optional
        Picture style: the coded values, 0 to 1, that the camera makes of those of the sRGB tone curve.

    Returns
    -------
    ndarray of uint8, shape (rows, cols, 3), with the sRGB tone curve and the style's.
    """
    out = np.empty(linear.shape, np.uint8)
    optics = Optics(exposure, tint_rgb, blur_px, glow, haze, vignetting)
    if noise_dn and rng is None:
        raise InputError("rng", "must be given when noise_dn is not zero")
    if not (np.isfinite(noise_dn) and noise_dn >= 0):
        raise InputError("noise_dn", "must be a number of 0 or more", noise_dn)
    for rows, light in exposed_bands(linear, optics):
        coded = srgb_encode(light)
        if style is not None:
            coded = np.asarray(style(coded), np.float32)
        coded *= np.float32(255)
        if noise_dn and rng is not None:
            coded = coded + np.float32(noise_dn) * rng.standard_normal(coded.shape, np.float32)
        out[rows] = np.clip(np.rint(coded), 0, 255).astype(np.uint8)
    return out


@dataclass(frozen=True)
class Optics:
    """What filter and lens do to the light; see :func:`to_picture`."""

    exposure: float = 0.85
    tint_rgb: Sequence[float] = (1.0, 1.0, 1.0)
    blur_px: float = 0.0
    glow: float = 0.0
    haze: float = 0.0
    vignetting: float = 0.0

    def __post_init__(self) -> None:
        for name in ("exposure", "blur_px", "haze"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0):
                raise InputError(name, "must be a number of 0 or more", value)
        for name in ("glow", "vignetting"):
            value = getattr(self, name)
            if not 0 <= value <= 1:
                raise InputError(name, "must be between 0 and 1", value)


def exposed_bands(
    linear: npt.NDArray[np.float32], optics: Optics
) -> Iterator[tuple[slice, npt.NDArray[np.float32]]]:
    """Light on the sensor, 1 at full scale and not clipped, band of rows after band of rows.

    Only a band is held at once beside `linear`, whose shape is (rows, cols, 3).
    """
    if linear.ndim != 3 or linear.shape[2] != 3:
        raise InputError("linear", "must have the shape (rows, columns, 3)", linear.shape)
    height, width = linear.shape[:2]
    reach = int(_TRUNCATE * optics.blur_px + 0.5)
    step = max(4 * reach, _BAND_PX // width, 1)
    aureole = _aureole(linear) if optics.glow else None
    factor = np.asarray(optics.tint_rgb, np.float32) * np.float32(optics.exposure)
    for top in range(0, height, step):
        low, high = max(0, top - reach), min(height, top + step + reach)
        rows = slice(top, min(top + step, height))
        light: npt.NDArray[np.float32] = np.array(linear[low:high], np.float32)
        if aureole is not None:
            light *= 1 - optics.glow
            light += optics.glow * aureole(low, high)
        if optics.haze:
            light += np.float32(optics.haze)
        if optics.blur_px:
            sigma = (optics.blur_px, optics.blur_px, 0)
            blurred = ndimage.gaussian_filter(light, sigma, mode="nearest", truncate=_TRUNCATE)
            light = np.asarray(blurred, np.float32)
        light = light[top - low : rows.stop - low]
        if optics.vignetting:
            light *= _vignette(rows, height, width, optics.vignetting)[..., None]
        light *= factor
        yield rows, light


def _aureole(
    linear: npt.NDArray[np.float32],
) -> Callable[[int, int], npt.NDArray[np.float32]]:
    """The light blurred over a fifth of the picture, worked out on a reduced copy; asked for by rows."""
    rows, columns = linear.shape[:2]
    step = max(1, min(rows, columns) // 128)
    height, width = -(-rows // step), -(-columns // step)
    small = np.empty((height, width, linear.shape[2]), np.float32)
    for row in range(height):
        band = linear[row * step : (row + 1) * step]
        band = np.pad(band, ((0, step - len(band)), (0, width * step - columns), (0, 0)), mode="edge")
        small[row] = band.reshape(step, width, step, -1).mean(axis=(0, 2))
    sigma = 0.2 * min(height, width)
    small = ndimage.gaussian_filter(small, (sigma, sigma, 0), mode="constant")
    at_column = (np.arange(columns) + 0.5) / step - 0.5
    across = [_interpolate(small[:, :, channel], at_column) for channel in range(linear.shape[2])]

    def wide(low: int, high: int) -> npt.NDArray[np.float32]:
        at_row = (np.arange(low, high) + 0.5) / step - 0.5
        return np.stack([_interpolate(np.ascontiguousarray(one.T), at_row).T for one in across], axis=-1)

    return wide


def _interpolate(values: npt.NDArray, at: npt.NDArray) -> npt.NDArray:
    """Linear interpolation along the last axis, held at the ends."""
    at = np.clip(at, 0, values.shape[1] - 1)
    low = np.minimum(at.astype(int), max(values.shape[1] - 2, 0))
    high = np.minimum(low + 1, values.shape[1] - 1)
    part = (at - low).astype(np.float32)
    return values[:, low] * (1 - part) + values[:, high] * part


def _vignette(rows: slice, height: int, width: int, loss: float) -> npt.NDArray[np.float32]:
    """1 in the middle, 1 - loss in the corners; some rows of a picture of that size."""
    down, across = (np.linspace(-1, 1, size) ** 2 / 2 for size in (height, width))
    return (1 - loss * (down[rows, None] + across)).astype(np.float32)

"""The camera's side of a picture: exposure, filter tint, blur, haze, vignetting, noise, tone curve."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from ..models.errors import InputError
from .tone import srgb_encode


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
    if linear.ndim != 3 or linear.shape[2] != 3:
        raise InputError("linear", "must have the shape (rows, columns, 3)", linear.shape)
    for name, value in (("exposure", exposure), ("blur_px", blur_px), ("noise_dn", noise_dn), ("haze", haze)):
        if not (np.isfinite(value) and value >= 0):
            raise InputError(name, "must be a number of 0 or more", value)
    for name, value in (("glow", glow), ("vignetting", vignetting)):
        if not 0 <= value <= 1:
            raise InputError(name, "must be between 0 and 1", value)
    if noise_dn and rng is None:
        raise InputError("rng", "must be given when noise_dn is not zero")
    light = np.array(linear, np.float32)
    if glow:
        light *= 1 - glow
        light += glow * _aureole(linear)
    if haze:
        light += np.float32(haze)
    if blur_px:
        light = ndimage.gaussian_filter(light, (blur_px, blur_px, 0), mode="nearest", truncate=5)
    if vignetting:
        light *= _vignette(len(light), len(light[0]), vignetting)[..., None]
    light *= np.asarray(tint_rgb, np.float32) * np.float32(exposure)
    coded = srgb_encode(light)
    if style is not None:
        coded = np.asarray(style(coded), np.float32)
    coded *= np.float32(255)
    if noise_dn and rng is not None:
        coded = coded + np.float32(noise_dn) * rng.standard_normal(coded.shape, np.float32)
    return np.clip(np.rint(coded), 0, 255).astype(np.uint8)


def _aureole(linear: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The light blurred over a fifth of the picture, worked out on a reduced copy."""
    rows, columns = linear.shape[:2]
    step = max(1, min(rows, columns) // 128)
    height, width = -(-rows // step), -(-columns // step)
    padded = np.pad(linear, ((0, height * step - rows), (0, width * step - columns), (0, 0)), mode="edge")
    small = padded.reshape(height, step, width, step, -1).mean(axis=(1, 3))
    sigma = 0.2 * min(height, width)
    small = ndimage.gaussian_filter(small, (sigma, sigma, 0), mode="constant")
    at_row = (np.arange(rows) + 0.5) / step - 0.5
    at_column = (np.arange(columns) + 0.5) / step - 0.5
    wide = np.empty_like(linear)
    for channel in range(linear.shape[2]):
        across = _interpolate(small[:, :, channel], at_column)
        wide[:, :, channel] = _interpolate(np.ascontiguousarray(across.T), at_row).T
    return wide


def _interpolate(values: npt.NDArray, at: npt.NDArray) -> npt.NDArray:
    """Linear interpolation along the last axis, held at the ends."""
    at = np.clip(at, 0, values.shape[1] - 1)
    low = np.minimum(at.astype(int), max(values.shape[1] - 2, 0))
    high = np.minimum(low + 1, values.shape[1] - 1)
    part = (at - low).astype(np.float32)
    return values[:, low] * (1 - part) + values[:, high] * part


def _vignette(height: int, width: int, loss: float) -> npt.NDArray[np.float32]:
    """1 in the middle, 1 - loss in the corners."""
    rows, columns = (np.linspace(-1, 1, size) ** 2 / 2 for size in (height, width))
    return (1 - loss * (rows[:, None] + columns)).astype(np.float32)

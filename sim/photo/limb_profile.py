"""How far the true edge of the disc lies outside the inflection of its blurred, limb-darkened profile.

Blur moves the inflection inward, since the light falls towards the limb; the shift is a part of the blur
and the same all round. It is found by fitting the mean profile across the limb with a mixture of a published
limb darkening and a free one, cut at the edge and blurred by a Gaussian. A tone curve that is not sRGB's
moves it, both axes alike: on drawn discs by 0.55 of the blur times the logarithm of the curve's exponent and 0.6
times its contrast (the S-curve's extra steepness in the middle). Cameras' picture styles are not known to the
measurement; exponents that differ by 8 % and contrasts up to 0.25 (common practice, no source) make 0.09.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares
from scipy.special import erf

from ...models.geometry import Array
from ...render.limb_darkening import limb_coefficients
from .discmap import DiscMap
from .edges import EdgeSet, normals, sample

_STEP_PX = 0.25
_LAW = np.append(0.0, limb_coefficients("neckel-labs", (550.0,))[0][1:])  # in powers of mu, its step left out
_SAMPLES = 40_000
_SETTLED = 1e-5  # step over size of edge and sigma that ends the fit
_CLIPPED = 0.985  # linear light; what is cut off at the top moves the edge outward
_PIXEL_DOUBT_PX = 0.03  # edges sharper than a pixel, averaged before or after the tone curve
_SLOPE_RADIUS, _SLOPE_SHIFT = 0.9, 2.7
_DOUBT = 0.09  # of the blur: tone curves that are not sRGB


def true_edge_offset(
    luma: npt.NDArray[Any],
    table: npt.NDArray[np.float32],
    disc: DiscMap,
    edges: EdgeSet,
    angles: Array,
) -> tuple[float, float]:
    """Pixels from the inflections outward, along the limb's normal, to the true edge, and the uncertainty of that.

    Parameters
    ----------
    luma, table : ndarray
        The picture and its inverse tone curve.
    disc : DiscMap
        The limb as fitted to the inflections.
    edges : EdgeSet
        Tells the usable rays and the blur.
    angles : ndarray
        Directions of the rays on the disc, radians.

    Returns
    -------
    (float, float)
        (0, its uncertainty) where the profile cannot be fitted.
    """
    blur = edges.blur_px
    doubt = float(np.hypot(_DOUBT * blur, _PIXEL_DOUBT_PX))
    inward = min(max(10 * blur, 0.06 * disc.a), 0.25 * disc.a)
    offsets = np.arange(-inward, 5 * blur + 1, _STEP_PX)
    chosen = np.nonzero(edges.good)[0]
    chosen = chosen[:: max(2, round(len(chosen) * len(offsets) / _SAMPLES))]
    # Each ray's profile starts from its own edge, so that the air's ripple does not blur their median.
    _, _, outward = normals(disc, angles[chosen])
    columns = edges.columns[chosen, None] + outward[0][:, None] * offsets
    rows = edges.rows[chosen, None] + outward[1][:, None] * offsets
    values = sample(luma, table, columns, rows)
    values = values[np.all(np.isfinite(values), axis=1)]
    if len(values) < 40:
        return 0.0, doubt
    profile = np.median(values, axis=0)
    if profile[: len(profile) // 2].max() > _CLIPPED:
        doubt = float(np.hypot(doubt, 0.8 * blur))
    found = _fit_profile(profile, offsets, disc.a, blur)
    if found is None or abs(found) > 1.2 * blur + 0.3:
        return 0.0, max(doubt, 0.3 * blur)
    # Limb darkening can only move the inflection inward; less than nothing is the tone curve's doing.
    return max(found, 0.0), doubt


def light_slope_shift(
    luma: npt.NDArray[Any], table: npt.NDArray[np.float32], disc: DiscMap, edges: EdgeSet, angles: Array
) -> tuple[float, float]:
    """Pixels (right, up along the squash's axes) by which an uneven light moves all inflections alike.

    Low air dims a Sun's lower limb, a lens or cloud one side. Light that grows by g per pixel moves the inflection
    of a blurred step to the brighter side by 2 g times the square of the whole blur (of picture and search), that
    of a blurred limb by 2.7 g times the square of the picture's (on drawn discs). g is taken from the ring at 0.9
    radii; spots on it are left out.
    """
    chosen = np.nonzero(edges.good)[0][::2]
    cos, sin = np.cos(angles[chosen]), np.sin(angles[chosen])
    inner = sample(luma, table, *disc.to_pixels(_SLOPE_RADIUS * cos, _SLOPE_RADIUS * sin))
    reach = 1 + 4 * edges.blur_px / disc.a
    outer = sample(luma, table, *disc.to_pixels(reach * cos, reach * sin))
    # Without the sky nearby, of which the step does not tell.
    step = inner - float(np.nanmedian(outer))
    seen = np.isfinite(step) & (step > 0.2 * float(np.nanmedian(step))) & (inner < _CLIPPED)
    if np.count_nonzero(seen) < 40:
        return 0.0, 0.0
    turn = disc.tilt
    across, high = np.cos(turn) * cos + np.sin(turn) * sin, -np.sin(turn) * cos + np.cos(turn) * sin
    design = _SLOPE_RADIUS * np.column_stack([np.ones_like(cos), across, high])[seen]
    light = np.log(step[seen])
    weight = np.ones(len(light))
    slopes = np.zeros(3)
    for _ in range(6):
        slopes = np.linalg.lstsq(design * weight[:, None], light * weight, rcond=None)[0]
        left = light - design @ slopes
        weight = (np.abs(left) < 3 * 1.4826 * np.median(np.abs(left)) + 1e-4).astype(float)
    strength = _SLOPE_SHIFT * edges.blur_px**2
    return strength * float(slopes[1]) / disc.a, strength * float(slopes[2]) / disc.b


def _fit_profile(profile: Array, offsets: Array, radius: float, blur: float) -> float | None:
    def basis(edge: float, sigma: float) -> Array:
        return np.column_stack([np.ones_like(offsets), *_blurred_darkening(offsets - edge, sigma, radius)])

    def misfit(values: Array) -> Array:
        design = basis(values[0], abs(values[1]))
        coefficients = np.linalg.lstsq(design, profile, rcond=None)[0]
        return design @ coefficients - profile

    start = np.array([0.3 * blur, 0.9 * blur])
    low, high = [-1.5 * blur - 0.5, 0.25], [2 * blur + 0.5, 2.5 * blur + 0.5]
    fit = least_squares(misfit, np.clip(start, low, high), bounds=(low, high), xtol=_SETTLED)
    return float(fit.x[0]) if fit.success else None


def _blurred_darkening(offset: Array, sigma: float, radius: float) -> list[Array]:
    """1, the published law and mu^2 inside the edge, each blurred by a Gaussian of `sigma`; even steps of `offset`.

    The finer steps fall on those of `offset`, so that the result changes smoothly with edge and sigma.
    """
    parts = int(np.ceil(4 * _STEP_PX / sigma))
    step = _STEP_PX / parts
    reach = int(np.ceil(5 * sigma / step))
    fine = offset[0] + step * np.arange(-reach, parts * (len(offset) - 1) + reach + 1)
    # Means over each fine step, since mu has an infinite slope at the edge.
    depth = np.maximum(-(fine[:, None] + step * (np.arange(4) - 1.5) / 4) / radius, 0)
    square = np.minimum(depth * (2 - depth), 1)
    law = np.polynomial.polynomial.polyval(np.sqrt(square), _LAW)
    kernel = np.exp(-0.5 * (step / sigma * np.arange(-reach, reach + 1)) ** 2)
    kernel /= kernel.sum()
    blurred = [np.convolve(values.mean(axis=1), kernel, mode="valid")[::parts] for values in (law, square)]
    flat = 0.5 * (1 - erf(offset / (sigma * np.sqrt(2))))
    return [flat, *blurred]

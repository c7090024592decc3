"""Fit of the limb's five numbers to edge points: robust, with the refraction term's prior.

Along the vertical the air maps true height y (limb radii) to c0 + b y + c y^2, across it x to a x. The
prior of c from the axis ratio q = b/a, c/a = k(q) (1-q)^1.5, is a table of own ray integrations through a
standard atmosphere. Its spread is that of ray integrations through ordinary weather (an inversion of 1.5 K or
two below a few hundred metres), with the table's own error: q knows nearly all of the weather, down to the
last degree above the horizon (``tests/validation/weather.py`` prints both).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ...models.errors import PictureError
from ...models.geometry import Array
from .discmap import DiscMap
from .edges import EdgeSet

LEAST_RAYS = 0.42
_PRIOR_RATIO = (0.80, 0.85, 0.89, 0.93, 0.95, 0.97, 0.98, 0.988, 0.994, 0.997, 0.999)
_PRIOR_K = (0.12, 0.137, 0.158, 0.187, 0.205, 0.228, 0.242, 0.2535, 0.261, 0.260, 0.236)
_PRIOR_SPREAD = (0.86, 0.877, 0.892, 0.913, 0.93, 0.95), (0.6, 0.28, 0.13, 0.06, 0.03, 0.02)
_LEAST_SPREAD = 1e-6
"""In radii; high up, where the air does nothing to the shape."""
_TUKEY = 4.685


@dataclass(frozen=True)
class LimbFit:
    """The outline, the rays' residuals and weights, and the fit's normal matrix."""

    disc: DiscMap
    residual: Array  # px, nan where the ray gave no edge
    weight: Array
    derivative: Array  # (n, 5) of the residuals by right, up, a, b, c
    normal: Array  # (5, 5) of the weighted fit with the prior, unit variance
    scale: float


def prior_c(a: float, b: float) -> tuple[float, float]:
    """Expected refraction term in pixels and its spread."""
    ratio = b / a
    squash = max(1 - ratio, 0.0)
    expected = a * float(np.interp(ratio, _PRIOR_RATIO, _PRIOR_K)) * squash**1.5
    return expected, float(np.interp(ratio, *_PRIOR_SPREAD)) * expected + _LEAST_SPREAD * a


def radial(disc: DiscMap, columns: Array, rows: Array) -> Array:
    """Distance in pixels of points from the limb, outward positive, to first order."""
    x, y = disc.to_disc(columns, rows)
    rho = np.hypot(x, y)
    cos, sin = np.cos(disc.tilt), np.sin(disc.tilt)
    across, high = (cos * x + sin * y) / rho, (-sin * x + cos * y) / rho
    slope = disc.b + 2 * disc.c * high
    return (rho - 1) / np.hypot(across / disc.a, high / slope)


def grown(fit: LimbFit) -> Array:
    """Change of (right, up, a, b, c) when the edges move outward, those at the rays' mean by a pixel.

    For moving inflections to the true edge. Where the air squashes the disc its darkening is steeper and the
    inflection of the blurred limb lies further in: by the power 0.2 of the steepness, found on drawn discs
    (0.5 would be a bright disc's whose light falls to nothing as the root of the depth).
    """
    use = fit.weight > 0
    # Residuals by b change by minus the square of the ray's sine.
    squash = np.clip(-fit.derivative[:, 3], 0, 1)
    depth = fit.disc.a + (fit.disc.b - fit.disc.a) * squash
    share = (np.average(depth[use], weights=fit.weight[use]) / depth) ** 0.2
    pull = fit.derivative.T @ (fit.weight * share) / fit.scale**2
    return -np.asarray(np.linalg.solve(fit.normal, pull), float)


def moved(disc: DiscMap, step: Array) -> DiscMap:
    """The map with (right, up, a, b, c) changed by `step`, right and up along the squash's axes."""
    turn = disc.roll - disc.tilt
    cos, sin = math.cos(turn), math.sin(turn)
    right, up = cos * step[0] + sin * step[1], -sin * step[0] + cos * step[1]
    return DiscMap(
        float(disc.column + (-right if disc.mirrored else right)),
        float(disc.row - up),
        float(disc.a + step[2]),
        float(disc.b + step[3]),
        float(disc.c + step[4]),
        disc.roll,
        disc.tilt,
        disc.mirrored,
    )


def _derivatives(disc: DiscMap, columns: Array, rows: Array) -> Array:
    """Of the distances by (right, up, a, b, c), shape (n, 5), to first order in the distance over the radius."""
    x, y = disc.to_disc(columns, rows)
    rho = np.hypot(x, y)
    cos, sin = np.cos(disc.tilt), np.sin(disc.tilt)
    across, high = (cos * x + sin * y) / rho, (-sin * x + cos * y) / rho
    normal = np.stack([across / disc.a, high / (disc.b + 2 * disc.c * high)])
    right, up = normal / np.hypot(normal[0], normal[1])
    return -np.stack([right, up, right * across, up * high, up * high**2], axis=1)


def _robust_scale(residual: Array) -> float:
    return max(1.4826 * float(np.median(np.abs(residual - np.median(residual)))), 1e-3)


def fit_limb(name: str, edges: EdgeSet, disc: DiscMap) -> LimbFit:
    """Iteratively reweighted Gauss-Newton with Tukey's weights and the prior of c."""
    columns, rows, known = edges.columns, edges.rows, edges.good
    if np.mean(known) < LEAST_RAYS:
        raise too_little(name, float(np.mean(known)))
    disc = moved(disc, np.array([0.0, 0.0, 0.0, 0.0, prior_c(disc.a, min(disc.b, disc.a))[0] - disc.c]))
    scale = 0.02 * disc.a
    scale = max(scale, 1.0)
    weight = known.astype(float)
    residual = np.full(len(columns), np.nan)
    for turn in range(14):
        residual = np.where(known, radial(disc, columns, rows), np.nan)
        values = residual[known]
        scale = _robust_scale(values) if turn > 1 else max(scale, _robust_scale(values))
        ratio = np.where(known, residual, np.inf) / (_TUKEY * scale)
        weight = np.where(np.abs(ratio) < 1, (1 - np.minimum(ratio**2, 1)) ** 2, 0.0)
        if np.mean(weight > 0) < 0.5 * LEAST_RAYS:
            raise too_little(name, float(np.mean(weight > 0)))
        step, *_ = _step(disc, edges, residual, weight, scale)
        limit = 0.2 * disc.a
        disc = moved(disc, np.clip(step, -limit, limit))
        if not (0.6 < disc.b / disc.a < 1.2):
            disc = DiscMap(disc.column, disc.row, disc.a, disc.a, 0.0, disc.roll, disc.tilt, disc.mirrored)
        if turn > 3 and np.max(np.abs(step)) < 1e-4:
            break
    used = float(np.mean(weight > 0.05))
    if used < LEAST_RAYS:
        raise too_little(name, used)
    residual = np.where(known, radial(disc, columns, rows), np.nan)
    _, derivative, normal = _step(disc, edges, residual, weight, scale)
    return LimbFit(disc, residual, weight, derivative, normal, scale)


def too_little(name: str, share: float) -> PictureError:
    """The error for a limb of which only a share was seen."""
    return PictureError(
        name,
        f"too little of a limb: a sharp round edge on {100 * share:.0f} % of the outline, "
        f"{100 * LEAST_RAYS:.0f} % is needed",
        "give a photo that shows at least half of the Sun's edge",
    )


def _step(
    disc: DiscMap, edges: EdgeSet, residual: Array, weight: Array, scale: float
) -> tuple[Array, Array, Array]:
    use = weight > 0
    derivative = np.zeros((len(weight), 5))
    derivative[use] = _derivatives(disc, edges.columns[use], edges.rows[use])
    scaled = derivative * weight[:, None] / scale**2
    normal = derivative.T @ scaled
    gradient = -scaled.T @ np.where(use, residual, 0.0)
    expected, spread = prior_c(disc.a, disc.b)
    # The prior's own slope by a and b is left out: it is small and would let c pull the axes.
    normal[4, 4] += 1 / spread**2
    gradient[4] += (expected - disc.c) / spread**2
    return np.asarray(np.linalg.solve(normal, gradient), float), derivative, normal


_HARMONICS = np.arange(3, 15)
"""Waves round the limb (per arc seen) next to those that the fit takes up."""


def autocorrelation(residual: Array, weight: Array) -> tuple[float, float]:
    """Power of the residuals' long waves against independent ones, and the correlation of neighbours.

    A fitted limb feels the waves of order 0 to 3 round it, which the residuals lack; their power is taken
    to be that of the next longer ones.
    """
    use = weight > 0.05
    series = np.where(use, residual, 0.0)
    total = max(float(np.sum(series**2)), 1e-12)
    share = float(np.mean(use))
    angle = 2 * np.pi * np.arange(len(series)) / len(series)
    waves = np.exp(-1j * (_HARMONICS / share)[:, None] * angle) @ series
    power = float(np.mean(np.abs(waves) ** 2)) / total
    near = float(np.sum(series * np.roll(series, 1))) / total
    return max(power, 0.5), near

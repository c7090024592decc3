"""The limb to a fraction of a pixel: edge per ray, robust fit with the refraction term, covariance.

Along the vertical the air maps true height y (limb radii) to c0 + b y + c y^2, across it x to a x. The
prior of c from the axis ratio q = b/a, c/a = k(q) (1-q)^1.5, is a table of own ray integrations through a
standard atmosphere; its spread covers ordinary weather.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ...models.errors import PictureError
from ...models.geometry import Array
from .coarse import CoarseDisc, find_disc
from .discmap import DiscMap
from .edges import EdgeSet, edge_points, ray_angles
from .limb_profile import true_edge_offset
from .load import Photo, linear_table

FLOOR = 3e-4  # of the radius, in every limb parameter: sky gradients and vignetting break any fit below
_PRIOR_RATIO = (0.80, 0.85, 0.89, 0.93, 0.95, 0.974, 0.988, 0.994)
_PRIOR_K = (0.12, 0.14, 0.16, 0.19, 0.21, 0.23, 0.25, 0.26)
_TUKEY = 4.685
_LEAST_RAYS = 0.42


@dataclass(frozen=True)
class Limb:
    """The measured limb.

    Parameters
    ----------
    disc : DiscMap
    covariance : ndarray, shape (5, 5)
        Of (right, up, a, b, c) in pixels along the squash's axes, autocorrelation and floor included.
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
        Two points (columns, rows) of a straight cut across the disc, if there is one.
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


def measure_limb(
    photo: Photo, *, roll_deg: float = 0.0, mirrored: bool = False, follow_squash: bool = False
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

    Raises
    ------
    PictureError
        No disc, or too little of its limb.
    """
    roll = math.radians(roll_deg)
    if not follow_squash:
        return _limb_along(photo, roll, 0.0, mirrored)
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


def _limb_along(photo: Photo, roll: float, tilt: float, mirrored: bool) -> Limb:
    """The limb with the axes of the squash in one direction."""
    name = photo.path.name
    # In the picture's own pixels a mirrored scene is turned the other way.
    level = -(roll - tilt) if mirrored else roll - tilt
    coarse = find_disc(photo.luma, level, np.random.default_rng(20240713))
    if coarse is None or coarse.covered < 0.2:
        raise PictureError(
            name, "no disc of the Sun was found", "the disc must be brighter than the sky around it"
        )
    start = DiscMap(coarse.column, coarse.row, coarse.a, coarse.b, 0.0, roll, tilt, mirrored)
    _refuse_outgrown(name, start, photo.luma.shape)
    table = linear_table(photo.luma)
    disc, edges = _narrowing_passes(photo, table, coarse, start)
    fit = _fit(name, edges, disc)
    offset = true_edge_offset(photo.luma, table, fit.disc, edges, ray_angles())
    return _limb(fit, edges.blur_px, offset, _tilt(edges, fit), coarse.horizon)


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
    if share < _LEAST_RAYS:
        raise PictureError(
            name,
            f"too little of the limb: {100 * share:.0f} % of the outline is in the picture",
            "frame the disc",
        )


def _narrowing_passes(
    photo: Photo, table: npt.NDArray[np.float32], coarse: CoarseDisc, disc: DiscMap
) -> tuple[DiscMap, EdgeSet]:
    """Edge points in narrowing bands round a better and better outline; the last outline and its edges."""
    radius, blur = disc.a, max(1.2, 0.004 * disc.a)
    angles = ray_angles()
    edges = edge_points(photo.luma, table, disc, angles, max(0.05 * radius, 5.0), blur, coarse.horizon)
    for _ in range(3):
        fit = _fit(photo.path.name, edges, disc)
        disc = fit.disc
        blur = float(np.clip(edges.blur_px, 0.7, 0.02 * radius + 0.7))
        reach = max(4.5 * blur, 5 * fit.scale, 4.0)
        edges = edge_points(photo.luma, table, disc, angles, reach, blur, coarse.horizon)
    return disc, edges


@dataclass(frozen=True)
class _Fit:
    disc: DiscMap
    residual: Array  # px, nan where the ray gave no edge
    weight: Array
    derivative: Array  # (n, 5) of the residuals by right, up, a, b, c
    normal: Array  # (5, 5) of the weighted fit with the prior, unit variance
    scale: float


def _prior_c(a: float, b: float) -> tuple[float, float]:
    """Expected refraction term in pixels and its spread."""
    ratio = b / a
    squash = max(1 - ratio, 0.0)
    expected = a * float(np.interp(ratio, _PRIOR_RATIO, _PRIOR_K)) * squash**1.5
    return expected, (0.2 if ratio > 0.9 else 0.6) * expected + 2e-5 * a


def _radial(disc: DiscMap, columns: Array, rows: Array) -> Array:
    """Distance in pixels of points from the limb, outward positive, to first order."""
    x, y = disc.to_disc(columns, rows)
    rho = np.hypot(x, y)
    cos, sin = np.cos(disc.tilt), np.sin(disc.tilt)
    across, high = (cos * x + sin * y) / rho, (-sin * x + cos * y) / rho
    slope = disc.b + 2 * disc.c * high
    return (rho - 1) / np.hypot(across / disc.a, high / slope)


def _moved(disc: DiscMap, step: Array) -> DiscMap:
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
    steps = 0.05 * np.eye(5)
    return np.stack(
        [
            (_radial(_moved(disc, s), columns, rows) - _radial(_moved(disc, -s), columns, rows)) / 0.1
            for s in steps
        ],
        axis=1,
    )


def _robust_scale(residual: Array) -> float:
    return max(1.4826 * float(np.median(np.abs(residual - np.median(residual)))), 1e-3)


def _fit(name: str, edges: EdgeSet, disc: DiscMap) -> _Fit:
    """Iteratively reweighted Gauss-Newton with Tukey's weights and the prior of c."""
    columns, rows, known = edges.columns, edges.rows, edges.good
    if np.mean(known) < _LEAST_RAYS:
        raise _too_little(name, float(np.mean(known)))
    disc = _moved(disc, np.array([0.0, 0.0, 0.0, 0.0, _prior_c(disc.a, min(disc.b, disc.a))[0] - disc.c]))
    scale = 0.02 * disc.a
    scale = max(scale, 1.0)
    weight = known.astype(float)
    residual = np.full(len(columns), np.nan)
    for turn in range(14):
        residual = np.where(known, _radial(disc, columns, rows), np.nan)
        values = residual[known]
        scale = _robust_scale(values) if turn > 1 else max(scale, _robust_scale(values))
        ratio = np.where(known, residual, np.inf) / (_TUKEY * scale)
        weight = np.where(np.abs(ratio) < 1, (1 - np.minimum(ratio**2, 1)) ** 2, 0.0)
        if np.mean(weight > 0) < 0.5 * _LEAST_RAYS:
            raise _too_little(name, float(np.mean(weight > 0)))
        step, *_ = _step(disc, edges, residual, weight, scale)
        limit = 0.2 * disc.a
        disc = _moved(disc, np.clip(step, -limit, limit))
        if not (0.6 < disc.b / disc.a < 1.2):
            disc = DiscMap(disc.column, disc.row, disc.a, disc.a, 0.0, disc.roll, disc.tilt, disc.mirrored)
        if turn > 3 and np.max(np.abs(step)) < 1e-4:
            break
    used = float(np.mean(weight > 0.05))
    if used < _LEAST_RAYS:
        raise _too_little(name, used)
    residual = np.where(known, _radial(disc, columns, rows), np.nan)
    _, derivative, normal = _step(disc, edges, residual, weight, scale)
    return _Fit(disc, residual, weight, derivative, normal, scale)


def _too_little(name: str, share: float) -> PictureError:
    return PictureError(
        name,
        f"too little of a limb: a sharp round edge on {100 * share:.0f} % of the outline, "
        f"{100 * _LEAST_RAYS:.0f} % is needed",
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
    expected, spread = _prior_c(disc.a, disc.b)
    # The prior's own slope by a and b is left out: it is small and would let c pull the axes.
    normal[4, 4] += 1 / spread**2
    gradient[4] += (expected - disc.c) / spread**2
    return np.asarray(np.linalg.solve(normal, gradient), float), derivative, normal


def _autocorrelation(residual: Array, weight: Array) -> tuple[float, float]:
    """Sum over lags of the residuals' correlation, and the correlation of neighbours."""
    use = weight > 0.05
    series = np.where(use, residual, 0.0)
    power = np.abs(np.fft.rfft(series, 2 * len(series))) ** 2
    counts = np.abs(np.fft.rfft(use.astype(float), 2 * len(series))) ** 2
    lags = len(series) // 4
    sums = np.fft.irfft(power)[:lags]
    pairs = np.maximum(np.fft.irfft(counts)[:lags], 1.0)
    correlation = (sums / pairs) / max(sums[0] / pairs[0], 1e-12)
    below = np.nonzero(correlation < 0.05)[0]
    end = int(below[0]) if len(below) else lags
    return float(1 + 2 * np.sum(correlation[1:end])), float(correlation[1])


def _tilt(edges: EdgeSet, fit: _Fit) -> tuple[float | None, float | None]:
    """Direction of the squash against the fit's axes from the second harmonic of the residuals, degrees."""
    disc = fit.disc
    if disc.a - disc.b < 4 * fit.scale / math.sqrt(len(fit.weight)) + 3 * FLOOR * disc.a:
        return None, None
    use = fit.weight > 0.05
    step = 1e-3

    def turned(angle: float) -> Array:
        other = DiscMap(
            disc.column, disc.row, disc.a, disc.b, disc.c, disc.roll, disc.tilt + angle, disc.mirrored
        )
        return _radial(other, edges.columns[use], edges.rows[use])

    slope = (turned(step) - turned(-step)) / (2 * step)
    design = np.column_stack([fit.derivative[use], slope])
    weight = fit.weight[use]
    normal = design.T @ (design * weight[:, None])
    normal[4, 4] += fit.scale**2 / _prior_c(disc.a, disc.b)[1] ** 2
    change = np.linalg.solve(normal, -design.T @ (weight * fit.residual[use]))
    left = np.full(len(fit.residual), np.nan)
    left[use] = fit.residual[use] + design @ change
    inflation, _ = _autocorrelation(left, fit.weight)
    scale = float(np.sqrt(np.sum(weight * left[use] ** 2) / np.sum(weight)))
    sigma = scale * math.sqrt(inflation * np.linalg.inv(normal)[5, 5])
    sigma = math.hypot(sigma, FLOOR * disc.a / (disc.a - disc.b))
    if sigma > math.radians(20):
        return None, None
    return math.degrees(disc.tilt + change[5]), math.degrees(sigma)


def _limb(
    fit: _Fit,
    blur: float,
    offset: tuple[float, float],
    tilt: tuple[float | None, float | None],
    horizon: tuple[Array, Array] | None,
) -> Limb:
    inflation, neighbours = _autocorrelation(fit.residual, fit.weight)
    used = fit.residual[fit.weight > 0.05]
    rms = float(np.sqrt(np.mean(used**2)))
    covariance = np.linalg.inv(fit.normal) * (max(rms, fit.scale) / fit.scale) ** 2
    covariance *= inflation
    floor = (FLOOR * fit.disc.a) ** 2
    covariance = covariance + np.diag([floor, floor, floor, floor, floor / 4])
    # Both axes grow alike by what the inflection lies inside the true edge.
    grow = np.array([0, 0, 1.0, fit.disc.b / fit.disc.a, 0])
    covariance = covariance + offset[1] ** 2 * np.outer(grow, grow)
    return Limb(
        _moved(fit.disc, offset[0] * grow),
        np.asarray(covariance, float),
        blur,
        rms * math.sqrt(min(max(neighbours - 0.2, 0.0), 1.0)),
        rms,
        float(np.mean(fit.weight > 0.05)),
        *tilt,
        horizon,
    )


def place_covariance(limb: Limb, x: float, y: float) -> Array:
    """Covariance (2, 2) of a disc place (x, y) that the limb's own uncertainty brings."""
    disc = limb.disc
    columns, rows = disc.to_pixels(np.array(x), np.array(y))
    steps = 0.05 * np.eye(5)
    derivative = np.empty((2, 5))
    for index, step in enumerate(steps):
        ahead = np.stack(_moved(disc, step).to_disc(columns, rows))
        behind = np.stack(_moved(disc, -step).to_disc(columns, rows))
        derivative[:, index] = (ahead - behind) / 0.1
    return derivative @ limb.covariance @ derivative.T


def limb_sigmas(limb: Limb) -> tuple[tuple[float, float], tuple[float, float]]:
    """Sigmas of the centre (column, row) and of the axes (a, b), pixels."""
    turn = limb.disc.roll - limb.disc.tilt
    rotation = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    centre = rotation @ limb.covariance[:2, :2] @ rotation.T
    axes = np.sqrt(np.diag(limb.covariance)[2:4])
    return (math.sqrt(centre[0, 0]), math.sqrt(centre[1, 1])), (float(axes[0]), float(axes[1]))

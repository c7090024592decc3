"""Teaching surfaces: heliographic grid and meridian stripes, painted over the disc."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError
from ..models.geometry import SunView
from .frame import PictureFrame, VerticalWarp
from .spot_painting import observer_axes, on_sphere

#: What the surface may show.
SURFACES = ("plain", "grid", "stripes")

_POLE_CAP_DEG = 75.0


def paint_surface(
    image: npt.NDArray[np.float32],
    view: SunView,
    frame: PictureFrame,
    warp: VerticalWarp,
    surface: str,
    step_deg: float,
) -> None:
    """Darken `image` (rows, cols, channels) in place by lines or stripes fixed to the body frame."""
    if not 1 <= step_deg <= 90:
        raise InputError("grid_step_deg", "must be between 1 and 90", step_deg)
    axes = observer_axes(view)
    paint = _grid if surface == "grid" else _stripes
    columns = np.arange(frame.width_px)
    for top in range(0, frame.height_px, 128):
        low, high = max(0, top - 1), min(frame.height_px, top + 129)
        x, y = frame.to_disc(columns[None, :], np.arange(low, high)[:, None])
        y = warp.true(y)
        seen = on_sphere(x, y, float(view.distance))
        body = np.einsum("k...,kj->j...", np.stack(seen), axes)
        keep = slice(top - low, min(128, frame.height_px - top) + top - low)
        factor = paint(body, step_deg, frame.radius_px)[keep]
        inside = (x * x + y * y <= 1.02)[keep]
        rows = slice(top, top + factor.shape[0])
        image[rows] *= np.where(inside, factor, 1)[..., None].astype(np.float32)


def _coordinates(body: npt.NDArray) -> tuple[npt.NDArray, ...]:
    """Latitude, longitude (deg) and their change per pixel."""
    bx, by, bz = body
    rho2 = np.maximum(bx * bx + by * by, 1e-9)
    latitude = np.rad2deg(np.arctan2(bz, np.sqrt(rho2)))
    longitude = np.rad2deg(np.arctan2(by, bx))
    slope = [np.gradient(component) for component in (bx, by, bz)]
    per_row = (bx * slope[1][0] - by * slope[0][0]) / rho2
    per_column = (bx * slope[1][1] - by * slope[0][1]) / rho2
    rate_longitude = np.rad2deg(np.hypot(per_row, per_column))
    rate_latitude = np.rad2deg(np.hypot(*slope[2]) / np.sqrt(rho2))
    return latitude, longitude, np.maximum(rate_latitude, 1e-6), np.maximum(rate_longitude, 1e-6)


def _line(distance_px: npt.NDArray, width_px: float) -> npt.NDArray:
    """Share of a pixel that a line covers, from its distance."""
    return np.clip(width_px / 2 + 0.5 - distance_px, 0, min(1.0, width_px))


def _grid(body: npt.NDArray, step_deg: float, radius_px: float) -> npt.NDArray:
    """Lines every step; the equator and the prime meridian are wider and darker."""
    latitude, longitude, latitude_rate, longitude_rate = _coordinates(body)
    thin, strong = max(0.7, radius_px / 320), max(1.4, radius_px / 120)
    nearest = np.abs(latitude - step_deg * np.round(latitude / step_deg))
    lines = _line(nearest / latitude_rate, thin)
    nearest = np.abs(longitude - step_deg * np.round(longitude / step_deg))
    meridians = _line(nearest / longitude_rate, thin) * (np.abs(latitude) < _POLE_CAP_DEG + 0.5)
    factor = 1 - 0.5 * np.maximum(lines, meridians)
    main = np.maximum(
        _line(np.abs(latitude) / latitude_rate, strong), _line(np.abs(longitude) / longitude_rate, strong)
    )
    return np.minimum(factor, 1 - 0.72 * main)


def _stripes(body: npt.NDArray, step_deg: float, radius_px: float) -> npt.NDArray:
    """Every second stripe between meridians is darker; a dark cap marks the north pole."""
    latitude, longitude, latitude_rate, longitude_rate = _coordinates(body)
    phase = (longitude / step_deg) % 2
    to_edge = np.minimum(np.abs(phase - np.round(phase)), 0.5) * step_deg / longitude_rate
    sign = np.where(phase < 1, 0.5, -0.5)
    dark = np.clip(0.5 - sign * np.minimum(2 * to_edge, 1), 0, 1)
    cap = np.clip((latitude - _POLE_CAP_DEG) / latitude_rate + 0.5, 0, 1)
    equator = _line(np.abs(latitude) / latitude_rate, max(1.0, radius_px / 200))
    factor = 1 - 0.42 * dark
    return np.minimum(factor * (1 - 0.35 * equator), 1 - 0.75 * cap)

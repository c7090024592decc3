"""Sunspots on the rendered disc: umbra, penumbra and a soft irregular outline, drawn on the sphere.

Each spot is evaluated on the pixels of its own bounding box alone. A pixel's place is carried back to the
sphere, so foreshortening and perspective are those of the geometry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError
from ..models.geometry import SunView
from ..models.observables import disc_axes
from .frame import PictureFrame, VerticalWarp

Array = npt.NDArray[np.float64]

_CHUNK = 1_000_000  # samples held at once
_MOST_OVERSAMPLING = 12
_SAMPLES = 2.5  # samples across the narrower half of an umbra, at least


@dataclass(frozen=True)
class SurfaceSpots:
    """Dark spots on the Sun's surface.

    Parameters
    ----------
    points : ndarray, shape (n, 3)
        Unit vectors in the body frame; the centre of darkness of each spot.
    radius : float or ndarray, shape (n,)
        Mean heliographic radius of the penumbra in radians.
    umbra_fraction : float or ndarray
        Radius of the umbra over that of the penumbra, 0 to 1.
    umbra_contrast, penumbra_contrast : float or ndarray
        Depth below the photosphere around, 0 (none) to 1 (black). The defaults are typical of white light
        (from memory: umbrae of 0.6 to 0.9, penumbrae near 0.2).
    irregularity : float or ndarray
        Relative wobble of the outline, 0 (a circle) to 0.3.
    seed : int
        Chooses the outlines; the same seed draws the same spots in every picture.

    Raises
    ------
    InputError
        Shapes do not fit or a value is out of range.
    """

    points: Array
    radius: npt.ArrayLike
    umbra_fraction: npt.ArrayLike = 0.42
    umbra_contrast: npt.ArrayLike = 0.85
    penumbra_contrast: npt.ArrayLike = 0.24
    irregularity: npt.ArrayLike = 0.12
    seed: int = 0
    _shape: _Outlines = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        points = np.asarray(self.points, float).reshape(-1, 3) if np.size(self.points) else np.zeros((0, 3))
        length = np.linalg.norm(points, axis=-1)
        if not np.all(np.abs(length - 1) < 1e-6):
            raise InputError("points", "must be unit vectors of shape (n, 3)")
        object.__setattr__(self, "points", points)
        limits = {
            "radius": (1e-6, 0.5),
            "umbra_fraction": (0.0, 1.0),
            "umbra_contrast": (0.0, 1.0),
            "penumbra_contrast": (0.0, 1.0),
            "irregularity": (0.0, 0.3),
        }
        for name, (low, high) in limits.items():
            values = np.asarray(getattr(self, name), float)
            if values.ndim and values.shape != (len(points),):
                raise InputError(name, f"must be one number or {len(points)} of them", values.shape)
            if not np.all((values >= low) & (values <= high)):
                raise InputError(name, f"must be between {low:g} and {high:g}")
            object.__setattr__(self, name, np.broadcast_to(values, (len(points),)))
        rng = np.random.default_rng(self.seed)
        object.__setattr__(self, "_shape", _Outlines.random(np.asarray(self.irregularity), rng))

    def __len__(self) -> int:
        return len(self.points)

    @property
    def outlines(self) -> _Outlines:
        """Outlines drawn from the seed."""
        return self._shape


@dataclass(frozen=True)
class _Outlines:
    """Wobble of each outline, r(phi) = 1 + sum of a_k cos(k phi) + b_k sin(k phi), k = 2, 3, 5.

    Shape (n, 6); `shift` (n, 2), in radii, brings the centre of area back to the spot's place; `widest`
    (n,) is the largest r.
    """

    harmonics: Array
    shift: Array
    widest: Array

    @classmethod
    def random(cls, irregularity: Array, rng: np.random.Generator) -> _Outlines:
        strength = np.array([0.8, 0.8, 0.6, 0.6, 0.35, 0.35])
        raw = np.clip(rng.normal(size=(irregularity.size, 6)), -1.7, 1.7) * strength
        harmonics = raw * irregularity[:, None]
        phi = np.linspace(0, 2 * np.pi, 96, endpoint=False)
        cos, sin = np.cos(phi), np.sin(phi)
        r = 1 + _wobble(cos, sin, [harmonics[:, k, None] for k in range(6)])
        area = np.sum(r**2, axis=-1) / 2
        shift = np.stack([np.sum(r**3 * cos, axis=-1), np.sum(r**3 * sin, axis=-1)], axis=-1) / 3
        return cls(harmonics, shift / area[:, None], r.max(axis=-1))


def _wobble(cos: npt.NDArray, sin: npt.NDArray, h: Sequence[npt.NDArray]) -> npt.NDArray:
    """Sum of the harmonics at the directions (cos, sin); `h` holds the six coefficients."""
    c2, s2 = cos * cos - sin * sin, 2 * cos * sin
    c3, s3 = c2 * cos - s2 * sin, s2 * cos + c2 * sin
    c5, s5 = c3 * c2 - s3 * s2, s3 * c2 + c3 * s2
    return h[0] * c2 + h[1] * s2 + h[2] * c3 + h[3] * s3 + h[4] * c5 + h[5] * s5


def _filaments(cos: npt.NDArray, sin: npt.NDArray) -> npt.NDArray:
    """Radial fringe of a large penumbra: a beat of three high harmonics, -1 to 1."""
    z = cos + 1j * sin
    z2 = z * z
    z4 = z2 * z2
    z8 = z4 * z4
    z16 = z8 * z8
    z23 = z16 * z4 * z2 * z
    return (0.45 * (z16 * z).real + 0.35 * z23.imag + 0.2 * (z23 * z8 * z2).real).astype(cos.dtype)


@dataclass(frozen=True)
class _Patch:
    """A spot's bounding box: first row and column, size, samples per pixel side, smallest radius (px)."""

    spot: int
    row: int
    column: int
    rows: int
    columns: int
    oversampling: int
    narrow_px: float

    @property
    def samples(self) -> int:
        return self.rows * self.columns * self.oversampling**2


def draw_spots(
    image: npt.NDArray[np.float32],
    view: SunView,
    frame: PictureFrame,
    spots: SurfaceSpots,
    warp: VerticalWarp,
) -> None:
    """Darken `image` (rows, cols, channels) in place by the spots on the visible side."""
    axes = observer_axes(view)
    chunk: list[_Patch] = []
    total = 0
    for patch in _patches(view, frame, spots, warp, axes):
        if chunk and total + patch.samples > _CHUNK:
            _apply(image, view, frame, spots, warp, axes, chunk)
            chunk, total = [], 0
        chunk.append(patch)
        total += patch.samples
    if chunk:
        _apply(image, view, frame, spots, warp, axes, chunk)


def observer_axes(view: SunView) -> Array:
    """Rows: right, up and direction, expressed in the body frame."""
    right, up = disc_axes(view.direction)
    axes = np.stack([right, up, view.direction]) @ view.attitude
    if not np.all(np.isfinite(axes)):
        raise InputError("view", "must have an attitude to show the surface; this model leaves it free")
    return axes


def _tangents(points: Array) -> tuple[Array, Array]:
    """Unit vectors towards growing longitude and latitude; at a pole the prime meridian serves."""
    rho = np.hypot(points[:, 0], points[:, 1])
    safe = np.where(rho > 1e-9, rho, 1.0)
    cos = np.where(rho > 1e-9, points[:, 0] / safe, 1.0)
    sin = np.where(rho > 1e-9, points[:, 1] / safe, 0.0)
    east = np.stack([-sin, cos, np.zeros_like(cos)], axis=-1)
    return east, np.cross(points, east)


def _patches(
    view: SunView, frame: PictureFrame, spots: SurfaceSpots, warp: VerticalWarp, axes: Array
) -> list[_Patch]:
    """Bounding boxes of the spots that show at least a part of themselves."""
    if not len(spots):
        return []
    distance = float(view.distance)
    radius, fraction = np.asarray(spots.radius), np.asarray(spots.umbra_fraction)
    reach = radius * (spots.outlines.widest * 1.08 + 0.02)
    towards = -spots.points @ axes[2]
    shown = np.flatnonzero(np.arccos(np.clip(towards, -1, 1)) - reach < math.acos(1 / distance))
    east, north = _tangents(spots.points)
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None]
    patches = []
    for i in shown:
        ring = np.cos(reach[i]) * spots.points[i] + np.sin(reach[i]) * (
            np.cos(turn) * east[i] + np.sin(turn) * north[i]
        )
        edge = np.vstack([ring, spots.points[i]]) @ axes.T
        scale = math.sqrt(distance**2 - 1) / (distance + edge[:, 2])
        x, y = edge[:, 0] * scale, edge[:, 1] * scale
        stretch = np.where(edge[:, 2] < -1 / distance, 1.0, 1 / np.maximum(np.hypot(x, y), 1e-9))
        column, row = frame.to_pixels(x * stretch, warp.apparent(y * stretch))
        margin = 2.0 + 0.05 * reach[i] * frame.radius_px
        c0, c1 = max(0, math.floor(column.min() - margin)), math.ceil(column.max() + margin) + 1
        r0, r1 = max(0, math.floor(row.min() - margin)), math.ceil(row.max() + margin) + 1
        c1, r1 = min(c1, frame.width_px), min(r1, frame.height_px)
        if c1 <= c0 or r1 <= r0:
            continue
        narrow = frame.radius_px * radius[i] * max(towards[i], 0.05) * max(fraction[i], 0.3)
        oversampling = int(np.clip(math.ceil(_SAMPLES / max(narrow, 1e-3)), 1, _MOST_OVERSAMPLING))
        patches.append(_Patch(int(i), r0, c0, r1 - r0, c1 - c0, oversampling, narrow))
    return patches


def _apply(
    image: npt.NDArray[np.float32],
    view: SunView,
    frame: PictureFrame,
    spots: SurfaceSpots,
    warp: VerticalWarp,
    axes: Array,
    patches: list[_Patch],
) -> None:
    """Multiply the patches of `image` by what the spots let through; all samples in one flat pass."""
    x, y = _sample_places(frame, warp, patches)
    counts = [patch.samples for patch in patches]
    which = [patch.spot for patch in patches]

    def spread(values: npt.ArrayLike) -> npt.NDArray[np.float32]:
        return np.repeat(np.asarray(values, np.float32), counts)

    points = spots.points[which]
    seen = on_sphere(x, y, float(view.distance))

    def along(vectors: Array) -> npt.NDArray[np.float32]:
        a, b, c = (spread(column) for column in (vectors @ axes.T).T)
        return seen[0] * a + seen[1] * b + seen[2] * c

    east, north = _tangents(points)
    scale = spread(1 / np.sin(np.asarray(spots.radius)[which]))
    u = along(east) * scale
    v = along(north) * scale
    outline = spots.outlines
    u += spread(outline.shift[which, 0])
    v += spread(outline.shift[which, 1])
    distance = np.sqrt(u * u + v * v) + np.float32(1e-9)
    u /= distance
    v /= distance
    distance /= 1 + _wobble(u, v, [spread(outline.harmonics[which, k]) for k in range(6)])
    size = np.array([patch.narrow_px for patch in patches])
    fringe = 0.05 * np.clip((size - 4) / 8, 0, 1)
    texture = 1.2 - 0.3 * distance
    if np.any(fringe):
        filaments = spread(fringe) * _filaments(u, v)
        distance *= 1 + filaments * np.clip(distance * 2 - 0.6, 0, 1)
        texture += 4 * filaments
    if np.any(np.asarray(spots.radius)[which] > 0.3):
        distance[along(points) < 0] = 9
    # A soft edge, never softer than the real one nor sharper than the samples.
    samples = np.array([patch.oversampling for patch in patches])
    blur = 0.6 / (np.maximum(size, 0.2) * samples)
    penumbra_soft, umbra_soft = (
        spread(np.maximum(0.07, np.minimum(blur, 0.3))),
        spread(np.maximum(0.10, np.minimum(blur, 0.3))),
    )
    penumbra = spread(np.asarray(spots.penumbra_contrast)[which])
    umbra = spread(np.asarray(spots.umbra_contrast)[which])
    fraction = spread(np.asarray(spots.umbra_fraction)[which])
    depth = penumbra * texture * _soft_step(distance, np.ones_like(distance), penumbra_soft)
    depth += (umbra - penumbra) * _soft_step(distance, fraction, umbra_soft)
    start = 0
    for patch in patches:
        n, k = patch.samples, patch.oversampling
        block = depth[start : start + n].reshape(patch.rows, k, patch.columns, k).mean(axis=(1, 3))
        start += n
        rows, columns = (
            slice(patch.row, patch.row + patch.rows),
            slice(patch.column, patch.column + patch.columns),
        )
        image[rows, columns] *= np.maximum(1 - block, 0)[..., None]


def _soft_step(distance: npt.NDArray, edge: npt.NDArray, width: npt.NDArray) -> npt.NDArray:
    """1 inside, 0 outside `edge`, a smooth cubic over plus or minus `width`."""
    t = np.clip((edge + width - distance) / (2 * width), 0, 1)
    return t * t * (3 - 2 * t)


def _sample_places(
    frame: PictureFrame, warp: VerticalWarp, patches: list[_Patch]
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Disc places (x, true y) of all samples, float32, patch after patch, row after row."""
    xs, ys = [], []
    for patch in patches:
        k = patch.oversampling
        offset = (np.arange(k) + 0.5) / k - 0.5
        row = (patch.row + np.arange(patch.rows)[:, None] + offset).ravel()
        column = (patch.column + np.arange(patch.columns)[:, None] + offset).ravel()
        x, y = frame.to_disc(column[None, :], row[:, None])
        xs.append(x.astype(np.float32).ravel())
        ys.append(y.astype(np.float32).ravel())
    x, y = np.concatenate(xs), np.concatenate(ys)
    return x, y if warp.is_identity else warp.true(y).astype(np.float32)


def on_sphere(
    x: npt.NDArray, y: npt.NDArray, distance: float
) -> tuple[npt.NDArray, npt.NDArray, npt.NDArray]:
    """Components along right, up and direction of the surface at disc places; the limb's beyond the limb.

    The same formula as :func:`whichsun.models.observables.unproject`, in the type of `x`.
    """
    rho2 = x * x + y * y
    if np.any(rho2 > 1):
        beyond = np.sqrt(np.maximum(rho2, 1))
        x, y, rho2 = x / beyond, y / beyond, np.minimum(rho2, 1)
    k = 1 / math.sqrt(distance**2 - 1)
    along = -(distance * k * k * rho2 + np.sqrt(1 - rho2)) / (1 + k * k * rho2)
    scale = distance * k + k * along
    return x * scale, y * scale, along

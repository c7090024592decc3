"""Paint sunspots on the rendered disc: umbra, penumbra and a soft irregular outline, drawn on the sphere.

Each spot is evaluated on the pixels of its own bounding box alone. A pixel's place is carried back to the
sphere, so foreshortening and perspective are those of the geometry.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from ..models.errors import InputError
from ..models.geometry import SunView
from ..models.observables import disc_axes
from .frame import PictureFrame, VerticalWarp
from .spots import SurfaceSpots, filaments, wobble

Array = npt.NDArray[np.float64]
Samples = npt.NDArray[np.floating[Any]]  # float32 in practice
Spread = Callable[[npt.ArrayLike], Samples]

_CHUNK = 1_000_000  # samples held at once
_MOST_OVERSAMPLING = 12
_SAMPLES = 2.5  # samples across the narrower half of an umbra, at least


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
    points, reach = spots.points[shown], reach[shown]
    east, north = _tangents(points)
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None, None]
    ring = np.cos(reach)[:, None] * points + np.sin(reach)[:, None] * (
        np.cos(turn) * east + np.sin(turn) * north
    )
    edge = np.concatenate([ring, points[None]]) @ axes.T
    scale = math.sqrt(distance**2 - 1) / (distance + edge[..., 2])
    x, y = edge[..., 0] * scale, edge[..., 1] * scale
    # What lies behind the limb is moved out to it.
    stretch = np.where(edge[..., 2] < -1 / distance, 1.0, 1 / np.maximum(np.hypot(x, y), 1e-9))
    column, row = frame.to_pixels(x * stretch, warp.apparent(y * stretch))
    margin = 2 + 0.05 * reach * frame.radius_px
    first = np.stack([row.min(axis=0), column.min(axis=0)]) - margin
    last = np.stack([row.max(axis=0), column.max(axis=0)]) + margin
    first = np.maximum(np.floor(first), 0).astype(int).T
    last = np.minimum(np.ceil(last).T.astype(int) + 1, (frame.height_px, frame.width_px))
    narrow = (
        frame.radius_px * radius[shown] * np.maximum(towards[shown], 0.05) * np.maximum(fraction[shown], 0.3)
    )
    oversampling = np.clip(np.ceil(_SAMPLES / np.maximum(narrow, 1e-3)), 1, _MOST_OVERSAMPLING).astype(int)
    size = last - first
    return [
        _Patch(
            int(shown[i]),
            int(first[i, 0]),
            int(first[i, 1]),
            int(size[i, 0]),
            int(size[i, 1]),
            int(oversampling[i]),
            float(narrow[i]),
        )
        for i in np.flatnonzero(np.all(size > 0, axis=-1))
    ]


def _apply(
    image: Samples,
    view: SunView,
    frame: PictureFrame,
    spots: SurfaceSpots,
    warp: VerticalWarp,
    axes: Array,
    patches: list[_Patch],
) -> None:
    """Multiply the patches of `image` by what the spots let through; all samples in one flat pass."""
    counts = [patch.samples for patch in patches]
    which = [patch.spot for patch in patches]

    def spread(values: npt.ArrayLike) -> Samples:
        return np.repeat(np.asarray(values, np.float32), counts)

    x, y = _sample_places(frame, warp, patches)
    seen = on_sphere(x, y, float(view.distance))
    cos, sin, distance = _around_spot(seen, spots, axes, which, spread)
    depth = _depth(cos, sin, distance, spots, patches, which, spread)
    start = 0
    for patch in patches:
        n, k = patch.samples, patch.oversampling
        block = depth[start : start + n]
        if k > 1:
            block = block.reshape(patch.rows * k * patch.columns, k).sum(axis=-1)
            block = block.reshape(patch.rows, k, patch.columns).sum(axis=1) / np.float32(k * k)
        block = block.reshape(patch.rows, patch.columns)
        start += n
        rows = slice(patch.row, patch.row + patch.rows)
        columns = slice(patch.column, patch.column + patch.columns)
        image[rows, columns] *= np.maximum(1 - block, 0)[..., None]


def _around_spot(
    seen: tuple[npt.NDArray, ...], spots: SurfaceSpots, axes: Array, which: list[int], spread: Spread
) -> tuple[Samples, Samples, Samples]:
    """Direction (cos, sin, from the Sun's east) and distance, in radii of the outline, from the spot."""

    def along(vectors: Array) -> Samples:
        a, b, c = (spread(column) for column in (vectors @ axes.T).T)
        a *= seen[0]
        b *= seen[1]
        c *= seen[2]
        a += b
        a += c
        return a

    points, radius, outline = spots.points[which], np.asarray(spots.radius)[which], spots.outlines
    east, north = _tangents(points)
    scale = 1 / np.sin(radius)[:, None]
    u = along(east * scale)
    u += spread(outline.shift[which, 0])
    v = along(north * scale)
    v += spread(outline.shift[which, 1])
    distance = np.sqrt(u * u + v * v) + np.float32(1e-9)
    u /= distance
    v /= distance
    distance /= 1 + wobble(u, v, [spread(outline.harmonics[which, k]) for k in range(6)])
    if np.any(radius > 0.3):  # the far side of the sphere lies under the same tangent plane
        distance[along(points) < 0] = 9
    return u, v, distance


def _depth(
    cos: Samples,
    sin: Samples,
    distance: Samples,
    spots: SurfaceSpots,
    patches: list[_Patch],
    which: list[int],
    spread: Spread,
) -> Samples:
    """Depth below the photosphere, 0 to about 1: penumbra growing inwards, fringed when large, and umbra."""
    size = np.array([patch.narrow_px for patch in patches])
    fringe = 0.05 * np.clip((size - 4) / 8, 0, 1)
    texture = np.float32(1.2) - np.float32(0.3) * distance
    if np.any(fringe):
        threads = spread(fringe) * filaments(cos, sin)
        threads *= np.clip(distance * 2 - 0.6, 0, 1)  # not in the umbra
        distance = distance * (1 + threads)
        texture += 4 * threads
    # A soft edge, never softer than the real one nor sharper than the samples.
    blur = 0.6 / (np.maximum(size, 0.2) * np.array([patch.oversampling for patch in patches]))
    penumbra_edge, umbra_edge = (spread(np.maximum(low, np.minimum(blur, 0.3))) for low in (0.07, 0.10))
    penumbra, umbra, fraction = (
        spread(np.asarray(values)[which])
        for values in (spots.penumbra_contrast, spots.umbra_contrast, spots.umbra_fraction)
    )
    depth = penumbra * texture * _soft_step(distance, np.ones_like(distance), penumbra_edge)
    return depth + (umbra - penumbra) * _soft_step(distance, fraction, umbra_edge)


def _soft_step(distance: Samples, edge: Samples, width: Samples) -> Samples:
    """1 inside, 0 outside `edge`, a smooth cubic over plus or minus `width`."""
    t = np.clip((edge + width - distance) / (2 * width), 0, 1)
    return t * t * (3 - 2 * t)


def _sample_places(
    frame: PictureFrame, warp: VerticalWarp, patches: list[_Patch]
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Disc places (x, true y) of all samples, float32, patch after patch, row after row."""
    total = sum(patch.samples for patch in patches)
    x, y = np.empty(total, np.float32), np.empty(total, np.float32)
    rows = _samples_along([(patch.row, patch.rows, patch.oversampling) for patch in patches])
    columns = _samples_along([(patch.column, patch.columns, patch.oversampling) for patch in patches])
    right = (columns - frame.centre_px[0]) / frame.radius_px
    up = (frame.centre_px[1] - rows) / frame.radius_px
    roll = math.radians(frame.roll_deg)
    across = [(right * turn).astype(np.float32) for turn in (math.cos(roll), math.sin(roll))]
    level = frame.roll_deg == 0
    height = [(up * math.sin(roll)).astype(np.float32)[:, None], (up * math.cos(roll))[:, None]]
    if level:
        height[1] = warp.true(height[1])
    height[1] = height[1].astype(np.float32)
    start = row = column = 0
    for patch in patches:
        tall, wide = patch.rows * patch.oversampling, patch.columns * patch.oversampling
        here, above, beside = (
            slice(start, start + patch.samples),
            slice(row, row + tall),
            slice(column, column + wide),
        )
        start, row, column = here.stop, above.stop, beside.stop
        np.subtract(across[0][beside], height[0][above], out=x[here].reshape(tall, wide))
        np.add(across[1][beside], height[1][above], out=y[here].reshape(tall, wide))
    return x, y if level else warp.true(y).astype(np.float32)


def _samples_along(pixels: list[tuple[int, int, int]]) -> Array:
    """Places (pixels) of the samples along one side of each patch: its first pixel, how many, samples in each."""
    first, count, samples = np.array(pixels).T
    each = count * samples
    number = np.arange(each.sum()) - np.repeat(np.cumsum(each) - each, each)
    return np.repeat(first, each) + (number + 0.5) / np.repeat(samples, each) - 0.5


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

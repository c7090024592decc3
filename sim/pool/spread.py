"""How turns scatter when nobody told where the spots stood: densities of a turn, averaged over the spots.

From one photo to the next the disc of a rigid Sun is turned by R, which is a turn a about the line of sight,
a tilt t, and a turn b. A spot's own turn is then a + b plus a part that depends on its place and on t alone.
That part's distribution, over spots spread evenly on the face and seen in both photos, is tabulated here,
already convolved with the error's Student t. The Sun's finite size is left out: it moves the edge of the face
by the Sun's angular radius.
"""

from __future__ import annotations

import functools

import numpy as np

from ...models.geometry import Array
from ..compare.world import detection

TILTS = np.deg2rad(np.linspace(0, 180, 121))
OFFS = np.deg2rad(np.linspace(0, 180, 361))
LN_SCALES = np.linspace(np.log(np.deg2rad(0.3)), np.log(np.deg2rad(60.0)), 27)
SPOTS = 4000  # of the even face; at least 400 seen in both up to a tilt of 135 degrees
PATTERN_SPOTS = 4  # spots in a pattern whose number nobody told: our choice, typical of the photos we made
_PATTERNS = 6000
_GOLDEN = np.pi * (3 - np.sqrt(5))


@functools.cache
def spread_table(pattern: bool) -> Array:
    """Density (per radian) of turn - (a + b), shape (tilts, offs, scales); even in the off-set.

    `pattern`: of the least-squares turn of a few spots instead of one.
    """
    table = np.empty((len(TILTS), len(OFFS), len(LN_SCALES)), dtype=np.float64)
    full = np.concatenate([OFFS, -OFFS[-2:0:-1]])
    kernels = np.fft.rfft(_wrapped_t4(full[:, None], np.exp(LN_SCALES)), axis=0)
    for k, tilt in enumerate(TILTS):
        share = np.fft.rfft(_histogram(*_turns(float(tilt), pattern), len(full)))
        density = np.fft.irfft(share[:, None] * kernels, len(full), axis=0)
        table[k] = np.maximum(density[: len(OFFS)], 1e-12)
    return table


def averaged_density(off: Array, tilt: Array, scale: Array, table: Array) -> Array:
    """Density per radian at `off` (wrapped), by linear interpolation in the table; all broadcast."""
    t, t0 = _place(tilt, 0.0, TILTS[-1], len(TILTS))
    x, x0 = _place(np.abs(off), 0.0, np.pi, len(OFFS))
    s, s0 = _place(np.log(scale), LN_SCALES[0], LN_SCALES[-1], len(LN_SCALES))
    flat = table.reshape(-1)
    n_s, n_x = len(LN_SCALES), len(OFFS)
    at = (t0 * n_x + x0) * n_s + s0
    rows = []
    for step in (0, n_x * n_s):
        low = flat[at + step] * (1 - s) + flat[at + step + 1] * s
        high = flat[at + step + n_s] * (1 - s) + flat[at + step + n_s + 1] * s
        rows.append(low * (1 - x) + high * x)
    return rows[0] * (1 - t) + rows[1] * t


def _place(value: Array, low: float, high: float, count: int) -> tuple[Array, np.ndarray]:
    step = (value - low) * ((count - 1) / (high - low))
    cell = np.clip(step, 0, count - 1.000001)
    whole = cell.astype(np.intp)
    return cell - whole, whole


def _turns(tilt: float, pattern: bool) -> tuple[Array, Array]:
    """Turns of spots, or of patterns of a few, under a pure tilt, with their chance to be found in both."""
    steps = np.arange(SPOTS) if tilt < np.deg2rad(150) else np.arange(10 * SPOTS)
    mu = 1 - (steps + 0.5) / len(steps)
    x, y = np.sqrt(1 - mu**2) * np.stack([np.cos(_GOLDEN * steps), np.sin(_GOLDEN * steps)])
    after = x * np.cos(tilt) + mu * np.sin(tilt)
    seen = mu * np.cos(tilt) - x * np.sin(tilt) > 0
    found = seen * detection(np.hypot(x, y)) * detection(np.hypot(after, y))
    if np.count_nonzero(found) < PATTERN_SPOTS:  # nothing is seen in both: any turn
        return np.linspace(-np.pi, np.pi, 720, endpoint=False), np.ones(720)
    cross, along = x * y - y * after, x * after + y * y
    if not pattern:
        return np.arctan2(cross, along), found
    pick = np.random.default_rng(7).choice(len(x), (_PATTERNS, PATTERN_SPOTS), p=found / found.sum())
    return np.arctan2(cross[pick].sum(-1), along[pick].sum(-1)), np.ones(_PATTERNS)


def _histogram(turns: Array, chance: Array, bins: int) -> Array:
    """Shares of the turns in `bins` bins round the circle, centred on their grid, split between neighbours."""
    step = (turns % (2 * np.pi)) * bins / (2 * np.pi)
    low = np.floor(step).astype(int)
    part = step - low
    share = np.bincount(low % bins, chance * (1 - part), bins)
    share += np.bincount((low + 1) % bins, chance * part, bins)
    share = share + np.roll(share[::-1], 1)  # even by symmetry
    return share / share.sum()


def _wrapped_t4(off: Array, scale: Array) -> Array:
    """Student t (4) round the circle on the grid `off`, made to sum to one over it per radian."""
    total = sum((1 + ((off + 2 * np.pi * k) / scale) ** 2 / 4) ** -2.5 for k in (-1, 0, 1))
    return total / (np.sum(total, axis=0) * (2 * np.pi / len(off)))

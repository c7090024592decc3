"""Where labels go so that they cover neither the data nor one another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt


def spread_apart(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places near the rising `wanted` ones, `gap` apart, between `low` and `high` if there is room."""
    places: list[float] = []
    for value in wanted:
        places.append(max(value, places[-1] + gap if places else low))
    over = max(0.0, places[-1] - high) if places else 0.0
    limit = high
    for i in reversed(range(len(places))) if over else ():
        places[i] = min(places[i], limit)
        limit = places[i] - gap
    return places


def place_labels(
    places: npt.NDArray[np.float64],
    radius: npt.NDArray[np.float64],
    sizes: npt.NDArray[np.float64],
    centre: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Centres (n, 2) of labels beside rings so that they cover neither rings nor one another, where possible.

    Parameters
    ----------
    places, radius : ndarray, shape (n, 2), (n,)
        Rings.
    sizes : ndarray, shape (n, 2)
        Width and height of each label.
    centre : ndarray, shape (2,)
        Labels would rather stand on the side away from it.
    """
    half = sizes / 2
    chosen = np.full(places.shape, np.nan)
    angles = np.deg2rad(np.arange(0, 360, 20))
    ways = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    crowding = [np.sum(np.hypot(*(places - place).T) < 6 * np.mean(radius)) for place in places]
    for i in np.argsort(crowding):
        outwards = (places[i] - centre) / max(float(np.hypot(*(places[i] - centre))), 1e-9)
        # Just clear of the ring, then farther out in steps of a label's height.
        touch = np.min((half[i] + radius[i]) / np.maximum(np.abs(ways), 1e-6), axis=-1)
        steps = sizes[i, 1] * np.array([0.1, 0.7, 1.5, 2.5, 3.7, 5.0])
        spots = (places[i] + ways * (touch + steps[:, None])[..., None]).reshape(-1, 2)
        cost = np.repeat(steps / sizes[i, 1], len(ways)) * 0.15 - 0.05 * np.tile(ways @ outwards, len(steps))
        gap = np.abs(spots[:, None] - places) - half[i]
        cost += np.sum(np.max(gap, axis=-1) < radius, axis=-1)
        done = np.isfinite(chosen[:, 0])
        lap = np.clip(half[i] + half[done] - np.abs(spots[:, None] - chosen[done]), 0, None)
        cost += 3 * np.sum(lap[..., 0] * lap[..., 1], axis=-1) / (sizes[i, 0] * sizes[i, 1])
        chosen[i] = spots[np.argmin(cost)]
    return chosen

"""Smooth noise over the Sun's surface, the same at a place whatever picture shows it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
_SIZE = 256  # period of the lattice, a power of two
_CORNERS = [(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)]


class SphereNoise:
    """Value noise on a cubic lattice: mean 0, rms 1, about `cell_rad` from crest to trough.

    Parameters
    ----------
    seed : int
    cell_rad : float
        Edge of a lattice cube in solar radii.
    """

    def __init__(self, seed: int, cell_rad: float) -> None:
        rng = np.random.default_rng(seed)
        self._order = np.concatenate([rng.permutation(_SIZE)] * 2).astype(np.int32)
        self._values = rng.normal(size=_SIZE).astype(np.float32)
        self._scale = np.float32(1 / cell_rad)
        # A turned lattice: its planes show along no parallel or meridian.
        self._turn = np.linalg.qr(rng.normal(size=(3, 3)))[0].astype(np.float32)
        self._mean, self._rms = 0.0, 1.0
        sample = self.at(rng.normal(size=(3, 20_000)).astype(np.float32) * np.float32(30 * cell_rad))
        self._mean, self._rms = float(np.mean(sample)), float(np.std(sample))

    def at(self, body: Floats) -> Floats:
        """Noise in the directions `body`, shape (3, ...)."""
        place = np.einsum("ij,j...->i...", self._turn, body) * self._scale
        low = np.floor(place)
        part = place - low
        part = part * part * (3 - 2 * part)
        x, y, z = (low.astype(np.int32)) & (_SIZE - 1)
        total = np.zeros(x.shape, np.float32)
        for i, j, k in _CORNERS:
            cell = self._order[self._order[self._order[x + i] + y + j & (_SIZE - 1)] + z + k & (_SIZE - 1)]
            weight = (part[0] if i else 1 - part[0]) * (part[1] if j else 1 - part[1])
            total += weight * (part[2] if k else 1 - part[2]) * self._values.take(cell)
        total -= np.float32(self._mean)
        total /= np.float32(self._rms)
        return total

"""What a scan leaves: pieces of a parameter's prior with their modes, and the evidence made of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array
from .modes import Modes
from .numeric import ln_sum


@dataclass(frozen=True)
class Cells:
    """Pieces of the scanned parameter's prior (coordinate 0 to 1) with their modes and integrals.

    Attributes
    ----------
    low, high : ndarray, shape (c,)
    ln_flat : ndarray, shape (c,)
        ln of the nuisance-averaged likelihood with nothing matched.
    modes : Modes
    lone : Modes or None
        Where quantities were measured: modes of them alone, nothing matched, in the nuisances `lone_columns`; the
        others have their priors there. `ln_flat` then counts all quantities as blunders.
    lone_columns : tuple of int
        Places of the nuisances that the quantities depend on.
    """

    low: Array
    high: Array
    ln_flat: Array
    modes: Modes
    lone: Modes | None = None
    lone_columns: tuple[int, ...] = ()

    @property
    def middle(self) -> Array:
        """Scan places."""
        return (self.low + self.high) / 2

    @property
    def ln_like(self) -> Array:
        """ln of the nuisance-averaged likelihood Z(parameter), kept for pooling; shape (c,)."""
        total = np.exp(np.minimum(self.ln_flat - self._top, 0))
        for modes in self._all_modes:
            np.add.at(total, modes.node, np.exp(modes.ln_mass - self._top[modes.node]))
        return self._top + np.log(total)

    @property
    def _all_modes(self) -> tuple[Modes, ...]:
        return (self.modes,) if self.lone is None else (self.modes, self.lone)

    @property
    def _top(self) -> Array:
        top = self.ln_flat.copy()
        for modes in self._all_modes:
            np.maximum.at(top, modes.node, modes.ln_mass)
        return top

    @property
    def ln_evidence(self) -> float:
        """ln of the integral over the cells."""
        return float(ln_sum(self.ln_like + np.log(self.high - self.low)))


@dataclass(frozen=True)
class Evidence:
    """Evidence of one variant and weighted draws from its posterior.

    Attributes
    ----------
    ln_evidence, error : float
        Natural logarithm and its numerical standard error.
    effective : float
        Effective sample size.
    laplace : float
        The scan's own value before the correction.
    cells : Cells
    u, eta, ln_like : ndarray
        Draws of the scan place, the nuisances, and ln likelihood.
    weight : ndarray
        Posterior weights, sum 1.
    by : str
        ``"importance"``, or ``"nested"`` where nested sampling had to take over.
    """

    ln_evidence: float
    error: float
    effective: float
    laplace: float
    cells: Cells
    u: Array
    eta: Array
    ln_like: Array
    weight: Array
    by: str = "importance"

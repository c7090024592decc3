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
    """

    low: Array
    high: Array
    ln_flat: Array
    modes: Modes

    @property
    def middle(self) -> Array:
        """Scan places."""
        return (self.low + self.high) / 2

    @property
    def ln_like(self) -> Array:
        """ln of the nuisance-averaged likelihood Z(parameter), kept for pooling; shape (c,)."""
        total = np.exp(np.minimum(self.ln_flat - self._top, 0))
        np.add.at(total, self.modes.node, np.exp(self.modes.ln_mass - self._top[self.modes.node]))
        return self._top + np.log(total)

    @property
    def _top(self) -> Array:
        top = self.ln_flat.copy()
        np.maximum.at(top, self.modes.node, self.modes.ln_mass)
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

"""Small numerical helpers with plain types."""

from __future__ import annotations

import inspect
from typing import Any

import numpy as np
from scipy.special import gammaln, logsumexp
from scipy.stats import qmc

from ...models.geometry import Array


def ln_sum(values: Any, axis: int | None = None, shares: Any = None) -> Any:
    """ln of the sum of exp(values), or of shares times exp(values)."""
    return logsumexp(values, axis=axis, b=shares)


def sobol_points(count: int, dimension: int, rng: np.random.Generator) -> Array:
    """Scrambled Sobol points inside the unit cube, shape (count, dimension); `count` a power of two."""
    keyword = "rng" if "rng" in inspect.signature(qmc.Sobol).parameters else "seed"
    maker: Any = qmc.Sobol
    return np.clip(maker(dimension, **{keyword: rng}).random(count), 1e-12, 1 - 1e-12)


def ln_t4(residual: Array) -> Array:
    """ln density of Student's t with 4 degrees of freedom."""
    return gammaln(2.5) - gammaln(2.0) - 0.5 * np.log(4 * np.pi) - 2.5 * np.log1p(residual**2 / 4)


def wrap_degrees(angle: Array) -> Array:
    """Wrap degrees to [-180, 180)."""
    return (angle + 180) % 360 - 180

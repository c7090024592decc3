"""The likelihood without each of some detections in turn, from one evaluation of all of them."""

from __future__ import annotations

import numpy as np

from ...models.geometry import Array
from .likelihood import Scene, log_mean, pair_list, place, singles
from .matching import sums_without
from .poses import Poses


def evaluate_without(scene: Scene, poses: Poses, roll: Array, squash: Array, left_out: np.ndarray) -> Array:
    """ln likelihood of two shots as if each detection in `left_out` (k,) had not been made, shape (k, b).

    The other arguments are those of :func:`whichsun.sim.compare.likelihood.evaluate`; the world's rates stay.
    """
    if len(scene.days) != 2:
        raise ValueError(f"'scene' must have two shots, got {len(scene.days)}")
    placed = place(scene, poses, roll, squash)
    ln_single, ln_unmatched = singles(scene, placed, poses)
    pairs = pair_list(scene, placed, ln_single, np.log(scene.rates.density))
    sums = sums_without(pairs, len(poses), left_out)
    return np.stack(
        [log_mean(ln_unmatched - ln_single[:, k] + part) for k, part in zip(left_out, sums, strict=True)]
    )

"""Photos in a pool: each outing's likelihood as a function of what all people share.

Roll, spots, noise and blunders are integrated for every outing by itself (the scan of ``sim/compare``); what is
left, Z(shared parameters), is multiplied over the outings before the shared parameters are integrated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import norm

from ...models.geometry import Array, GeometryModel, Variant
from ..compare.cells import Cells
from ..compare.data import OutingData
from ..compare.evidence import COARSE, settled_cells
from ..compare.hypotheses import Repair, repairs_of
from ..compare.numeric import ln_sum
from ..compare.problem import Problem, problem_of
from .integrate import PoolEvidence

SCAN_ERROR = (
    0.03  # of one outing's scan against its corrected evidence, 9 of 10 (inference trials: 0.07 in 99 %)
)
_SETTLED, _MOST_ROUNDS, _MOST_BOXES = 0.003, 14, 200_000
_FIRST_BOXES = {1: (2048,), 2: (96, 300)}


@dataclass(frozen=True)
class Scan:
    """ln Z of one outing under one variant and one hypothesis about blunders.

    Attributes
    ----------
    middle : ndarray, shape (c,)
        Places of the first parameter; empty when nothing is free.
    ln_like, ln_flat : ndarray, shape (c,)
        With and without the matched modes.
    mean, sigma, ln_mass : ndarray, shape (c, m)
        Modes along the second parameter, ln mass -inf where there is none.
    """

    middle: Array
    ln_like: Array
    ln_flat: Array
    mean: Array
    sigma: Array
    ln_mass: Array

    @classmethod
    def of(cls, problem: Problem, cells: Cells) -> Scan:
        """Keep of a scan what a pool needs."""
        count = len(cells.ln_flat)
        first = problem.nuisances.first_extra
        if len(problem.axes) < 2:
            none = np.empty((count, 0))
            return cls(cells.middle, cells.ln_like, cells.ln_flat, none, none, none)
        node = cells.modes.node
        rank = np.arange(len(node)) - np.searchsorted(node, node)
        most = int(rank.max(initial=-1)) + 1
        mean, sigma = np.full((count, most), 0.5), np.ones((count, most))
        mass = np.full((count, most), -np.inf)
        mean[node, rank] = cells.modes.eta[:, first]
        sigma[node, rank] = np.maximum(np.linalg.norm(cells.modes.root[:, first], axis=-1), 1e-5)
        mass[node, rank] = cells.modes.ln_mass
        return cls(cells.middle, cells.ln_like, cells.ln_flat, mean, sigma, mass)

    def ln_at(self, places: Array) -> Array:
        """ln Z at places (p, k) of the shared parameters, shape (p,)."""
        if places.shape[1] == 0:
            return np.full(len(places), self.ln_like[0])
        if places.shape[1] == 1:
            return np.interp(places[:, 0], self.middle, self.ln_like)
        cell = np.searchsorted((self.middle[1:] + self.middle[:-1]) / 2, places[:, 0])
        mean, sigma = self.mean[cell], self.sigma[cell]
        inside = norm.cdf((1 - mean) / sigma) - norm.cdf(-mean / sigma)
        peaks = norm.logpdf((places[:, 1:2] - mean) / sigma) - np.log(sigma * np.maximum(inside, 1e-3))
        parts = np.concatenate([self.ln_flat[cell, None], self.ln_mass[cell] + peaks], axis=1)
        return np.asarray(ln_sum(parts, axis=1))


@dataclass(frozen=True)
class PhotoTable:
    """One outing under one variant: a scan for every hypothesis, the first being that nothing is wrong."""

    repairs: tuple[Repair, ...]
    scans: tuple[Scan, ...]

    def ln_parts(self, places: Array) -> Array:
        """ln of prior share times Z for every hypothesis, shape (hypotheses, p)."""
        rows = (
            np.log(r.prior) + scan.ln_at(places) for r, scan in zip(self.repairs, self.scans, strict=True)
        )
        return np.array(list(rows))

    def ln_at(self, places: Array) -> Array:
        """ln Z at places (p, k), blunders summed over."""
        return np.asarray(ln_sum(self.ln_parts(places), axis=0))


@dataclass(frozen=True)
class PhotoWork:
    """One outing and one variant to scan."""

    data: OutingData
    files: tuple[str, ...]
    model: GeometryModel
    variant: Variant
    law: str
    given: Mapping[str, Any]


def scan_photos(work: PhotoWork) -> PhotoTable:
    """Scan one outing under one variant and all hypotheses about blunders."""
    repairs = repairs_of(work.data, work.files)
    scans = []
    for number, repair in enumerate(repairs):
        problem = problem_of(work.model, work.variant, repair.data, work.law, work.given)
        scans.append(Scan.of(problem, settled_cells(problem, COARSE if number else 1.0)))
    return PhotoTable(repairs, tuple(scans))


def ln_photos(tables: Sequence[PhotoTable], places: Array) -> Array:
    """ln of the product of everyone's Z at places (p, k)."""
    return np.sum([table.ln_at(places) for table in tables], axis=0) if tables else np.zeros(len(places))


def photo_boxes(tables: Sequence[PhotoTable], free: int) -> tuple[Array, Array, Array]:
    """Boxes of the shared parameters' prior, halved where the product stands high.

    Returns
    -------
    middle, size : ndarray, shape (n, free)
    ln_mass : ndarray, shape (n,)
    """
    if free == 0:
        value = ln_photos(tables, np.zeros((1, 0)))
        return np.zeros((1, 0)), np.ones((1, 0)), value
    counts = _FIRST_BOXES.get(free, (8,) * free)
    grids = np.meshgrid(*((np.arange(c) + 0.5) / c for c in counts), indexing="ij")
    middle = np.stack([g.ravel() for g in grids], axis=-1)
    size = np.broadcast_to(1 / np.array(counts), middle.shape).copy()
    mass = ln_photos(tables, middle) + np.log(size).sum(-1)
    total = float(ln_sum(mass))
    for _ in range(_MOST_ROUNDS):
        heavy = mass > total + np.log(2e-3)
        if not heavy.any() or len(mass) > _MOST_BOXES:
            break
        corners = np.stack(np.meshgrid(*([[-0.25, 0.25]] * free), indexing="ij"), axis=-1).reshape(-1, free)
        new = (middle[heavy, None] + corners * size[heavy, None]).reshape(-1, free)
        part = np.repeat(size[heavy] / 2, len(corners), axis=0)
        value = ln_photos(tables, new) + np.log(part).sum(-1)
        middle = np.concatenate([middle[~heavy], new])
        size = np.concatenate([size[~heavy], part])
        mass = np.concatenate([mass[~heavy], value])
        before, total = total, float(ln_sum(mass))
        if abs(total - before) < _SETTLED:
            break
    return middle, size, mass


def photos_alone(tables: Sequence[PhotoTable], free: int) -> PoolEvidence:
    """Evidence of a variant from photos only, by summing over boxes; offset and noise are no part of it."""
    middle, _, mass = photo_boxes(tables, free)
    total = float(ln_sum(mass))
    weight = np.exp(mass - total)
    keep = weight > 1e-9
    points = np.concatenate([middle, np.full((len(middle), 2), np.nan)], axis=1)
    error = SCAN_ERROR * float(np.sqrt(len(tables)))
    return PoolEvidence(total, error, np.nan, points[keep], weight[keep] / weight[keep].sum())


def photo_starts(tables: Sequence[PhotoTable], free: int, most: int = 12) -> Array:
    """Places of the heaviest boxes, for the integration with angles to climb from, shape (s, free)."""
    middle, size, mass = photo_boxes(tables, free)
    chosen: list[int] = []
    for box in np.argsort(-(mass - np.log(size).sum(-1))):
        far = [np.any(np.abs(middle[box] - middle[other]) > 0.01) for other in chosen]
        if all(far):
            chosen.append(int(box))
        if len(chosen) == most:
            break
    return middle[chosen]

"""The exact sum over all partial matchings between two shots, for a batch of trials.

With R the weight of a pair over that of its two singles, the sum over matchings of PROD R is the sum over
all sets of pairs that use no detection twice. Most detections have few partners inside the gate, so stars
(a detection whose partners have no other partner) are done in closed form and the rest by bit masks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array

_MASK_CELLS = 2_000_000
MOST_COLUMNS = 16


@dataclass(frozen=True)
class PairList:
    """Pairs of detections inside the gate, sorted by trial.

    Attributes
    ----------
    trial, first, second : ndarray of int, shape (k,)
    ln_ratio : ndarray, shape (k, f)
        ln of w(pair) / (w(first alone) w(second alone)) for each false rate.
    delta : ndarray, shape (k, 2)
        Offset on the surface, radians, from first to second.
    cov : ndarray, shape (k, 2, 2)
        Its covariance from the places' uncertainties.
    extra : ndarray, shape (k, 2)
        Variance per axis added by drift, for each drift class.
    """

    trial: np.ndarray
    first: np.ndarray
    second: np.ndarray
    ln_ratio: Array
    delta: Array
    cov: Array
    extra: Array

    def __len__(self) -> int:
        return len(self.trial)

    def __getitem__(self, key: np.ndarray | slice) -> PairList:
        return PairList(
            self.trial[key],
            self.first[key],
            self.second[key],
            self.ln_ratio[key],
            self.delta[key],
            self.cov[key],
            self.extra[key],
        )


def sum_over_matchings(pairs: PairList, b: int) -> Array:
    """ln of the sum over matchings for each trial and false rate, shape (b, f)."""
    rates = pairs.ln_ratio.shape[1]
    result = np.zeros((b, rates))
    if len(pairs) == 0:
        return result
    width = int(max(pairs.first.max(), pairs.second.max())) + 1
    row = pairs.trial * width + pairs.first
    column = pairs.trial * width + pairs.second
    row_degree = np.bincount(row, minlength=b * width)
    column_degree = np.bincount(column, minlength=b * width)
    crowded_row = np.bincount(row, column_degree[column] > 1, minlength=b * width) > 0
    crowded_column = np.bincount(column, row_degree[row] > 1, minlength=b * width) > 0
    in_row_star = ~crowded_row[row]
    in_column_star = ~in_row_star & ~crowded_column[column]
    for member, key in ((in_row_star, row), (in_column_star, column)):
        _add_stars(result, pairs.ln_ratio[member], key[member], width)
    rest = ~(in_row_star | in_column_star)
    if rest.any():
        _add_rest(result, pairs[rest])
    return result


def _add_stars(result: Array, ln_ratio: Array, key: np.ndarray, width: int) -> None:
    """Add ln(1 + SUM R) of every star; `key` is trial * width + centre."""
    if len(key) == 0:
        return
    centres, place = np.unique(key, return_inverse=True)
    weight = np.exp(np.minimum(ln_ratio, 600))
    for f in range(ln_ratio.shape[1]):
        total = np.bincount(place, weight[:, f])
        result[:, f] += np.bincount(centres // width, np.log1p(total), minlength=len(result))


def _compact(trial: np.ndarray, item: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number the different items of each trial 0, 1, ...; returns the numbers and how many per trial."""
    width = int(item.max()) + 1
    used = np.zeros((int(trial.max()) + 1, width), dtype=bool)
    used[trial, item] = True
    number = np.cumsum(used, axis=1) - 1
    return number[trial, item], used.sum(1)


def _add_rest(result: Array, pairs: PairList) -> None:
    """Add ln of the sum for what is no star: bit masks over the side with fewer detections."""
    trials, trial = np.unique(pairs.trial, return_inverse=True)
    first, n_first = _compact(trial, pairs.first)
    second, n_second = _compact(trial, pairs.second)
    swap = n_second > n_first
    row = np.where(swap[trial], second, first)
    column = np.where(swap[trial], first, second)
    n_row, n_column = np.maximum(n_first, n_second), np.minimum(n_first, n_second)
    size = n_column * 64 + n_row
    for kind in np.unique(size):
        columns, rows = int(kind) // 64, int(kind) % 64
        members = np.flatnonzero(size == kind)
        step = max(1, _MASK_CELLS >> min(columns, MOST_COLUMNS))
        for start in range(0, len(members), step):
            some = members[start : start + step]
            local = np.full(len(trials), -1)
            local[some] = np.arange(len(some))
            here = local[trial] >= 0
            dense = np.full((len(some), rows, columns, pairs.ln_ratio.shape[1]), -np.inf)
            dense[local[trial[here]], row[here], column[here]] = pairs.ln_ratio[here]
            if columns <= 8:
                result[trials[some]] += _mask_sum(dense)
            else:
                for index, one in enumerate(some):
                    result[trials[one]] += _component_sum(dense[index])


def _mask_sum(ln_ratio: Array) -> Array:
    """ln of the sum for dense weights (b, rows, columns, f), by dynamic programming over used columns."""
    b, rows, columns, rates = ln_ratio.shape
    weight = np.exp(ln_ratio)
    masks = np.arange(1 << columns)
    state = np.zeros((1 << columns, b, rates))
    state[0] = 1.0
    for r in range(rows):
        grown = state.copy()
        for c in range(columns):
            without = masks[(masks >> c) & 1 == 0]
            grown[without | (1 << c)] += state[without] * weight[:, r, c]
        state = grown
    return np.log(state.sum(0))


def _component_sum(ln_ratio: Array) -> Array:
    """ln of the sum for one trial (rows, columns, f), component by component with sparse masks."""
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import connected_components

    rows, columns, rates = ln_ratio.shape
    linked = np.isfinite(ln_ratio[:, :, 0])
    graph = np.zeros((rows + columns, rows + columns))
    graph[:rows, rows:] = linked
    _, label = connected_components(csr_matrix(graph), directed=False)
    total = np.zeros(rates)
    for one in np.unique(label):
        members = np.flatnonzero(label == one)
        total += _sparse_mask_sum(ln_ratio[members[members < rows]][:, members[members >= rows] - rows])
    return total


def _sparse_mask_sum(ln_ratio: Array) -> Array:
    """ln of the sum for one component (rows, columns, f); keeps the heaviest masks where there are too many."""
    if ln_ratio.shape[0] < ln_ratio.shape[1]:
        ln_ratio = np.swapaxes(ln_ratio, 0, 1)
    weight = np.exp(ln_ratio)
    state: dict[int, Array] = {0: np.ones(ln_ratio.shape[2])}
    for row in weight:
        grown = {mask: value.copy() for mask, value in state.items()}
        for c in np.flatnonzero(row[:, 0] > 0):
            bit = 1 << int(c)
            for mask, value in state.items():
                if not mask & bit:
                    new = mask | bit
                    grown[new] = grown[new] + value * row[c] if new in grown else value * row[c]
        if len(grown) > 4096:
            keep = sorted(grown, key=lambda mask: -grown[mask].max())[:4096]
            grown = {mask: grown[mask] for mask in keep}
        state = grown
    return np.log(np.sum(list(state.values()), axis=0))

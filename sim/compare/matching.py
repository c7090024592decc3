"""The sum over all partial matchings between two shots, for a batch of trials.

With R the weight of a pair over that of its two singles, the sum over matchings of PROD R is the sum over
all sets of pairs that use no detection twice. It is a product over the connected components of the pairs.
Stars (a detection whose partners have no other partner) are done in closed form, other components by bit
masks. Leaving out a pair costs at most its own R of the sum, relative, so the faintest are left out.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from ...models.geometry import Array

_MASK_CELLS = 1 << 17
_LEFT_OUT_AT_ONCE = 8  # detections
_FAINT = float(np.log(1e-6))
MOST_COLUMNS = 10  # of a component; beyond that its faintest pairs are left out until it falls apart


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
    pairs = pairs[pairs.ln_ratio.max(1) > _FAINT] if len(pairs) else pairs
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


def sums_without(pairs: PairList, b: int, left_out: np.ndarray) -> Array:
    """:func:`sum_over_matchings` without each of some detections in turn, shape (k, b, f).

    A detection takes its own pairs away; only the sum over their connected component is worked out anew.
    """
    whole = sum_over_matchings(pairs, b)
    result = np.tile(whole, (len(left_out), 1, 1))
    pairs = pairs[pairs.ln_ratio.max(1) > _FAINT] if len(pairs) else pairs
    if len(pairs) == 0:
        return result
    group = components(pairs.trial, pairs.first, pairs.second)
    for start in range(0, len(left_out), _LEFT_OUT_AT_ONCE):
        some = left_out[start : start + _LEFT_OUT_AT_ONCE]
        parts = []
        for place, one in enumerate(some):
            own = (pairs.first == one) | (pairs.second == one)
            touched = np.zeros(int(group.max()) + 1, dtype=bool)
            touched[group[own]] = True
            local = pairs[touched[group]]
            parts.append((replace(local, trial=local.trial + place * b), own[touched[group]]))
        joined = _concatenated([part for part, _ in parts])
        stays = ~np.concatenate([own for _, own in parts])
        size = len(some) * b
        change = sum_over_matchings(joined[stays], size) - sum_over_matchings(joined, size)
        result[start : start + len(some)] += change.reshape(len(some), b, -1)
    return result


def _concatenated(parts: list[PairList]) -> PairList:
    names = [field.name for field in fields(PairList)]
    return PairList(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def _add_stars(result: Array, ln_ratio: Array, key: np.ndarray, width: int) -> None:
    """Add ln(1 + SUM R) of every star; `key` is trial * width + centre."""
    if len(key) == 0:
        return
    centres, place = np.unique(key, return_inverse=True)
    weight = np.exp(np.minimum(ln_ratio, 600))
    for f in range(ln_ratio.shape[1]):
        total = np.bincount(place, weight[:, f])
        result[:, f] += np.bincount(centres // width, np.log1p(total), minlength=len(result))


def rough_sum(pairs: PairList, b: int, n_shots: int = 2) -> Array:
    """A cheap stand-in for the sum over matchings that only steers the search for modes, (b, f)."""
    if n_shots > 2:  # a track over all shots counts in n (n - 1) / 2 pairs but holds n - 1 offsets
        each = np.logaddexp(0.0, pairs.ln_ratio)
        return np.stack([np.bincount(pairs.trial, e, b) for e in each.T], axis=-1) * 2 / n_shots
    sums = []
    width = int(max(pairs.first.max(), pairs.second.max())) + 1 if len(pairs) else 1
    weight = np.exp(np.minimum(pairs.ln_ratio, 600))
    for side in (pairs.first, pairs.second):
        total = np.stack([np.bincount(pairs.trial * width + side, w, b * width) for w in weight.T], axis=-1)
        sums.append(np.log1p(total).reshape(b, width, -1).sum(1))
    return np.minimum(*sums)


def components(trial: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Number of the connected component of every pair; components of different trials differ."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    width = int(max(first.max(), second.max())) + 1
    _, a = np.unique(trial * width + first, return_inverse=True)
    _, b = np.unique(trial * width + second, return_inverse=True)
    size = int(a.max()) + 1 + int(b.max()) + 1
    graph = coo_matrix((np.ones(len(a), dtype=np.int8), (a, a.max() + 1 + b)), shape=(size, size))
    return connected_components(graph, directed=False)[1][a]


def _compact(group: np.ndarray, item: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number the different items of each group 0, 1, ...; returns the numbers and how many per group."""
    width = int(item.max()) + 1
    unique, place = np.unique(group * width + item, return_inverse=True)
    owner = unique // width
    start = np.searchsorted(owner, np.arange(int(group.max()) + 1))
    return place - start[group], np.bincount(owner, minlength=len(start))


def _add_rest(result: Array, pairs: PairList) -> None:
    """Add ln of the sum for what is no star: bit masks over the side with fewer detections, by component."""
    pairs, group = _thinned(pairs)
    first, n_first = _compact(group, pairs.first)
    second, n_second = _compact(group, pairs.second)
    swap = n_second > n_first
    row = np.where(swap[group], second, first)
    column = np.where(swap[group], first, second)
    n_row, n_column = np.maximum(n_first, n_second), np.minimum(n_first, n_second)
    owner = np.zeros(len(n_row), dtype=int)
    owner[group] = pairs.trial
    size = n_column * 1024 + n_row
    for kind in np.unique(size):
        columns, rows = int(kind) // 1024, int(kind) % 1024
        members = np.flatnonzero(size == kind)
        step = max(1, _MASK_CELLS >> (columns + 2))
        for start in range(0, len(members), step):
            some = members[start : start + step]
            local = np.full(len(size), -1)
            local[some] = np.arange(len(some))
            here = local[group] >= 0
            dense = np.zeros((rows, columns, pairs.ln_ratio.shape[1], len(some)))
            weight = np.exp(np.minimum(pairs.ln_ratio[here], 300))
            dense[row[here], column[here], :, local[group[here]]] = weight
            np.add.at(result, owner[some], _mask_sum(dense))


def _thinned(pairs: PairList) -> tuple[PairList, np.ndarray]:
    """Pairs and their components, without the faintest pairs of components too wide for the masks."""
    floor = _FAINT
    while True:
        group = components(pairs.trial, pairs.first, pairs.second)
        columns = np.minimum(_compact(group, pairs.first)[1], _compact(group, pairs.second)[1])
        wide = columns[group] > MOST_COLUMNS
        if not wide.any():
            return pairs, group
        floor += 0.5
        keep = ~wide | (pairs.ln_ratio.max(1) > floor)
        pairs = pairs[keep]


def _mask_sum(weight: Array) -> Array:
    """ln of the sum for dense weights (rows, columns, f, b), by dynamic programming over used columns; (b, f).

    The state of a set of used columns stands at the number whose bits they are; columns come in the order in which
    the rows reach them, so that the states of those not yet reached need no room.
    """
    rows, columns, *tail = weight.shape
    there: np.ndarray = np.any(weight, axis=(2, 3))
    first = np.where(there.any(0), there.argmax(0), rows)
    order = np.argsort(first, kind="stable")
    weight, there, first = weight[:, order].reshape(rows, columns, -1), there[:, order], first[order]
    state = np.ones((1, weight.shape[2]))
    for r in range(rows):
        before = len(state)
        grown = np.zeros((1 << int((first <= r).sum()), state.shape[1]))
        grown[:before] = state
        for c in np.flatnonzero(there[r]):
            bit = 1 << int(c)
            if bit >= before:
                grown[bit : bit + before] += state * weight[r, c]
            else:
                new = grown[:before].reshape(-1, 2, bit, state.shape[1])
                new[:, 1] += state.reshape(new.shape)[:, 0] * weight[r, c]
        state = grown
    return np.log(state.sum(0)).reshape(tail).T

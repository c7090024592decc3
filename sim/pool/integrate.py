"""Evidence of one variant over everyone's rows: a table on few rows, modes on more and more, then sampling.

Each integration is a generator that asks for ln posteriors at points and is sent them, so that the work of all
variants can be done side by side. Coordinates: places 0 to 1 of the free parameters' priors, the common
offset, ln of the noise scale.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import gammaln, ndtri
from scipy.stats import chi2

from ...models.geometry import Array
from ..compare.numeric import ln_sum, sobol_points
from .climbing import LEAST_SCALE, Mode, climbed, distinct, folded, most_scale, narrowed, start_at, stencil
from .mixture import LN_TAU, LN_TAU_SIGMA, OFFSET_SIGMA

FIRST_ROWS, ROWS_GROW = 160, 8
NODES_1, NODES_2 = 64, (16, 40)
_TRIED_LN_TAU = np.log(np.deg2rad([2.0, 8.0, 30.0]))
_MOST_MODES, _FIRST_NATS, _MORE_NATS, _LAST_NATS = 4, 60.0, 20.0, 12.0
_ROUNDS, _ROUNDS_ALL = 10, 4  # on some rows, on all rows after some
_HOPELESS_NATS = 150.0
_PRIOR_SHARE, _INFLATED, _FREEDOM = 0.1, 1.15, 5.0
_WORK_OF_SAMPLING, _MOST_WORK = 640_000, 2_500_000  # rows times points, first and in all
_FEWEST_POINTS, _FIRST_MOST, _MOST_POINTS = 64, 512, 16_384
_TOO_FEW, _AT_BOUND = 8.0, 1.7
_LEAST_EFFECTIVE, _MOST_ERROR = 200.0, 0.05
# The normal approximation was up to 0.6 off the draws where both were looked at.
_SHAPE_NATS, _SHAPE_DRAWS = 1.0, 512


@dataclass(frozen=True)
class Request:
    """Ask for the sums of ln likelihoods on the rows of stage `stage` at `points`."""

    stage: int
    points: Array
    reference: Array


class Board:
    """Heaviest mode of any variant by stage: who lies hopelessly far behind is climbed as all are, but not sampled."""

    def __init__(self) -> None:
        self._best: dict[int, float] = {}

    def post(self, stage: int, ln_mass: float) -> bool:
        """Tell a variant's heaviest mode; True if it lies hopelessly far behind the best known."""
        best = max(self._best.get(stage, -np.inf), ln_mass)
        self._best[stage] = best
        return ln_mass < best - _HOPELESS_NATS


@dataclass(frozen=True)
class PoolEvidence:
    """Evidence of a variant and weighted draws from the posterior of what all people share.

    Attributes
    ----------
    ln_evidence, error, effective : float
        Its natural logarithm, numerical error, effective number of draws (nan: by the normal approximation alone).
    points : ndarray, shape (p, k + 2)
    weight : ndarray, shape (p,)
        Sum 1.
    """

    ln_evidence: float
    error: float
    effective: float
    points: Array
    weight: Array

    @property
    def best(self) -> Array:
        """The posterior's highest draw among the weighted ones, shape (k + 2,): see :attr:`middle`."""
        return self.points[int(np.argmax(self.weight))]

    @property
    def middle(self) -> Array:
        """Weighted mean of the draws that belong to the same mode as the best, shape (k + 2,)."""
        near = np.all(np.abs(self.points[:, :-2] - self.best[:-2]) < 0.1, axis=1)
        weight = np.where(near, self.weight, 0.0)
        return weight @ self.points / weight.sum()


Evaluate = Generator[Request, Array, PoolEvidence]
Ask = Callable[[int, Array, Array], Generator[Request, Array, Array]]


def stage_sizes(rows: int) -> list[int]:
    """Numbers of rows that are used one after the other, the last being all."""
    sizes = []
    size = FIRST_ROWS
    while size < rows / 2:
        sizes.append(size)
        size *= ROWS_GROW
    return [*sizes, rows]


def _rounds(stage: int, sizes: list[int]) -> int:
    """Most rounds of climbing at a stage: few where all rows follow on some, so that the work grows with the rows."""
    return _ROUNDS_ALL if 0 < stage == len(sizes) - 1 else _ROUNDS


def ln_prior(points: Array) -> Array:
    """ln density of offset and ln noise scale; that of the places is 0."""
    offset, tau = points[:, -2] / OFFSET_SIGMA, (points[:, -1] - LN_TAU) / LN_TAU_SIGMA
    return -0.5 * (offset**2 + tau**2) - np.log(2 * np.pi * OFFSET_SIGMA * LN_TAU_SIGMA)


def integrate(
    free: int,
    sizes: list[int],
    rng: np.random.Generator,
    extra: Callable[[Array], Array] | None = None,
    starts: Array | None = None,
    board: Board | None = None,
) -> Evaluate:
    """Evidence of a variant with `free` shared parameters.

    Parameters
    ----------
    free : int
    sizes : list of int
        Rows of every stage.
    rng : numpy Generator
    extra : callable, optional
        A further ln likelihood at places (p, free), that of the photos.
    starts : ndarray, shape (s, free), optional
        Places to try besides the table's.
    board : Board, optional
        Shared by the variants of a contest.
    """

    ask = _asker(free, extra)
    modes = yield from _first_modes(free, ask, starts)
    board = board or Board()
    hopeless, last = False, len(sizes) - 1
    for stage in range(len(sizes)):
        if stage:
            modes = [narrowed(mode, sizes[stage] / sizes[stage - 1]) for mode in modes]
        modes = yield from _climb(modes, free, stage, _rounds(stage, sizes), ask)
        nats = _LAST_NATS if stage == last else _MORE_NATS if stage else _FIRST_NATS
        modes = distinct(modes, _MOST_MODES, nats)
        hopeless = (last > 0 and board.post(stage, modes[0].ln_mass)) or hopeless
        if hopeless and stage == last - 1:
            modes = modes[:1]
    if hopeless:
        return _by_shape(modes[0], free, rng)
    return (yield from _sampled(free, last, sizes[-1], modes, ask, rng))


def _asker(free: int, extra: Callable[[Array], Array] | None) -> Ask:
    """Generator function that gives ln posteriors at points, those outside mirrored in."""

    def ask(stage: int, points: Array, reference: Array) -> Generator[Request, Array, Array]:
        inside = folded(points, free)
        values = yield Request(stage, inside, folded(reference[None], free)[0])
        total = values + ln_prior(inside)
        return total if extra is None else total + extra(inside[:, :free])

    return ask


def _climb(
    modes: list[Mode], free: int, stage: int, rounds: int, ask: Ask
) -> Generator[Request, Array, list[Mode]]:
    """The modes moved uphill until they hold still, all in one round of work after the other."""
    bounds = most_scale(free)
    for _ in range(rounds):
        open_ = [mode for mode in modes if not mode.settled]
        if not open_:
            break
        points = [stencil(mode) for mode in open_]
        values = yield from ask(stage, np.concatenate(points), open_[0].place[:free])
        edges = np.cumsum([len(part) for part in points])[:-1]
        new = [
            climbed(mode, part, value, bounds)
            for mode, part, value in zip(open_, points, np.split(values, edges), strict=True)
        ]
        modes = [mode for mode in modes if mode.settled] + new
        for mode in modes:
            mode.place = folded(mode.place[None], free)[0]
    return modes


def _first_modes(free: int, ask: Ask, starts: Array | None) -> Generator[Request, Array, list[Mode]]:
    """Modes to climb from, of a table over the free parameters on the first rows."""
    nodes, spacing = table_nodes(free)
    if starts is not None and len(starts):
        nodes = np.concatenate([nodes, starts])
    grid = np.stack([np.zeros(len(_TRIED_LN_TAU)), _TRIED_LN_TAU], axis=-1)
    points = np.concatenate([np.repeat(nodes, len(grid), axis=0), np.tile(grid, (len(nodes), 1))], axis=1)
    values = (yield from ask(0, points, np.full(free, 0.5))).reshape(len(nodes), len(grid))
    top = values.max(axis=1)
    chosen: list[int] = []
    for node in np.argsort(-top):
        apart = [np.any(np.abs(nodes[node] - nodes[other]) > 2.1 * spacing) for other in chosen]
        if len(chosen) < 2 * _MOST_MODES and top[node] > top.max() - _FIRST_NATS and all(apart):
            chosen.append(int(node))
    return [start_at(points[node * len(grid) + int(np.argmax(values[node]))], spacing) for node in chosen]


def table_nodes(free: int) -> tuple[Array, Array]:
    """Places of the table and the spacing along each parameter."""
    if free == 0:
        return np.zeros((1, 0)), np.zeros(0)
    counts = (NODES_1,) if free == 1 else NODES_2 if free == 2 else (6,) * free
    grids = [(np.arange(count) + 0.5) / count for count in counts]
    nodes = np.stack([g.ravel() for g in np.meshgrid(*grids, indexing="ij")], axis=-1)
    return nodes, 1 / np.array(counts)


def _sampled(
    free: int, stage: int, rows: int, modes: list[Mode], ask: Ask, rng: np.random.Generator
) -> Evaluate:
    """Importance sampling from the modes and, for what they miss, the prior."""
    count = int(np.clip(_WORK_OF_SAMPLING / max(rows, 1), _FEWEST_POINTS, _FIRST_MOST))
    count = 1 << (count.bit_length() - 1)
    most = max(2 * count, min(_MOST_POINTS, int(_MOST_WORK / max(rows, 1))))
    modes = [_wide_at_bounds(mode, free) for mode in modes]
    points = np.empty((0, free + 2))
    values = np.empty(0)
    mass = np.array([mode.ln_mass for mode in modes])
    share = np.maximum(np.exp(mass - mass.max()), 0.05)
    share *= (1 - _PRIOR_SHARE) / share.sum()
    while True:
        drawn = folded(_draw(modes, share, free, count, rng), free)
        reference = modes[0].place[:free]
        values = np.concatenate([values, (yield from ask(stage, drawn, reference))])
        points = np.concatenate([points, drawn])
        ln_weight = values - _ln_density(points, modes, share, free)
        total = float(ln_sum(ln_weight) - np.log(len(points)))
        weight = np.exp(ln_weight - ln_sum(ln_weight))
        effective = 1 / float((weight**2).sum())
        error = float(np.sqrt(max(len(points) / effective - 1, 0) / len(points)))
        few = min(_LEAST_EFFECTIVE, 0.4 * len(points))
        good = effective >= few and error <= max(_MOST_ERROR, 0.8 / np.sqrt(len(points)))
        if good or len(points) >= most:
            if effective < _TOO_FEW:  # a few draws stand for all: the climb says how far off that may be
                lead = modes[int(np.argmax(mass))]
                error = max(error, abs(total - lead.ln_mass), 2 * min(lead.gain, abs(lead.height)))
            return PoolEvidence(total, error, effective, points, weight)
        count = len(points)


def _by_shape(mode: Mode, free: int, rng: np.random.Generator) -> PoolEvidence:
    """The normal approximation at a mode, for a variant that lies hopelessly far behind, with a rough error.

    The error is what the last step promised, twice, and at least `_SHAPE_NATS` for the shape, which no draw tests.
    """
    half = rng.standard_normal((_SHAPE_DRAWS // 2, len(mode.place))) @ np.linalg.cholesky(mode.cov).T
    points = folded(mode.place + np.concatenate([np.zeros((1, len(mode.place))), half, -half]), free)
    error = max(_SHAPE_NATS, 2 * min(mode.gain, abs(mode.height)))
    return PoolEvidence(mode.ln_mass, error, np.nan, points, np.full(len(points), 1 / len(points)))


def _wide_at_bounds(mode: Mode, free: int) -> Mode:
    """A mode at a bound is the head of an exponential: its parabola is half as wide as that is long."""
    sigma = np.sqrt(np.diag(mode.cov))[:free]
    factor = np.ones(len(mode.place))
    factor[:free] = np.where(np.minimum(mode.place[:free], 1 - mode.place[:free]) < sigma, _AT_BOUND, 1.0)
    return replace(mode, cov=mode.cov * np.outer(factor, factor))


def _draw(modes: list[Mode], share: Array, free: int, count: int, rng: np.random.Generator) -> Array:
    dim = free + 2
    unit = sobol_points(count, dim + 2, rng)
    which = np.searchsorted(np.cumsum(share), unit[:, -1])
    normal = ndtri(unit[:, :dim])
    normal_t = normal * np.sqrt(_FREEDOM / chi2.ppf(unit[:, -2], _FREEDOM))[:, None]
    prior = np.concatenate(
        [unit[:, :free], normal[:, -2:] * [OFFSET_SIGMA, LN_TAU_SIGMA] + [0.0, LN_TAU]], axis=1
    )
    points = prior
    for number, mode in enumerate(modes):
        root = np.linalg.cholesky(mode.cov) * _INFLATED
        points = np.where((which == number)[:, None], mode.place + normal_t @ root.T, points)
    return points


def _ln_density(points: Array, modes: list[Mode], share: Array, free: int) -> Array:
    """ln density of the proposal at points inside, all mirror images counted."""
    dim = free + 2
    images = [points]
    for k in range(free):
        for flip in (lambda v: -v, lambda v: 2 - v):
            images += [_flipped(one, k, flip) for one in images[: 3**k]]
    parts = [np.log(_PRIOR_SHARE) + ln_prior(points)]
    norm = gammaln((_FREEDOM + dim) / 2) - gammaln(_FREEDOM / 2) - 0.5 * dim * np.log(_FREEDOM * np.pi)
    for mode, part in zip(modes, share, strict=True):
        root = np.linalg.cholesky(mode.cov) * _INFLATED
        ln_det = np.log(np.diag(root)).sum()
        for image in images:
            away = np.linalg.solve(root, (image - mode.place).T)
            square = (away**2).sum(axis=0)
            parts.append(np.log(part) + norm - ln_det - (_FREEDOM + dim) / 2 * np.log1p(square / _FREEDOM))
    return ln_sum(np.array(parts), axis=0)


def _flipped(points: Array, k: int, flip: Callable[[Array], Array]) -> Array:
    new = points.copy()
    new[:, k] = flip(points[:, k])
    return new


def laplace(free: int, sizes: list[int], start: Mode, extra: Callable[[Array], Array] | None) -> Evaluate:
    """The evidence by the normal approximation alone, from a mode that is near: for signs, not for numbers.

    It is climbed on more and more rows, as in :func:`integrate`: on all of them at once a mode that moved by many
    of its own widths would not be reached.
    """
    ask = _asker(free, extra)
    modes = [narrowed(start, sizes[0] / sizes[-1])]
    for stage in range(len(sizes)):
        if stage:
            modes = [narrowed(mode, sizes[stage] / sizes[stage - 1]) for mode in modes]
        modes = yield from _climb(modes, free, stage, _rounds(stage, sizes), ask)
    (mode,) = modes
    return PoolEvidence(mode.ln_mass, np.nan, np.nan, mode.place[None], np.ones(1))


def mode_of(evidence: PoolEvidence) -> Mode:
    """A mode to climb from, out of an evidence's draws."""
    place = evidence.middle
    spread = np.sqrt(evidence.weight @ (evidence.points - place) ** 2)
    scale = np.clip(spread, LEAST_SCALE, most_scale(len(place) - 2))
    return Mode(place, scale, np.diag(scale**2), -np.inf)

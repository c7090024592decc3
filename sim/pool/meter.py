"""How much of a pool's work is done and how much is to be expected, so that a bar's remaining time is honest.

Work is counted in rows times points. How many rounds a mode needs is not known beforehand: what is expected follows
from what was typical, is corrected with every round, and never promises less than one more round of each variant.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from .target import Work

_BESIDE = 8  # points that the blunders of a row cost beside its own points
_SOME, _ALL = 5, 3  # rounds of climbing on some and on all rows
_DRAWS, _DETAILS = 64, 16  # points

Progress = Callable[[int, int, str], None]


class Meter:
    """Progress of all rounds of a pool.

    Parameters
    ----------
    progress : callable
        Called with (work done, work in all as far as can be told, words).
    """

    def __init__(self, progress: Progress) -> None:
        self._progress, self._done, self._of = progress, 0, 0

    def expect(self, more: int) -> None:
        """Tell how much work there still is."""
        self._of = self._done + more

    def did(self, work: Work, words: str) -> None:
        """Tell that a piece of work is done."""
        self._done += work_of(len(work.rows), len(work.points))
        self._progress(self._done, max(self._of, self._done), words)


def work_of(rows: int, points: int) -> int:
    """Work of evaluating so many rows at so many points at once."""
    return rows * (points + _BESIDE)


def round_of(rows: int, dim: int) -> int:
    """Work of one round of climbing with `dim` coordinates."""
    return work_of(rows, 1 + dim * (dim + 1))


def expected(sizes: Sequence[int], dim: int, stage: int, spent: int, *, drawn: bool) -> int:
    """Work that is left for a variant.

    Parameters
    ----------
    sizes : sequence of int
        Rows of every stage.
    dim : int
        Coordinates.
    stage, spent : int
        The stage that it is at, and work done there.
    drawn : bool
        Whether draws follow the climb.
    """
    last, total = len(sizes) - 1, 0
    for number in range(stage, last + 1):
        rows = sizes[number]
        one = round_of(rows, dim)
        whole = (_ALL if number == last else _SOME) * one
        if number == last and drawn:
            whole += work_of(rows, _DRAWS)
        total += max(whole - spent, one) if number == stage else whole
    return total


def afterwards(sizes: Sequence[int], dims: Sequence[int], *, doubled: bool) -> int:
    """Work that follows the evidences for models whose best variants have `dims` coordinates."""
    if not sizes:
        return 0
    total = len(dims) * work_of(sizes[-1], _DETAILS)
    if doubled:
        total += sum(expected(sizes, dim, 0, 0, drawn=False) for dim in dims)
    return total

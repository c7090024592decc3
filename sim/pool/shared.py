"""Everyone's rows by stages, and the sums over them that all variants ask for, done side by side."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...models.geometry import Array
from .integrate import Evaluate, PoolEvidence, Request, stage_sizes
from .meter import expected, work_of
from .runner import Runner
from .submissions import Submissions
from .target import PoolVariant, Work, ln_sums, row_details


class Shared:
    """Rows of every stage cut into blocks, and the sums over them."""

    def __init__(self, runner: Runner, rows: Submissions, seed: int, *, doubled: bool = False) -> None:
        self.runner, self.seed, self.count, self.doubled = runner, seed, len(rows), doubled
        self.sizes = stage_sizes(len(rows)) if len(rows) else []
        picks = [np.linspace(0, len(rows) - 1, size).round().astype(int) for size in self.sizes]
        self.stages = [runner.blocks(rows[pick] if len(pick) < len(rows) else rows) for pick in picks]

    def run(
        self,
        tasks: Sequence[tuple[PoolVariant, Evaluate, float]],
        words: str,
        *,
        drawn: bool = True,
        later: int = 0,
    ) -> list[PoolEvidence]:
        """Drive generators side by side; stated uncertainties are multiplied by the third of each task.

        For the progress: whether they draw after climbing, and how much work comes `later`.
        """
        results: list[PoolEvidence | None] = [None] * len(tasks)
        spent = [(0, 0)] * len(tasks)  # stage and work done there
        answers: dict[int, Array | None] = dict.fromkeys(range(len(tasks)))
        for turn in itertools.count(1):
            if not answers:
                break
            works, owners, places, left = [], [], [], later
            for number in list(answers):
                variant, generator, factor = tasks[number]
                try:
                    request = _next(generator, answers[number])
                except StopIteration as stop:
                    results[number] = stop.value
                    del answers[number]
                    continue
                stage, work = spent[number]
                more = work_of(self.sizes[request.stage], len(request.points))
                spent[number] = request.stage, more + (work if request.stage == stage else 0)
                dim = request.points.shape[1]
                left += more + expected(self.sizes, dim, *spent[number], drawn=drawn)
                for place, (name, block) in enumerate(self.stages[request.stage]):
                    wide = block if factor == 1 else replace(block, sigma_deg=block.sigma_deg * factor)
                    works.append(Work(f"{name} {factor:g}", wide, variant, request.points, request.reference))
                    owners.append(number)
                    places.append((request.stage, place))
            # All that is asked of a block is done in a row, while its instants are kept.
            self.runner.meter.expect(left)
            order = sorted(range(len(works)), key=places.__getitem__)
            works, owners = [works[i] for i in order], [owners[i] for i in order]
            sums = self.runner.map(ln_sums, works, f"{words}, round {turn}") if works else []
            for number in answers:
                answers[number] = np.sum(
                    [s for s, o in zip(sums, owners, strict=True) if o == number], axis=0
                )
        return [result for result in results if result is not None]

    def details(self, worker: PoolVariant, evidence: PoolEvidence) -> Array:
        """Rows' details under a variant at the middle of its posterior, shape (n, 8)."""
        if not self.count:
            return np.empty((0, 8))
        best = evidence.middle
        works = [Work(f"{name} 1", block, worker, best[None], best[:-2]) for name, block in self.stages[-1]]
        return np.concatenate(self.runner.map(row_details, works, "looking at every row"))


def _next(generator: Evaluate, answer: Array | None) -> Request:
    return next(generator) if answer is None else generator.send(answer)

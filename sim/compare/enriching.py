"""Modes that a scan missed, found by the draws that weigh more than the scan foresaw.

Where rolls are unknown, some spots fall on each other in a great many states, and a search from a few seeds a cell
misses some that matter. Draws from the prior and from the wide tails of known modes come upon them: such a draw weighs
far more than the mean one. Each is adjusted to the mode it lies on, in its own cell and the cells round it. What is
found only improves the proposal of the next draws; those decide the evidence, as before.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .cells import Cells, Evidence
from .modes import Frame, Modes, best_of_each, joined_modes, modes_from, without_twins
from .problem import Problem

MOST_DRAWS, LEAST_GAIN = 60, 3.0  # draws followed up; how much more than the mean one they weigh
_AROUND, _MOST_MODES = 6, 60  # cells to either side; modes kept in a cell


def enriched(problem: Problem, cells: Cells, result: Evidence) -> Cells:
    """The cells with the modes on which the heaviest draws of `result` lie."""
    gain = result.weight * len(result.weight)
    pick = np.argsort(-gain, kind="stable")[:MOST_DRAWS]
    pick = pick[gain[pick] > LEAST_GAIN]
    if len(pick) == 0:
        return cells
    home = np.clip(np.searchsorted(cells.low, result.u[pick], side="right") - 1, 0, len(cells.low) - 1)
    node = home[:, None] + np.arange(-_AROUND, _AROUND + 1)
    draw = np.broadcast_to(pick[:, None], node.shape)
    there = (node >= 0) & (node < len(cells.low))
    node, draw = node[there], draw[there]
    order = np.argsort(node, kind="stable")
    node, seeds = node[order], result.eta[draw[order]]
    new = modes_from(Frame(problem, cells.middle[node], seeds), node, seeds, _MOST_MODES)
    if problem.data.limb_ratios:
        limbs = problem.ln_limbs(problem.poses(cells.middle[new.node], new.eta))
        new = replace(new, ln_mass=new.ln_mass + limbs)
    both = joined_modes(cells.modes, new)
    precision = np.asarray(np.linalg.inv(both.root @ np.swapaxes(both.root, 1, 2)), dtype=float)
    order = np.lexsort((-both.ln_mass, both.node))
    kept = without_twins(both.node, both.eta, precision, problem.nuisances.periodic, order)
    kept = kept[best_of_each(both.node[kept], both.ln_mass[kept], _MOST_MODES)]
    return replace(cells, modes=Modes(both.node[kept], both.eta[kept], both.root[kept], both.ln_mass[kept]))

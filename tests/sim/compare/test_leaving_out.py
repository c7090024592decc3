"""One evaluation serves for leaving every detection out: the same numbers as evaluating without it."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.registry import get_model
from whichsun.sim.compare import modes
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.drivers import without_spot
from whichsun.sim.compare.evidence import first_cells, scan
from whichsun.sim.compare.leaving_out import evaluate_without
from whichsun.sim.compare.likelihood import Scene
from whichsun.sim.compare.problem import problem_of

THREE = ("2024-03-25T06:40:00Z", "2024-03-25T12:10:00Z", "2024-03-25T17:20:00Z")


def problem_in(outing, name="distant-sphere"):
    model = get_model(name)
    return problem_of(model, model.variants[0], data_of(outing), "howard-1984")


@pytest.mark.parametrize("sigma", [0.004, 0.05])
def test_it_equals_evaluating_without_each(outing_of, sigma):
    problem = problem_in(outing_of(np.random.default_rng(8), spots=30, sigma=sigma))
    rng = np.random.default_rng(1)
    eta = problem.nuisances.draw(rng.random((20, len(problem.nuisances.sigma))))
    u = np.full(20, 0.5)
    poses, args = problem.poses(u, eta), (problem.rolls(eta), problem.squashes(eta))
    every = np.arange(problem.data.counts.sum())
    found = evaluate_without(problem.scene, poses, *args, every)
    for k in every:
        data = without_spot(problem.data, k)
        left = replace(problem, data=data, scene=Scene.of(data, problem.scene.law))
        alone = left.evaluate(u, eta, poses).ln_like
        # rounding, and pairs of a weight below 1e-6 that count in neither
        assert np.abs(found[k] - alone).max() < 1e-9


def test_it_is_for_two_shots(outing_of):
    problem = problem_in(outing_of(np.random.default_rng(8), times=THREE))
    with pytest.raises(ValueError, match="two shots"):
        evaluate_without(problem.scene, None, None, None, np.arange(1))


def test_seeds_that_run_into_each_other_give_the_modes_of_all(outing_of, monkeypatch):
    problem = problem_in(outing_of(np.random.default_rng(5), "nearby-plane", spots=14), "nearby-plane")
    low, high = first_cells(problem, 4.0)
    once = scan(problem, low, high)
    monkeypatch.setattr(modes, "_MERGED", -1.0)  # no two are ever one
    each = scan(problem, low, high)
    assert len(once.modes.node) >= 5
    # a thousandth of what an evidence may be wrong by
    assert abs(once.ln_evidence - each.ln_evidence) < 5e-5

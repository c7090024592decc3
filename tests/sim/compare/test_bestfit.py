"""Standardised residuals of the best fit."""

import numpy as np
from whichsun.models.registry import get_model
from whichsun.sim.compare.bestfit import best_fit
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.problem import problem_of


def residuals(outing, model):
    chosen = get_model(model)
    problem = problem_of(chosen, chosen.variants[0], data_of(outing), "howard-1984", {})
    fit = best_fit(problem, integrate(problem, np.random.default_rng(1)))
    return fit.standard[np.isfinite(fit.predicted[:, 0])]


def test_standardised_residuals_of_the_true_model_have_unit_spread(outing_of):
    # 8 outings: over 150 numbers, of which half are free (both ends of a pair mirror each other) and some are taken
    # up by the roll: their root mean square scatters by about 0.08 and lies a little below 1
    z = np.concatenate(
        [residuals(outing_of(np.random.default_rng(s), spots=24), "distant-sphere") for s in range(8)]
    )
    assert z.size > 120
    assert 0.75 < np.sqrt(np.mean(z**2)) < 1.2
    assert np.abs(z).max() < 5


def test_a_spot_that_moved_stands_out(outing_of):
    from dataclasses import replace

    outing = outing_of(np.random.default_rng(3), spots=24)
    chosen = get_model("distant-sphere")
    problem = problem_of(chosen, chosen.variants[0], data_of(outing), "howard-1984", {})
    fit = best_fit(problem, integrate(problem, np.random.default_rng(1)))
    match = fit.matches[0]
    spots = list(outing.shots[0].spots)
    spots[match.first] = replace(spots[match.first], y=spots[match.first].y + 0.02)
    moved = replace(outing, shots=(replace(outing.shots[0], spots=tuple(spots)), outing.shots[1]))
    problem = problem_of(chosen, chosen.variants[0], data_of(moved), "howard-1984", {})
    fit = best_fit(problem, integrate(problem, np.random.default_rng(1)))
    worst = int(np.nanargmax(np.abs(fit.standard).max(1)))
    assert worst in (match.first, match.second)
    assert np.nanmax(np.abs(fit.standard)) > 2

"""A spot predicted where something hid the disc is no miss, under every model alike; elsewhere it is one."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.registry import get_model
from whichsun.sim.compare import world
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.hidden_parts import Hidden, disc_place, seen_fraction
from whichsun.sim.compare.poses import rolled
from whichsun.sim.compare.predictive import predictive_p
from whichsun.sim.compare.problem import problem_of
from whichsun.sim.hidden import CELLS, cell_middles, cell_of, hidden_text

MODELS = ("distant-sphere", "nearby-plane")
BELOW = np.broadcast_to(cell_middles()[1] < 0, (CELLS, CELLS))


def problem_for(outing, model):
    chosen = get_model(model)
    return problem_of(chosen, chosen.variants[0], data_of(outing), "howard-1984")


def behind(outing, shot, grid):
    """The outing with cells of a shot hidden."""
    shots = list(outing.shots)
    shots[shot] = replace(shots[shot], hidden=hidden_text(grid))
    return replace(outing, shots=tuple(shots))


def placed(problem):
    """Places of the detections, ln of missing each in the other shot, and the poses, at no roll and squash."""
    eta = np.zeros((1, len(problem.nuisances.sigma)))
    u = np.full(1, 0.5)
    result = problem.evaluate(u, eta, keep=True)
    return result.placed, problem.poses(u, eta)


@pytest.mark.parametrize("model", MODELS)
def test_a_hidden_spot_is_free_and_the_others_are_charged(outing_of, model):
    outing = outing_of(np.random.default_rng(1))
    problem = problem_for(outing, model)
    before, poses = placed(problem)
    first = np.flatnonzero(problem.scene.detections.shot == 0)
    local = before.point[0, first] @ poses.axes[0, 1].T
    x, y = (one[0] for one in disc_place(local[None], poses.distance[:, 1]))
    charged = before.ln_missed[0, first, 1]
    deep = first[charged < np.log(0.11)]  # well inside the disc in the other photo
    assert len(deep) >= 2
    one, others = deep[0], np.setdiff1d(first, deep[0])
    grid = np.zeros((CELLS, CELLS), bool)
    row, column = cell_of(x[np.flatnonzero(first == one)], y[np.flatnonzero(first == one)])
    grid[row, column] = True
    after, _ = placed(problem_for(behind(outing, 1, grid), model))
    assert before.ln_missed[0, one, 1] == pytest.approx(np.log(1 - world.FOUND))
    assert after.ln_missed[0, one, 1] == 0
    np.testing.assert_array_equal(after.ln_missed[0, others, 1], before.ln_missed[0, others, 1])


def without_lower_half(outing):
    """The outing with the spots of the second shot's lower half gone."""
    second = outing.shots[1]
    upper = tuple(spot for spot in second.spots if spot.y > 0.03)
    return replace(outing, shots=(outing.shots[0], replace(second, spots=upper)))


@pytest.mark.parametrize("model", MODELS)
def test_half_a_disc_costs_less_when_it_is_known_to_be_hidden(outing_of, model):
    outing = without_lower_half(outing_of(np.random.default_rng(3), model, spots=24))
    told = behind(outing, 1, BELOW)
    plain, spared = (
        integrate(problem_for(one, model), np.random.default_rng(0)).ln_evidence for one in (outing, told)
    )
    assert spared > plain + 1  # integration errors are below 0.1


def test_a_hidden_half_does_not_turn_the_contest(outing_of):
    """The true model stays ahead, by less than with the whole disc and by more than by nothing."""
    outing = outing_of(np.random.default_rng(3), spots=24)
    told = behind(without_lower_half(outing), 1, BELOW)
    whole, half = (
        np.diff(
            [integrate(problem_for(one, model), np.random.default_rng(0)).ln_evidence for model in MODELS]
        )[0]
        for one in (outing, told)
    )
    assert whole < half < -3


def test_the_chance_to_be_seen_counts_what_is_hidden():
    """Against spots thrown evenly on a far Sun, to the 0.01 of edges softened over 0.25 radii."""
    rng = np.random.default_rng(5)
    points = rng.standard_normal((200_000, 3))
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    axes = np.array([[0.0, 1, 0], [0, 0, 1], [-1, 0, 0]])
    turned = rolled(axes, np.array(1.2))
    lean = np.array([[np.cos(0.5), np.sin(0.5), 0], [-np.sin(0.5), np.cos(0.5), 0], [0, 0, 1]])
    both = np.stack([axes, turned @ lean])
    grids = [np.zeros((CELLS, CELLS), bool), BELOW]
    hidden = Hidden.of(grids, np.zeros(2, bool))
    assert hidden is not None
    assert hidden.open_share == pytest.approx([1, 0.5], abs=1e-6)
    distance = np.full((1, 2), 214.0)
    missed = np.ones(len(points))
    for s in range(2):
        local = points @ both[s].T
        chance = world.detection(world.disc_radius(-local[:, 2], np.array(214.0)))
        x, y = (one[0] for one in disc_place(local[None], distance[:, s]))
        missed *= 1 - chance * ~hidden.at(s, x, y)
    found = seen_fraction(both[None], distance, hidden)
    assert found[0] == pytest.approx(1 - missed.mean(), abs=0.01)
    near = np.full((1, 2), 99.0)  # no longer by the table
    assert seen_fraction(both[None], near, hidden) == pytest.approx(found, abs=0.01)


def test_mirroring_takes_the_hidden_part_along(outing_of):
    outing = behind(outing_of(np.random.default_rng(1)), 1, BELOW & (cell_middles()[0] < 0))
    data = data_of(outing)
    assert data.hidden is not None
    spot = np.array(-0.5), np.array(-0.5)
    assert data.hidden.at(1, *spot)
    assert data.mirrored((1,)).hidden.at(1, -spot[0], spot[1])  # type: ignore[union-attr]
    assert data.upside_down((1,)).hidden.at(1, -spot[0], -spot[1])  # type: ignore[union-attr]
    assert data.mirrored((0,)).hidden.at(1, *spot)  # type: ignore[union-attr]
    assert data.widened(2.0).hidden is data.hidden
    assert data_of(outing_of(np.random.default_rng(1))).hidden is None


def test_the_predictive_check_hides_the_same(outing_of):
    """Made-up outings miss what is hidden too: the true model is not called a bad fit for it."""
    outing = behind(without_lower_half(outing_of(np.random.default_rng(3), spots=24)), 1, BELOW)
    problem = problem_for(outing, MODELS[0])
    evidence = integrate(problem, np.random.default_rng(0))
    assert predictive_p(problem, evidence, np.random.default_rng(1), 199) > 0.02

"""The sum over matchings against plain enumeration, and three-shot tracks against both."""

import numpy as np
import pytest
from whichsun.models.registry import get_model
from whichsun.sim.compare.bestfit import best_tracks
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.likelihood import drift_variances, offset_density, place, tangent_offsets
from whichsun.sim.compare.matching import PairList, components, rough_sum, sum_over_matchings
from whichsun.sim.compare.problem import problem_of
from whichsun.sim.compare.tracks import ln_common_place, sum_over_tracks


def random_pairs(rng, trials, rows, columns, share, spread=3.0):
    linked = rng.random((trials, rows, columns)) < share
    trial, first, second = np.nonzero(linked)
    ln_ratio = rng.normal(0.0, spread, (len(trial), 2))
    none = np.zeros((len(trial), 2))
    return PairList(trial, first, second, ln_ratio, none, np.zeros((len(trial), 2, 2)), none)


def enumerated(pairs, trial):
    mine = np.flatnonzero(pairs.trial == trial)
    weight = np.exp(pairs.ln_ratio[mine])

    def total(k, used_first, used_second):
        if k == len(mine):
            return np.ones(2)
        result = total(k + 1, used_first, used_second)
        a, b = pairs.first[mine[k]], pairs.second[mine[k]]
        if a not in used_first and b not in used_second:
            result = result + weight[k] * total(k + 1, used_first | {a}, used_second | {b})
        return result

    return np.log(total(0, frozenset(), frozenset()))


@pytest.mark.parametrize(
    ("rows", "columns", "share"), [(4, 4, 0.3), (4, 4, 0.9), (6, 2, 0.8), (2, 5, 1.0), (5, 6, 0.4)]
)
def test_sum_equals_enumeration(rows, columns, share):
    rng = np.random.default_rng(rows * 10 + columns)
    pairs = random_pairs(rng, 20, rows, columns, share)
    found = sum_over_matchings(pairs, 20)
    expected = np.array([enumerated(pairs, t) for t in range(20)])
    # pairs below 1e-6 may be left out, each costs at most its own weight
    np.testing.assert_allclose(found, expected, atol=1e-6 * rows * columns)


def test_no_pairs_give_one():
    pairs = random_pairs(np.random.default_rng(0), 1, 2, 2, 0.0)
    assert np.array_equal(sum_over_matchings(pairs, 3), np.zeros((3, 2)))


def test_wide_components_lose_their_faintest_pairs_only():
    rng = np.random.default_rng(5)
    pairs = random_pairs(rng, 1, 12, 12, 1.0, spread=0.1)
    strong = pairs.first == pairs.second
    ln_ratio = np.where(strong[:, None], 8.0, -5.0) + 0 * pairs.ln_ratio
    mixed = PairList(pairs.trial, pairs.first, pairs.second, ln_ratio, pairs.delta, pairs.cov, pairs.extra)
    expected = 12 * np.log1p(np.exp(8.0))
    np.testing.assert_allclose(sum_over_matchings(mixed, 1), expected, atol=0.01)


def test_components_do_not_mix_trials():
    label = components(np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]), np.array([0, 0, 0, 1]))
    assert label[0] == label[1]
    assert len({label[0], label[2], label[3]}) == 3


def test_rough_sum_bounds_the_sum():
    pairs = random_pairs(np.random.default_rng(8), 10, 5, 5, 0.6)
    assert np.all(rough_sum(pairs, 10) >= sum_over_matchings(pairs, 10) - 1e-6)


def test_best_matching_is_the_heaviest():
    first, second = np.array([0, 0, 1, 1]), np.array([2, 3, 2, 3])
    ln_ratio = np.array([5.0, 4.0, 4.5, 1.0])
    assert best_tracks(first, second, ln_ratio, np.array([0, 0, 1, 1])) == ((0, 3), (1, 2))


@pytest.mark.parametrize("sigma", [0.004, 0.03])
def test_tracks_equal_masks_for_two_shots(outing_of, sigma):
    rng = np.random.default_rng(3)
    data = data_of(outing_of(rng, sigma=sigma))
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], data, "howard-1984")
    eta = problem.nuisances.draw(rng.random((40, len(problem.nuisances.sigma))))
    poses = problem.poses(np.zeros(40), eta)
    result = problem.evaluate(np.zeros(40), eta, poses, keep=True)
    placed = place(problem.scene, poses, problem.rolls(eta), problem.squashes(eta))
    density = data.rates.spots / (4 * np.pi)
    single = (
        data.rates.false / np.pi + density * np.exp(placed.ln_found + placed.ln_missed.sum(-1))[..., None]
    )
    tracks = sum_over_tracks(problem.scene, placed, result.pairs, np.log(single), np.log(density), 40)
    assert len(result.pairs) > 40
    np.testing.assert_allclose(tracks, sum_over_matchings(result.pairs, 40), atol=1e-5)


def test_kalman_form_equals_the_pair_density():
    rng = np.random.default_rng(4)
    point = np.array([[1.0, 0.1, 0.2], [1.0, 0.104, 0.197]])
    point /= np.linalg.norm(point, axis=1, keepdims=True)
    spread = rng.normal(0, 0.004, (2, 2, 3))
    delta, cov = tangent_offsets(point[:1], point[1:], spread[:1], spread[1:])
    pair, _ = offset_density(delta, cov, drift_variances(0.45)[None])
    whole = ln_common_place(point[None], spread[None], np.array([-0.225, 0.225]))
    np.testing.assert_allclose(whole, pair, atol=1e-3)  # tangent planes at slightly different points

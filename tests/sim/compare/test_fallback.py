"""Nested sampling takes over where the fast route stays rough; without it, one warning says what to install."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.errors import WhichsunWarning
from whichsun.models.registry import get_model
from whichsun.sim.compare import evidence, fallback
from whichsun.sim.compare.contest import Options, checked, score_model
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.nested import nested
from whichsun.sim.compare.problem import problem_of

QUICK = Options(repairs=False, check=False)


@pytest.fixture
def few_spots(outing_of):
    return data_of(outing_of(np.random.default_rng(4), spots=10, sigma=0.02, false=0.0))


@pytest.fixture
def never_good(monkeypatch):
    """No number of draws is ever enough."""
    monkeypatch.setattr(fallback, "LEAST_EFFECTIVE", np.inf)
    monkeypatch.setattr(evidence, "LEAST_EFFECTIVE", np.inf)
    monkeypatch.setattr(evidence, "MOST_POINTS", evidence.FIRST_POINTS)


def test_nested_sampling_takes_over_and_agrees(few_spots, never_good, monkeypatch):
    monkeypatch.setattr(fallback, "LIVE_POINTS", 200)
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], few_spots, "howard-1984")
    fast = integrate(problem, np.random.default_rng(1))
    told = []
    options = replace(QUICK, tell=told.append)
    score = score_model(model, few_spots, ("a", "b"), options, lambda words: None)
    assert told[0] == "distant-sphere: nested sampling, some minutes"
    assert "evaluations" in told[-1]  # it goes on telling
    assert len(told) > 2
    slow = score.leader.evidence
    assert fast.by == "importance"
    assert (score.by, score.leader.by, slow.by) == ("nested", "nested", "nested")
    # the sampler's own error, three times, and the fast route's
    assert abs(slow.ln_evidence - fast.ln_evidence) < 3 * slow.error + 0.05
    assert slow.weight.sum() == pytest.approx(1.0)
    assert slow.effective > 100
    roll = [np.sqrt((e.weight * e.eta[:, 0] ** 2).sum()) for e in (fast, slow)]
    assert roll[1] == pytest.approx(roll[0], rel=0.2)
    fit = checked(score, QUICK).leader.fit
    assert len(fit.matches) >= 2


def test_without_nested_sampling_one_warning_says_what_to_install(few_spots, never_good, monkeypatch):
    monkeypatch.setattr(fallback, "has_nested", lambda: False)
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], few_spots, "howard-1984")
    with pytest.warns(
        WhichsunWarning, match=r"evidence of distant-sphere is known to .*\[nested\]"
    ) as caught:
        rough = fallback.safe_evidence(problem, np.random.default_rng(1), "distant-sphere")
    assert len(caught) == 1
    assert rough.by == "importance"


def test_a_good_fast_result_is_kept(few_spots, monkeypatch):
    monkeypatch.setattr(fallback, "by_nested", None)  # would fail if it were called
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], few_spots, "howard-1984")
    kept = fallback.safe_evidence(problem, np.random.default_rng(1), "distant-sphere")
    assert fallback.is_good(kept)


@pytest.mark.parametrize(
    ("effective", "error", "kept"), [(900.0, 0.08, "importance"), (90.0, 0.08, "nested")]
)
def test_the_sampler_does_not_replace_enough_draws_by_a_rougher_value(
    few_spots, monkeypatch, effective, error, kept
):
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], few_spots, "howard-1984")
    fast = replace(integrate(problem, np.random.default_rng(1)), effective=effective, error=error)
    monkeypatch.setattr(fallback, "integrate", lambda problem, rng: fast)
    monkeypatch.setattr(fallback, "has_nested", lambda: True)
    monkeypatch.setattr(
        fallback, "by_nested", lambda problem, fast, rng, tell: replace(fast, error=0.1, by="nested")
    )
    assert fallback.safe_evidence(problem, np.random.default_rng(1), "distant-sphere").by == kept


@pytest.mark.parametrize(("mount", "kept"), [("hand-held", "importance"), ("level-tripod", "nested")])
def test_unknown_angles_that_were_followed_up_may_have_a_larger_error(outing_of, monkeypatch, mount, kept):
    data = data_of(outing_of(np.random.default_rng(4), spots=10, mount=mount))
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], data, "howard-1984")
    fast = replace(integrate(problem, np.random.default_rng(1)), effective=90.0, error=0.12)
    monkeypatch.setattr(fallback, "integrate", lambda problem, rng: fast)
    monkeypatch.setattr(fallback, "has_nested", lambda: True)
    monkeypatch.setattr(
        fallback, "by_nested", lambda problem, fast, rng, tell: replace(fast, error=0.05, by="nested")
    )
    assert fallback.safe_evidence(problem, np.random.default_rng(1), "distant-sphere").by == kept


def test_a_sampler_that_is_stopped_early_says_so_in_its_error(few_spots):
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], few_spots, "howard-1984")
    short = nested(problem, np.random.default_rng(2), 50, most_calls=300)
    whole = integrate(problem, np.random.default_rng(1)).ln_evidence
    assert short.error > 0.25  # the whole run, some thousands of evaluations, ends with 0.08
    assert abs(short.ln_evidence - whole) < 3 * short.error


def test_ctrl_c_ends_the_sampling(few_spots):
    model = get_model("distant-sphere")
    problem = problem_of(model, model.variants[0], few_spots, "howard-1984")

    def stopped(done, left):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        nested(problem, np.random.default_rng(2), 100, tell=stopped)

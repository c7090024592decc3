"""Other priors and doubled uncertainties: the table's shifts against integrals done with those priors."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import Options, joined, score_model, scored_models
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.priors import (
    NARROWER,
    SAME,
    WIDER,
    Alternative,
    alternative_shifts,
    alternatives_of,
    shift_of,
)
from whichsun.sim.compare.robustness import robustness_rows
from whichsun.sim.compare.verdict import doubled_uncertainties, headline, judge

QUICK = Options(repairs=False, check=False)
FILES = ("a.jpg", "b.jpg")


def integrated_anew(score, other):
    """ln evidence of a model, every variant with the parameter integrated under the other prior."""
    parts = []
    for variant in score.variants:
        if variant.weight == 0:
            continue
        value = variant.ln_evidence
        if any(axis.name == other.parameter for axis in variant.problem.axes):
            axes = tuple(
                replace(a, prior=other.prior, low=other.low, high=other.high)
                if a.name == other.parameter
                else a
                for a in variant.problem.axes
            )
            value = integrate(replace(variant.problem, axes=axes), np.random.default_rng(5)).ln_evidence
        parts.append(value + np.log(variant.weight))
    return np.logaddexp.reduce(parts)


@pytest.mark.parametrize("face", ["facing-pole", "spinning"])
def test_shifts_agree_with_integrating_under_the_other_prior(outing_of, face):
    outing = outing_of(
        np.random.default_rng(5), "nearby-plane", {"face": "facing-pole"}, spots=14, sigma=0.02
    )
    model = get_model("nearby-plane")
    score = score_model(
        model, data_of(outing), FILES, replace(QUICK, given={"face": face}), lambda words: None
    )
    score = joined(model, score.variants[:1])
    found = alternatives_of(score)
    named = {(other.parameter, other.prior, other.range) for other in found}
    assert ("height_km", "uniform", SAME) in named
    assert ("height_km", "log-uniform", NARROWER) in named
    assert ("height_km", "log-uniform", WIDER) in named
    if face == "spinning":
        assert ("rate_deg_per_day", "uniform", NARROWER) in named
        found = [other for other in found if other.parameter == "rate_deg_per_day"]
    for other in found:
        shift = shift_of(score, other, np.random.default_rng(1))
        again = integrated_anew(score, other) - score.ln_evidence
        # each evidence is asked for to 0.05, a coarse scan is good to 0.1
        assert shift == pytest.approx(again, abs=0.25), other.words


def test_the_sphere_without_parameters_has_no_other_priors(outing_of):
    _, scores, _ = scored_models(outing_of(np.random.default_rng(4), spots=10), None, QUICK)
    sphere = next(s for s in scores if s.model == "distant-sphere")
    assert alternatives_of(sphere) == []
    assert alternative_shifts(sphere) == {}


def test_words_of_an_alternative():
    other = Alternative("height_km", "km", "uniform", 500.0, 5e4, SAME)
    assert other.words == "height_km uniform, 500 to 50,000 km"


def test_rows_name_what_changed_and_who_leads(outing_of):
    outing = outing_of(np.random.default_rng(31), spots=20)
    data, scores, added = scored_models(outing, None, QUICK)
    ranked = headline(scores, added)
    doubled = doubled_uncertainties(data, ranked, FILES, QUICK)
    rows = robustness_rows(ranked[0], ranked[1], doubled)
    whole = ranked[0].ln_evidence - ranked[1].ln_evidence
    assert [row.kind for row in rows[:2]] == ["as-scored", "uncertainties"]
    assert rows[0].ln_bayes_factor == pytest.approx(whole)
    wide = [
        score_model(m.geometry, data.widened(2.0), FILES, QUICK, lambda words: None).ln_evidence
        for m in ranked[:2]
    ]
    assert rows[1].ln_bayes_factor == pytest.approx(
        wide[0] - wide[1], abs=0.2
    )  # a coarse scan's 0.1 for each
    heights = [row for row in rows if row.parameter == "height_km"]
    assert {row.range for row in heights} == {SAME, NARROWER, WIDER}
    half = next(row for row in heights if row.range == NARROWER)
    assert (half.low, half.high) == pytest.approx((500 * 100**0.25, 500 * 100**0.75))
    twice = next(row for row in heights if row.range == WIDER)
    assert (twice.low, twice.high) == pytest.approx((50, 500_000))
    assert all(row.model == "nearby-plane" for row in rows[2:])
    assert {row.verdict for row in rows} == {"favours"}


def test_a_small_lead_is_undecided_in_its_row(outing_of):
    _, scores, _ = scored_models(outing_of(np.random.default_rng(31), spots=20), None, QUICK)
    best, second = scores[0], scores[2]
    for gap, verdict, leads in ((2.0, "undecided", best), (5.0, "favours", best), (-5.0, "favours", second)):
        near = replace(second, ln_evidence=best.ln_evidence - gap)
        row = robustness_rows(best, near, {})[0]
        assert (row.verdict, row.leads) == (verdict, leads.model)


def test_the_verdict_takes_the_doubled_evidences_that_it_is_given(outing_of):
    outing = outing_of(np.random.default_rng(31), spots=20)
    data, scores, added = scored_models(outing, None, replace(QUICK, check=True))
    options = replace(QUICK, check=True)
    ranked = headline(scores, added)
    turned = {ranked[0].model: 0.0, ranked[1].model: 1.0}
    verdict = judge(data, scores, added, FILES, options, turned)
    assert verdict.kind == "undecided"
    assert any("doubled" in reason for reason in verdict.reasons)

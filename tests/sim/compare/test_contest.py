"""The contest as a whole: who wins, who is called undecided, blunders, third voices and variants."""

from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.geometry import Variant
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import Options, scored_models, variants_of, weights_of
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.hypotheses import repairs_of
from whichsun.sim.compare.scores import score_outing
from whichsun.sim.compare.verdict import judge

SPHERE, PLANE = "distant-sphere", "nearby-plane"
QUICK = Options(repairs=False, check=False)


def verdict_of(outing, options=None, models=None):
    options = options or Options()
    data, scores, added = scored_models(outing, models, options)
    return judge(data, scores, added, tuple(s.file for s in outing.shots), options), scores


@pytest.mark.parametrize("truth", [SPHERE, PLANE])
def test_good_outings_are_decided(outing_of, truth):
    verdict, scores = verdict_of(outing_of(np.random.default_rng(31), truth, spots=26))
    assert (verdict.kind, verdict.model) == ("favours", truth)
    assert verdict.ln_bayes_factor > 3
    assert verdict.flags == ()
    leader = next(s for s in scores if s.model == truth).leader
    assert leader.p_value > 0.01
    assert leader.fit.dof > 0
    assert leader.fit.chi2 < leader.fit.dof + 5 * np.sqrt(2 * leader.fit.dof)


def test_weak_outings_are_undecided(outing_of):
    weak = outing_of(
        np.random.default_rng(32), spots=7, sigma=0.05, roll_sigma_deg=5.0,
        times=("2024-03-25T11:40:00Z", "2024-03-25T12:20:00Z"),
    )  # fmt: skip
    verdict, _ = verdict_of(weak)
    assert verdict.kind == "undecided"
    assert verdict.reasons


@pytest.mark.parametrize("truth", [SPHERE, PLANE])
def test_a_mirrored_shot_is_repaired_and_flagged(outing_of, truth):
    verdict, _ = verdict_of(outing_of(np.random.default_rng(33), truth, spots=22, mirrored=(1,)))
    assert (verdict.kind, verdict.model) == ("favours", truth)
    assert any("shot-1.jpg is mirrored" in flag for flag in verdict.flags)


def test_random_spots_fit_nothing(outing_of):
    """A pair whose second shot is turned by a level blunder of 40 degrees is not claimed by any model."""
    outing = outing_of(np.random.default_rng(34), spots=24)
    cos, sin = np.cos(0.7), np.sin(0.7)
    turned = [replace(s, x=cos * s.x - sin * s.y, y=sin * s.x + cos * s.y) for s in outing.shots[1].spots]
    blunder = replace(outing, shots=(outing.shots[0], replace(outing.shots[1], spots=tuple(turned))))
    verdict, _ = verdict_of(blunder)
    assert verdict.kind == "none-fits"
    assert verdict.model is None


def test_claims_are_right_as_often_as_they_say(world_of):
    """Model drawn first: wrong claims at 20 to 1 no more than their own odds allow (Poisson, 1 %)."""
    rng = np.random.default_rng(35)
    wrong, claims, allowed = 0, 0, 0.0
    for _ in range(10):
        truth, outing = world_of(rng)
        _, scores, _ = scored_models(outing, None, QUICK)
        value = {score.model: score.ln_evidence for score in scores}
        factor = value[SPHERE] - value[PLANE]
        if abs(factor) > 3:
            claims += 1
            allowed += 1 / (1 + np.exp(abs(factor)))
            wrong += truth != (SPHERE if factor > 0 else PLANE)
    assert claims >= 5
    assert wrong <= max(1, allowed + 3 * np.sqrt(allowed))
    assert claims - wrong >= 5


def test_weights_are_equal_over_rules_then_over_maps():
    plane = get_model(PLANE)
    weights = weights_of(plane.variants)
    by_group: dict[str, float] = {}
    for variant, weight in zip(plane.variants, weights, strict=True):
        by_group[variant.group] = by_group.get(variant.group, 0.0) + weight
    assert by_group.pop("free") == 0.0
    assert list(by_group.values()) == pytest.approx([1 / 3] * 3)
    laid = variants_of(plane, Options(maps=("azimuthal-equidistant", "stereographic")))
    assert sum(weights_of(laid)) == pytest.approx(1.0)
    assert len([v for v in laid if v.attitude_free]) == 1
    assert {v.fixed["map"] for v in laid} == {"azimuthal-equidistant", "stereographic"}


def test_given_values_choose_variants():
    plane = get_model(PLANE)
    kept = variants_of(plane, Options(given={"face": "fixed"}))
    assert {v.fixed["face"] for v in kept} == {"fixed"}


def test_unknown_names_are_refused(outing_of):
    outing = outing_of(np.random.default_rng(1))
    with pytest.raises(UnknownNameError, match="unknown model 'flat'"):
        score_outing(outing, ["flat"])
    with pytest.raises(UnknownNameError, match="rotation law"):
        score_outing(outing, None, Options(law="quick"))
    with pytest.raises(InputError, match="'colour' must be a parameter"):
        score_outing(outing, None, Options(given={"colour": "red"}))
    with pytest.raises(InputError, match="height_km"):
        score_outing(outing, None, Options(given={"height_km": -5.0}))


def test_repairs_share_one_prior(outing_of):
    data = data_of(outing_of(np.random.default_rng(1)))
    repairs = repairs_of(data, ("a", "b"))
    assert sum(repair.prior for repair in repairs) == pytest.approx(1.0)
    assert [repair.kind for repair in repairs].count("mirrored") == 2
    assert [repair.kind for repair in repairs].count("upside-down") == 2
    free = repairs_of(data, ("a", "b"), attitude_free=True)
    assert {repair.kind for repair in free} == {"none", "mirrored"}


@dataclass(frozen=True)
class SameSphere:
    """A person's own model that says what the distant sphere says."""

    name: str = "same-sphere"
    summary: str = "The distant sphere under another name."
    parameters: tuple = ()
    variants: tuple = field(default=(Variant(),))

    def view(self, instants, site, values):
        return get_model(SPHERE).view(instants, site, values)


def test_equal_models_are_undecided(outing_of):
    outing = outing_of(np.random.default_rng(31), spots=20)
    verdict, scores = verdict_of(outing, QUICK, [SameSphere()])
    by_name = {score.model: score.ln_evidence for score in scores}
    assert by_name["same-sphere"] == pytest.approx(by_name[SPHERE], abs=1e-9)
    assert verdict.kind == "undecided"


def test_nested_model_is_no_rival(outing_of):
    verdict, scores = verdict_of(outing_of(np.random.default_rng(31), spots=20), QUICK)
    assert {score.model for score in scores} == {SPHERE, "nearby-sphere", PLANE}
    assert verdict.second == PLANE

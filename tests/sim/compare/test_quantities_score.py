"""Scores of measured quantities: evidences against a grid and nested sampling, truths found, verdicts."""

import importlib.util
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import logsumexp
from whichsun.sim.cli.main import main
from whichsun.sim.compare.contest import Options, scored_models
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.latitude import weighted_quantiles
from whichsun.sim.compare.nested import nested
from whichsun.sim.compare.scores import score_outing
from whichsun.sim.outing import Observable
from whichsun.sim.outing_file import write_outing

_spec = importlib.util.spec_from_file_location(
    "quantities_help", Path(__file__).with_name("quantities_help.py")
)
assert _spec is not None
assert _spec.loader is not None
help_ = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(help_)
BOTH, PLANE, SITE, SPHERE = help_.BOTH, help_.PLANE, help_.SITE, help_.SPHERE
QUICK = Options(repairs=False, check=False)
HIGH_SUN = (
    Observable("altitude", 0.0, 0.5, ("2024-06-10T08:10:00Z",)),
    Observable("altitude", 0.0, 0.5, ("2024-06-10T15:10:00Z",)),
    Observable("azimuth", 0.0, 1.0, ("2024-06-10T08:20:00Z",)),
)


def evidence_of(problem, seed=1):
    return integrate(problem, np.random.default_rng(seed))


def factor_of(observables, site=SITE):
    """ln Bayes factor of the distant sphere against the near plane."""
    _, scores, _ = scored_models(help_.outing_with(*observables, site=site), None, QUICK)
    value = {score.model: score.ln_evidence for score in scores}
    return value[SPHERE] - value[PLANE], {score.model: score for score in scores}


def grid_evidence(problem, scans, steps=41):
    """Midpoints of the scanned parameter, trapezoids over clock and refraction (4.5 sigma)."""
    assert problem.nuisances.shared == ("refraction",)
    line = np.linspace(-4.5, 4.5, steps)
    clock, bend = (g.ravel() for g in np.meshgrid(line, line, indexing="ij"))
    eta = np.stack([clock * problem.nuisances.sigma[0], bend], axis=1)
    ln_prior = -0.5 * (clock**2 + bend**2) + 2 * np.log((line[1] - line[0]) / np.sqrt(2 * np.pi))
    parts = [
        logsumexp(problem.ln_quantities(np.full(len(eta), u), eta) + ln_prior)
        for u in (np.arange(scans) + 0.5) / scans
    ]
    return logsumexp(parts) - np.log(scans)


@pytest.mark.parametrize("truth", [SPHERE, PLANE])
@pytest.mark.parametrize("scored", [SPHERE, PLANE])
def test_evidence_equals_a_plain_grid(truth, scored):
    given = {"height_km": 4000.0} if truth == PLANE else {}
    measured = help_.foreseen(HIGH_SUN, truth, rng=np.random.default_rng(5), **given)
    problem = help_.problem_for(help_.outing_with(*measured), scored)
    result = evidence_of(problem)
    # both errors are below 0.03: the stated one, and the grid's (twice the steps move it by 0.01)
    assert result.ln_evidence == pytest.approx(
        grid_evidence(problem, 1 if scored == SPHERE else 600), abs=0.06
    )
    assert result.effective > 200
    assert result.error < 0.05
    assert result.laplace == pytest.approx(result.ln_evidence, abs=1.0)


@pytest.mark.slow
def test_evidence_agrees_with_nested_sampling():
    site = replace(SITE, latitude_sigma_deg=1.0)
    measured = help_.foreseen((HIGH_SUN[0], HIGH_SUN[2]), rng=np.random.default_rng(6))
    problem = help_.problem_for(help_.outing_with(*measured, site=site))
    slow = nested(problem, np.random.default_rng(2), live_points=100)
    # 0.1 beyond the sampler's own error is what the fast route is asked for
    assert abs(evidence_of(problem).ln_evidence - slow.ln_evidence) < 0.1 + 2 * slow.error


def test_height_and_diameter_are_found():
    size = Observable("angular-diameter", 0.5, 0.005, ("2024-06-10T08:30:00Z",))
    truth = {"height_km": 4000.0, "diameter_km": 60.0}
    measured = help_.foreseen((*HIGH_SUN, size), PLANE, **truth)
    problem = help_.problem_for(help_.outing_with(*measured), PLANE)
    result = evidence_of(problem)
    values = problem.values(result.u, result.eta)
    for name, width in (("height_km", 150.0), ("diameter_km", 3.0)):
        # quantiles: the share of blunders in the size leaves the diameter a tail over its whole prior
        low, middle, high = weighted_quantiles(values[name][:, 0], result.weight, (0.16, 0.5, 0.84))
        assert abs(middle - truth[name]) < 2 * (high - low)
        assert high - low < width


def test_a_size_alone_says_nothing_of_the_near_suns_height():
    size = Observable("angular-diameter", 0.53, 0.005, ("2024-06-10T08:30:00Z",))
    problem = help_.problem_for(help_.outing_with(size), PLANE)
    result = evidence_of(problem)
    height = np.log(problem.values(result.u, result.eta)["height_km"][:, 0] / 500) / np.log(100)
    spread = np.sqrt((result.weight * (height - (result.weight * height).sum()) ** 2).sum())
    assert spread > 0.15  # uniform: 0.29; a diameter within its bounds is asked for


def test_spin_is_found_from_turns():
    times = [("2024-06-10T08:00:00Z", f"2024-06-10T{hour}:00:00Z") for hour in ("10", "17")]
    turns = [Observable("turn", 0.0, 1.0, pair, "axis") for pair in times]
    truth = {"height_km": 5000.0, "face": "spinning", "rate_deg_per_day": 123.0}
    # the axis of a Sun that spins about up stands upright: only its spots turn
    turns = [replace(one, turn_kind="spot", spot_x=0.3, spot_y=0.4) for one in turns]
    measured = help_.foreseen((*turns, *HIGH_SUN), PLANE, **truth)
    problem = help_.problem_for(help_.outing_with(*measured), PLANE, 4)
    result = evidence_of(problem)
    rate = problem.values(result.u, result.eta)["rate_deg_per_day"][:, 0]
    assert result.weight[np.abs(rate - 123.0) < 20].sum() > 0.9


@pytest.mark.parametrize(
    "one", [*help_.EVERY_KIND, help_.DAY_LENGTH], ids=lambda one: f"{one.kind} {one.turn_kind}"
)
def test_every_kind_fits_its_own_truth(one):
    """What a model foresees is likelier under it than if it could be anything.

    Where a turn's spot is unknown the plane's is spread so widely that its mean is no likely value.
    """
    held = {"height_km": 5000.0, "diameter_km": 50.0}
    for truth, given in ((SPHERE, {}), (PLANE, held)):
        never = truth == PLANE and one.kind in ("rise", "set", "rise-azimuth", "set-azimuth")
        if never or (truth == PLANE and one.turn_kind == "pattern"):
            continue
        (measured,) = help_.foreseen([one], truth, **given)
        problem = help_.problem_for(help_.outing_with(measured), truth, **given)
        found = evidence_of(problem)
        (quantity,) = problem.data.quantities
        assert found.ln_evidence > -np.log(quantity.span) + 0.5
        assert found.error < 0.05


def test_rise_set_and_day_length_tell_sphere_from_plane():
    day = (help_.DAY_LENGTH, help_.EVERY_KIND[-1], *help_.EVERY_KIND[12:14])
    factor, scores = factor_of(help_.foreseen(day, rng=np.random.default_rng(7)))
    assert factor > 5
    assert all(v.variant.attitude_free is False for v in scores[PLANE].variants)  # nothing tells of attitudes


def test_altitudes_under_a_near_sun_tell_plane_from_sphere():
    measured = help_.foreseen(HIGH_SUN, PLANE, rng=np.random.default_rng(8), height_km=4000.0)
    assert factor_of(measured)[0] < -5


GROUPS = {
    "drift": help_.EVERY_KIND[4:6],
    "sizes": (
        help_.EVERY_KIND[9],
        Observable("angular-diameter-ratio", 1.0, 0.01, (BOTH[0], "2024-06-10T11:30:00Z")),
    ),
    "turns": (help_.EVERY_KIND[0], help_.EVERY_KIND[2]),
    "north": (help_.EVERY_KIND[1], help_.EVERY_KIND[7]),
}


@pytest.mark.parametrize("group", GROUPS)
@pytest.mark.parametrize("truth", [SPHERE, PLANE])
def test_made_up_measurements_name_their_own_model(group, truth):
    given = {"height_km": 4000.0} if truth == PLANE else {}
    measured = help_.foreseen(GROUPS[group], truth, rng=np.random.default_rng(14), **given)
    factor, scores = factor_of(measured)
    # sizes: a far plane's Sun is as constant as the sphere's; only a near one can be told for sure
    least = 1.0 if (group, truth) == ("sizes", SPHERE) else 3.0
    assert (factor if truth == SPHERE else -factor) > least
    fit = scores[truth].leader.fit
    assert fit is not None
    assert all(abs(one.z) < 5 for one in fit.quantities)


def test_a_blunder_costs_finitely():
    good = help_.foreseen((*HIGH_SUN, help_.EVERY_KIND[-1]), rng=np.random.default_rng(9))
    spoilt = (*good[:3], replace(good[3], value=good[3].value - 40.0))
    clean = evidence_of(help_.problem_for(help_.outing_with(*good[:3]))).ln_evidence
    with_blunder = evidence_of(help_.problem_for(help_.outing_with(*spoilt))).ln_evidence
    assert with_blunder - clean == pytest.approx(np.log(0.02 / 90), abs=0.2)


@pytest.fixture(scope="module")
def angle_only():
    """A person who sends one angle, the spot's place and the noon altitude."""
    turn = Observable("turn", 0.0, 1.5, BOTH, "spot", -0.25, 0.4)
    return help_.outing_with(*help_.foreseen((turn, help_.EVERY_KIND[-1]), rng=np.random.default_rng(12)))


@pytest.fixture(scope="module")
def angle_scores(angle_only):
    return score_outing(angle_only)


@pytest.mark.slow
def test_an_angle_and_a_noon_altitude_are_scored(angle_scores):
    document = angle_scores.to_json()
    assert document["verdict"]["model"] == SPHERE
    row = document["models"][0]
    assert (row["model"], row["dof"]) == (SPHERE, 2)
    assert row["p_value"] > 0.01
    assert row["chi2"] < 12
    assert [r["kind"] for r in row["residuals"]] == ["turn", "noon-altitude"]
    assert all(abs(r["z"]) < 4 for r in row["residuals"])
    assert row["residuals"][0]["time_utc"] == list(BOTH)
    assert document["turn"]["turn_deg"] == pytest.approx(angle_scores.outing.observables[0].value)
    assert abs(document["latitude"]["fitted_deg"] - 47.0) < 2
    assert document["latitude"]["hemisphere"] == "north"


@pytest.mark.slow
def test_a_turn_of_the_wrong_sign_is_flagged(angle_only):
    turn = replace(angle_only.observables[0], value=-angle_only.observables[0].value, spot_x=0.25)
    wrong = replace(angle_only, observables=(turn, *angle_only.observables[1:]))
    _, scores, _ = scored_models(wrong, None, Options(check=False))
    sphere = next(score for score in scores if score.model == SPHERE).leader
    odds = {repair.kind: value for repair, value in sphere.repair_odds}
    assert odds["mirrored"] > 1
    assert sphere.repair is not None
    assert sphere.repair.kind == "mirrored"


@pytest.mark.slow
def test_a_misfit_of_all_models_is_called_none_fits():
    """The noon altitude of another latitude beside the drift of this one: no model foresees both."""
    noon = replace(help_.EVERY_KIND[-1], value=30.0, sigma=0.1)
    drift = help_.foreseen([help_.EVERY_KIND[4], help_.EVERY_KIND[7]])
    scores = score_outing(
        help_.outing_with(noon, *drift, help_.foreseen([help_.DAY_LENGTH])[0]), drivers=False
    )
    assert scores.verdict.kind == "none-fits"


def test_photos_and_quantities_add_up(outing_of):
    """A quantity that no nuisance touches adds its own ln density to the evidence of the spots."""
    outing = outing_of(np.random.default_rng(41), spots=16)
    noon = Observable("angular-diameter-ratio", 1.0, 0.002, tuple(s.time_utc for s in outing.shots))
    both = replace(outing, observables=(noon,))
    alone, joined = (evidence_of(help_.problem_for(o)) for o in (outing, both))
    own = evidence_of(help_.problem_for(replace(both, shots=())))
    assert joined.ln_evidence - alone.ln_evidence == pytest.approx(own.ln_evidence, abs=0.05)
    scores = score_outing(both, None, replace(QUICK, rough=True), drivers=False)
    leader = scores.models[0].leader
    assert leader.fit is not None
    assert len(leader.fit.quantities) == 1
    free = [v for score in scores.models for v in score.variants if v.variant.attitude_free]
    assert np.isfinite(free[0].ln_evidence)


@pytest.mark.slow
def test_command_scores_an_outing_without_photos(angle_only, tmp_path, capsys):
    path = tmp_path / "angle.toml"
    write_outing(angle_only, path)
    assert main(["score", str(path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "whichsun/score/1"
    assert {driver["kind"] for driver in document["drivers"]} == {"quantity"}


def test_one_photo_and_a_noon_altitude_are_scored(outing_of):
    outing = outing_of(np.random.default_rng(1), spots=12)
    (noon,) = help_.foreseen([replace(help_.EVERY_KIND[-1], time_utc=("2024-03-25T12:00:00Z",))])
    one = replace(outing, shots=outing.shots[:1], observables=(noon,))
    document = score_outing(one, None, replace(QUICK, rough=True), drivers=False).to_json()
    assert [r["kind"] for r in document["models"][0]["residuals"]] == ["noon-altitude"]
    assert document["models"][0]["matches"] == []
    assert document["turn"]["turn_deg"] is None
    # a noon altitude alone does not say on which side of the zenith the Sun stood: declination 2 deg, 47 N or 43 S
    fitted = sorted(region["fitted_deg"] for region in document["latitude"]["regions"][:2])
    assert fitted == pytest.approx([-43.0, 47.0], abs=1.0)


@pytest.mark.parametrize("model", [SPHERE, PLANE])
def test_an_uncertain_site_is_a_nuisance_of_photos_too(outing_of, model):
    """A place good to 0.01 deg changes nothing; one good to 2 deg costs a little and widens nothing else."""
    outing = outing_of(np.random.default_rng(41), model, spots=16)

    def evidence(sigma):
        site = replace(outing.site, latitude_sigma_deg=sigma, longitude_sigma_deg=sigma)
        return evidence_of(help_.problem_for(replace(outing, site=site), model))

    exact = evidence_of(help_.problem_for(outing, model)).ln_evidence
    near = evidence(0.01)
    assert near.ln_evidence == pytest.approx(exact, abs=0.06)
    assert near.error < 0.05
    wide = evidence(2.0)
    assert abs(wide.ln_evidence - exact) < 3
    assert wide.eta.shape[1] == near.eta.shape[1]

"""Evidence against a plain fine grid, invariances, and hand-held and equatorial shots."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp
from whichsun.models.registry import get_model
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.problem import problem_of

SPHERE, PLANE = "distant-sphere", "nearby-plane"


def problem_for(outing, model=SPHERE, variant=0, given=None, **changes):
    data = replace(data_of(outing), **changes)
    chosen = get_model(model)
    return problem_of(chosen, chosen.variants[variant], data, "howard-1984", given)


def ln_evidence(problem, seed=3):
    return integrate(problem, np.random.default_rng(seed)).ln_evidence


def grid_evidence(problem, steps, scans):
    """Trapezoidal rule over both rolls (4.5 sigma) and midpoints of the scanned parameter."""
    nuisances = problem.nuisances
    line = np.linspace(-4.5, 4.5, steps)
    one, two = (g.ravel() for g in np.meshgrid(line, line, indexing="ij"))
    parts = []
    for u in (np.arange(scans) + 0.5) / scans:
        eta = np.zeros((len(one), len(nuisances.sigma)))
        eta[:, 0], eta[:, 1] = one * nuisances.sigma[0], two * nuisances.sigma[1]
        like = problem.evaluate(np.full(len(one), u), eta).ln_like
        parts.append(
            logsumexp(like - 0.5 * (one**2 + two**2)) + 2 * np.log((line[1] - line[0]) / np.sqrt(2 * np.pi))
        )
    return logsumexp(parts) - np.log(scans)


@pytest.mark.parametrize("truth", [SPHERE, PLANE])
@pytest.mark.parametrize("scored", [SPHERE, PLANE])
def test_evidence_equals_a_fine_grid(outing_of, truth, scored):
    # squash and clock are pinned so that a plain grid over rolls and height is within reach
    errors = []
    for seed in range(5):
        outing = outing_of(np.random.default_rng(seed), truth, spots=10, sigma=0.01)
        problem = problem_for(outing, scored, squash_sigma=np.full(2, 1e-7), clock_sigma=1e-4)
        expected = grid_evidence(problem, 31, 1 if scored == SPHERE else 260)
        errors.append(abs(ln_evidence(problem) - expected))
    assert np.median(errors) < 0.05
    assert max(errors) < 0.2


def test_stated_error_covers_repeats(outing_of):
    problem = problem_for(outing_of(np.random.default_rng(2), PLANE), PLANE)
    results = [integrate(problem, np.random.default_rng(seed)) for seed in range(6)]
    values = np.array([r.ln_evidence for r in results])
    assert results[0].effective > 200
    assert results[0].error < 0.05
    assert np.std(values) < 2 * results[0].error


def test_laplace_scan_agrees_with_sampling(outing_of):
    result = integrate(
        problem_for(outing_of(np.random.default_rng(2), PLANE), PLANE), np.random.default_rng(0)
    )
    assert result.laplace == pytest.approx(result.ln_evidence, abs=0.3)


def test_order_of_detections_does_not_matter(outing_of):
    outing = outing_of(np.random.default_rng(7))
    shots = [replace(s, spots=s.spots[::-1]) for s in outing.shots]
    swapped = replace(outing, shots=tuple(shots))
    assert ln_evidence(problem_for(swapped)) == pytest.approx(ln_evidence(problem_for(outing)), abs=1e-6)


def test_suns_longitude_does_not_matter(outing_of):
    problem = problem_for(outing_of(np.random.default_rng(7), PLANE), PLANE)
    cos, sin = np.cos(1.234), np.sin(1.234)
    about_pole = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])

    def turned(instants, values):
        view = problem.view(instants, values)
        return replace(view, attitude=view.attitude @ about_pole)

    other = replace(problem, view=turned)
    assert ln_evidence(other) == pytest.approx(ln_evidence(problem), abs=1e-3)


def test_common_roll_of_hand_held_shots_does_not_matter(outing_of):
    outing = outing_of(np.random.default_rng(7), mount="hand-held", sigma=0.01)

    def rolled(shot, angle):
        cos, sin = np.cos(angle), np.sin(angle)
        spots = [replace(s, x=cos * s.x - sin * s.y, y=sin * s.x + cos * s.y) for s in shot.spots]
        return replace(shot, spots=tuple(spots))

    other = replace(outing, shots=tuple(rolled(s, 2.0) for s in outing.shots))
    assert ln_evidence(problem_for(other)) == pytest.approx(ln_evidence(problem_for(outing)), abs=0.1)


def test_mirrored_world(outing_of):
    """Mirroring both the data of one shot and nothing else is far worse than leaving it."""
    outing = outing_of(np.random.default_rng(1))
    data = data_of(outing)
    model = get_model(SPHERE)
    good = problem_of(model, model.variants[0], data, "howard-1984")
    bad = problem_of(model, model.variants[0], data.mirrored((0,)), "howard-1984")
    assert ln_evidence(good) > ln_evidence(bad) + 10


@pytest.mark.parametrize("mount", ["hand-held", "level-tripod"])
def test_truth_wins_for_every_mount(outing_of, mount):
    for truth, other in ((SPHERE, PLANE), (PLANE, SPHERE)):
        # with fewer spots a camera held by hand cannot tell them apart
        outing = outing_of(np.random.default_rng(11), truth, mount=mount, spots=30)
        assert ln_evidence(problem_for(outing, truth)) > ln_evidence(problem_for(outing, other)) + 3


def test_equatorial_mount_keeps_celestial_north_up(outing_of):
    """Pictures turned by the parallactic angle, as a polar axis does, with one unknown angle for all."""
    from whichsun.models.geometry import view_of
    from whichsun.models.observables import parallactic_angle

    level = outing_of(np.random.default_rng(12), roll_sigma_deg=0.01)
    data = data_of(level)
    q = parallactic_angle(view_of(get_model(SPHERE), data.instants, data.site))
    shots = []
    for shot, angle in zip(level.shots, q, strict=True):
        turn = angle + 1.0  # z_picture = R(-(V of north) - omega) z with V = -q
        cos, sin = np.cos(turn), np.sin(turn)
        spots = [replace(s, x=cos * s.x - sin * s.y, y=sin * s.x + cos * s.y) for s in shot.spots]
        shots.append(replace(shot, mount="equatorial", roll_sigma_deg=None, spots=tuple(spots)))
    mounted = replace(level, shots=tuple(shots))
    result = integrate(problem_for(mounted), np.random.default_rng(0))
    problem = problem_for(mounted)
    found = np.average(np.exp(1j * result.eta[:, problem.nuisances.mount]), weights=result.weight)
    assert np.angle(found) == pytest.approx(-1.0, abs=0.05)
    assert result.ln_evidence > ln_evidence(problem_for(mounted, PLANE)) + 3


def test_three_shots_sharpen_the_contest(outing_of):
    times = ("2024-03-25T06:40:00Z", "2024-03-25T12:20:00Z", "2024-03-25T17:20:00Z")
    outing = outing_of(np.random.default_rng(13), times=times, spots=10)
    pair = replace(outing, shots=(outing.shots[0], outing.shots[2]))
    gain = [ln_evidence(problem_for(o)) - ln_evidence(problem_for(o, PLANE)) for o in (outing, pair)]
    assert gain[0] > gain[1] + 3


def test_spinning_finds_its_rate(outing_of):
    outing = outing_of(
        np.random.default_rng(21), PLANE, {"face": "spinning", "rate_deg_per_day": 123.0}, spots=25
    )
    problem = problem_for(outing, PLANE, variant=4)
    assert problem.axes[1].name == "rate_deg_per_day"
    result = integrate(problem, np.random.default_rng(0))
    rate = problem.values(result.u, result.eta)["rate_deg_per_day"][:, 0]
    near = np.abs(rate - 123.0) < 10
    assert result.weight[near].sum() > 0.5


def test_a_held_parameter_is_not_integrated(outing_of):
    outing = outing_of(np.random.default_rng(2), PLANE)
    problem = problem_for(outing, PLANE, given={"height_km": 5000.0})
    assert problem.axes == ()
    assert ln_evidence(problem) > ln_evidence(problem_for(outing, PLANE))

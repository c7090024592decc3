"""Measured quantities: what is refused, what models foresee, densities that stay finite."""

import importlib.util
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.errors import InputError, WhichsunWarning
from whichsun.models.geometry import view_of
from whichsun.models.observables import altitude, azimuth, parallactic_angle, project, semidiameter
from whichsun.models.place import Instants, Site, parse_utc, utc_days_of
from whichsun.models.registry import get_model
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.hypotheses import repairs_of
from whichsun.sim.compare.quantities_likelihood import ln_floor, replicate
from whichsun.sim.compare.quantities_predict import forecast
from whichsun.sim.daylight import rise_set
from whichsun.sim.outing import Observable, OutingSite
from whichsun.sim.turns import axis_turn, celestial_north_turn

_spec = importlib.util.spec_from_file_location(
    "quantities_help", Path(__file__).with_name("quantities_help.py")
)
assert _spec is not None
assert _spec.loader is not None
help_ = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(help_)
BOTH, MORNING, NOON, PLANE, SITE, SPHERE = (
    help_.BOTH, help_.MORNING, help_.NOON, help_.PLANE, help_.SITE, help_.SPHERE
)  # fmt: skip


def value_of(one, model=SPHERE, site=SITE, **given):
    """What a model foresees for one observable, unit of the outing file."""
    return help_.foreseen([one], model, site, **given)[0].value


def view_at(*times, model=SPHERE, **given):
    site = Site(SITE.latitude_deg, SITE.longitude_deg)
    return view_of(get_model(model), Instants.from_utc(list(times)), site, given)


def test_values_at_given_times_are_those_of_the_view():
    view = view_at(*BOTH)
    for kind, number in (("azimuth", azimuth(view)[0]), ("angular-diameter", 2 * semidiameter(view)[0])):
        got = value_of(Observable(kind, 0.5, 0.1, (MORNING,)))
        assert got == pytest.approx(np.rad2deg(number), abs=1e-9)
    ratio = value_of(Observable("angular-diameter-ratio", 1.0, 0.01, BOTH), PLANE, height_km=4000.0)
    near = semidiameter(view_at(*BOTH, model=PLANE, height_km=4000.0))
    assert ratio == pytest.approx(near[1] / near[0], rel=1e-9)
    axis = value_of(Observable("turn", 0.0, 1.0, BOTH, "axis"))
    assert axis == pytest.approx(np.rad2deg(axis_turn(view[0], view[1])), abs=1e-9)
    # a point of the disc's middle: refraction at 4.65 deg is 10.5' (Saemundsson's formula by hand)
    height = value_of(Observable("altitude", 0.0, 0.1, (MORNING,)))
    assert height - np.rad2deg(altitude(view)[0]) == pytest.approx(10.5 / 60, abs=0.3 / 60)


def test_the_drift_turns_as_celestial_north_does():
    # the Sun's own change of declination, at most 0.4 deg a day, leans its drift by 0.06 deg at most
    want = np.rad2deg(celestial_north_turn(*(view_at(time)[0] for time in BOTH)))
    for one in (
        Observable("turn", 0.0, 1.0, BOTH, "celestial-north"),
        Observable("drift-direction", 0.0, 1.0, BOTH),
    ):
        assert value_of(one) == pytest.approx(want, abs=0.1)
    ahead = value_of(Observable("drift-direction", 0.0, 1.0, (MORNING,)))
    north = -np.rad2deg(parallactic_angle(view_at(MORNING)))[0]
    assert (ahead - north + 180) % 360 - 180 == pytest.approx(-90, abs=0.1)  # west is to the right of north
    assert np.isfinite(value_of(Observable("drift-direction", 0.0, 1.0, BOTH), PLANE))


def test_a_spot_of_known_place_turns_as_its_own_disc_places_say():
    one = Observable("turn", 0.0, 2.0, BOTH, "spot", 0.2, -0.3)
    view = view_at(*BOTH, model=PLANE, height_km=6000.0)
    problem = help_.problem_for(
        help_.outing_with(one), PLANE, 1, height_km=6000.0
    )  # without drift of its own
    from whichsun.models.observables import unproject

    there = project(view[1], unproject(view[0], np.array([0.2]), np.array([-0.3])))
    want = np.rad2deg(np.arctan2(-there.x, there.y) - np.arctan2(-0.2, -0.3))[0]
    got = forecast(problem, np.array([0.5]), np.zeros((1, 1))).value[0, 0]
    assert (got - want + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)


def test_a_spot_that_a_model_hides_has_no_prediction():
    edge = Observable("turn", 0.0, 2.0, ("2024-06-10T04:10:00Z", "2024-06-13T04:00:00Z"), "spot", 0.95, 0.0)
    problem = help_.problem_for(help_.outing_with(edge))
    assert np.isnan(forecast(problem, np.array([0.5]), np.zeros((1, 1))).value[0, 0])
    assert problem.ln_quantities(np.array([0.5]), np.zeros((1, 1)))[0] == pytest.approx(
        ln_floor(problem.data.quantities)
    )


@pytest.mark.parametrize(
    ("site", "noon"),
    [
        (OutingSite(47.0, 8.0), "2024-03-02T11:00:00Z"),
        (OutingSite(-33.0, 151.0), "2024-03-02T02:00:00Z"),
        (OutingSite(5.0, -70.0), "2024-03-02T17:00:00Z"),
    ],
)
def test_rise_and_set_agree_with_the_almanac_convention(site, noon):
    """Against rise_set of the package (34' and 16' held fixed; here refraction and size are computed)."""
    almanac = rise_set("2024-03-02", Site(site.latitude_deg, site.longitude_deg))
    length = value_of(Observable("day-length", 0.0, 0.1, (noon,)), site=site)
    whole = float(almanac.set_utc_days - almanac.rise_utc_days) * 24
    assert length == pytest.approx(whole, abs=10 / 3600)
    for kind, day in (("rise", almanac.rise_utc_days), ("set", almanac.set_utc_days)):
        (found,) = help_.foreseen([Observable(kind, 0.0, 60.0, (noon,))], site=site)
        assert abs(utc_days_of(parse_utc(found.time_utc[0])) - float(day)) * 86400 < 8
    view = view_of(
        get_model(SPHERE),
        Instants.from_utc_days(float(almanac.set_utc_days)),
        Site(site.latitude_deg, site.longitude_deg),
    )
    west = value_of(Observable("set-azimuth", 0.0, 1.0, (noon,)), site=site)
    assert west == pytest.approx(float(np.rad2deg(azimuth(view))), abs=0.03)


def test_polar_days_and_planes_without_sunset():
    far_north = OutingSite(75.0, 20.0)
    assert value_of(help_.DAY_LENGTH, site=far_north) == 24.0
    winter = replace(help_.DAY_LENGTH, time_utc=("2024-12-10T12:00:00Z",))
    assert value_of(winter, site=far_north) == 0.0
    assert value_of(help_.DAY_LENGTH, PLANE) == 24.0
    for kind in ("rise", "set", "rise-azimuth", "set-azimuth"):
        one = Observable(kind, 0.0, 1.0, (NOON,))
        for model, place, held in ((PLANE, SITE, {"height_km": 5000.0}), (SPHERE, far_north, {})):
            problem = help_.problem_for(help_.outing_with(one, site=place), model, **held)
            eta = np.zeros((1, len(problem.nuisances.sigma)))
            assert np.isnan(forecast(problem, np.array([0.5]), eta).value[0, 0])
            got = problem.ln_quantities(np.array([0.5]), eta)[0]
            assert got == pytest.approx(ln_floor(problem.data.quantities))


def test_a_lower_horizon_makes_the_day_longer():
    low = value_of(replace(help_.DAY_LENGTH, horizon_deg=-0.5))
    assert 0.08 < low - value_of(help_.DAY_LENGTH) < 0.2  # a degree of altitude takes 6 to 8 minutes there


def test_stronger_refraction_lifts_and_lengthens():
    outing = help_.outing_with(Observable("altitude", 3.0, 0.1, (MORNING,)), help_.DAY_LENGTH)
    problem = help_.problem_for(outing)
    assert problem.nuisances.shared == ("refraction",)
    eta = np.zeros((2, 2))
    eta[1, 1] = 1.0
    found = forecast(problem, np.full(2, 0.5), eta).value
    assert found[1, 0] - found[0, 0] == pytest.approx(10.5 / 60 * (np.exp(0.12) - 1), rel=0.05)
    assert found[1, 1] > found[0, 1] + 0.02


def test_nuisances_come_only_with_what_needs_them():
    plain = help_.problem_for(help_.outing_with(Observable("azimuth", 60.0, 1.0, (MORNING,))))
    assert plain.nuisances.shared == ()
    unsure = replace(SITE, latitude_sigma_deg=0.5, longitude_sigma_deg=0.2)
    problem = help_.problem_for(help_.outing_with(help_.DAY_LENGTH, site=unsure))
    assert problem.nuisances.shared == ("refraction", "latitude", "longitude")
    assert problem.nuisances.sigma[-2:].tolist() == [0.5, 0.2]
    without = help_.problem_for(help_.outing_with(Observable("azimuth", 60.0, 1.0, (MORNING,))), PLANE)
    with_size = help_.problem_for(
        help_.outing_with(Observable("angular-diameter", 0.5, 0.01, (MORNING,))), PLANE
    )
    assert [axis.name for axis in without.axes] == ["height_km"]
    assert [axis.name for axis in with_size.axes] == ["height_km", "diameter_km"]


@pytest.mark.parametrize(
    ("observables", "words"),
    [
        (
            (Observable("rise", 0, 60, (MORNING,)), Observable("altitude", 0.2, 0.1, (MORNING,))),
            "says the same as",
        ),
        (
            (Observable("azimuth", 9, 1, (MORNING,)), Observable("azimuth", 8, 1, (MORNING,))),
            "says the same as",
        ),
        (
            (
                Observable("turn", -80, 2, BOTH, "celestial-north"),
                Observable("drift-direction", -80, 2, BOTH),
            ),
            "says the same as",
        ),
        (
            (
                Observable("rise", 0, 60, ("2024-06-10T03:30:00Z",)),
                Observable("set", 0, 60, ("2024-06-10T19:20:00Z",)),
                Observable("day-length", 15.8, 0.1, (NOON,)),
            ),
            "follows from rise and set",
        ),
        (
            (
                Observable("angular-diameter", 0.53, 0.01, BOTH[:1]),
                Observable("angular-diameter", 0.53, 0.01, BOTH[1:]),
                Observable("angular-diameter-ratio", 1.0, 0.01, BOTH),
            ),
            "follows from the diameters",
        ),
        (
            (
                Observable("drift-direction", -130, 2, BOTH[:1]),
                Observable("drift-direction", 150, 2, BOTH[1:]),
                Observable("drift-direction", -80, 2, BOTH),
            ),
            "follows from the directions",
        ),
        ((Observable("turn", 9, 2, (MORNING, "2024-06-20T18:40:00Z"), "spot"),), "72 h"),
    ],
)
def test_what_says_one_thing_twice_is_refused(observables, words):
    with pytest.raises(InputError, match=words) as caught:
        data_of(help_.outing_with(*observables))
    assert "\n" not in str(caught.value)
    assert "observable[" in str(caught.value)


def test_an_outing_of_nothing_is_refused():
    with pytest.raises(InputError, match="at least twice"):
        data_of(help_.outing_with())


def test_a_turn_between_photos_with_spots_is_left_out(outing_of):
    outing = outing_of(np.random.default_rng(1))
    times = tuple(shot.time_utc for shot in outing.shots)
    with_turn = replace(outing, observables=(Observable("turn", -80.0, 2.0, times, "pattern"),))
    with pytest.warns(WhichsunWarning, match="left out: the spots of those photos say it already"):
        assert data_of(with_turn).quantities == ()
    other = replace(outing, observables=(Observable("turn", -80.0, 2.0, times, "celestial-north"),))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(data_of(other).quantities) == 1


def test_one_photo_beside_other_measurements(outing_of):
    outing = outing_of(np.random.default_rng(1))
    one = replace(outing, shots=outing.shots[:1], observables=(help_.DAY_LENGTH,))
    data = data_of(one)
    assert not data.has_spots
    assert data.n_shots == 0
    lens = {"camera": "an invented camera", "focal_length_mm": 600.0, "spots": ()}
    pair = [replace(s, **lens, semi_axes_px=(500.0 + 10 * k, 500.0)) for k, s in enumerate(outing.shots)]
    (_, limbs) = data_of(replace(one, shots=tuple(pair))).quantities
    assert limbs.kind == "angular-diameter-ratio"
    assert limbs.value == pytest.approx(np.log(1.02))


def test_repairs_act_on_quantities():
    turn = Observable("turn", -80.0, 2.0, BOTH, "spot", 0.2, -0.3)
    data = data_of(help_.outing_with(turn, replace(help_.DAY_LENGTH, value=15.8)))
    repairs = {repair.kind: repair for repair in repairs_of(data, ())}
    assert sum(repair.prior for repair in repairs_of(data, ())) == pytest.approx(1.0)
    flipped = repairs["mirrored"].data.quantities
    assert (flipped[0].value, flipped[0].spot) == (80.0, (-0.2, -0.3))
    assert flipped[1] == data.quantities[1]
    late = repairs["time-zone"].data.quantities
    assert late[0].days[0] - data.quantities[0].days[0] == pytest.approx(1 / 24)
    assert late[1] == data.quantities[1]
    wide = data.widened(2.0)
    assert wide.quantities[0].sigma == 4.0
    assert wide.bend_scale == 2.0
    only_days = data_of(help_.outing_with(replace(help_.DAY_LENGTH, value=15.8)))
    assert [repair.kind for repair in repairs_of(only_days, ())] == ["none"]


FINITE = st.floats(-360, 360, allow_nan=False)


@settings(deadline=None, max_examples=40)
@given(
    index=st.integers(0, len(help_.EVERY_KIND)),
    value=FINITE,
    sigma=st.floats(1e-3, 50),
    latitude=st.floats(-89, 90),  # the south pole is no point of the plane's map
    u=st.floats(0.001, 0.999),
    clock=st.floats(-3600, 3600),
    bend=st.floats(-4, 4),
    plane=st.booleans(),
)
def test_density_is_never_infinite(index, value, sigma, latitude, u, clock, bend, plane):
    one = (*help_.EVERY_KIND, help_.DAY_LENGTH)[index]
    if one.kind.startswith("angular"):
        value = 0.02 + abs(value) / 20
    outing = help_.outing_with(replace(one, value=value, sigma=sigma), site=OutingSite(latitude, 8.0))
    problem = help_.problem_for(outing, PLANE if plane else SPHERE)
    eta = np.zeros((1, len(problem.nuisances.sigma)))
    eta[0, 0] = clock
    if "refraction" in problem.nuisances.shared:
        eta[0, problem.nuisances.place_of("refraction")] = bend
    got = problem.ln_quantities(np.array([u]), eta)
    assert np.isfinite(got).all()
    assert got[0] >= ln_floor(problem.data.quantities) - 1e-9


def test_replicates_match_as_well_as_the_truth_does():
    measured = help_.foreseen(help_.EVERY_KIND, rng=np.random.default_rng(3))
    problem = help_.problem_for(help_.outing_with(*measured))
    n = 400
    seen, drawn = replicate(
        problem, np.full(n, 0.5), np.zeros((n, len(problem.nuisances.sigma))), np.random.default_rng(1)
    )
    assert 0.02 < np.mean(drawn <= seen) < 0.98

"""Targets: the same place at the first shot for every model, what becomes of it, and the ranking."""

from pathlib import Path

import numpy as np
import pytest
from whichsun.models.place import Instants, Site
from whichsun.models.registry import BUILT_IN, get_model
from whichsun.sim.plan.camera_numbers import Aim
from whichsun.sim.plan.carried import carried, meridian_longitude_deg
from whichsun.sim.plan.optics import optics_of
from whichsun.sim.plan.regions import Region, RegionSummary, read_summary
from whichsun.sim.plan.target_words import reason
from whichsun.sim.plan.targets import targets_of
from whichsun.sim.predicting import predict
from whichsun.sim.rotation import rotation_law

ROOT = Path(__file__).parents[3]
LAW = rotation_law("howard-1984")
SUMMARY = read_summary(ROOT / "tests" / "data" / "regions" / "20000922SRS.txt")
SITE = Site(60.0, 10.75)
TIMES = ("2000-09-22T05:20:00Z", "2000-09-22T16:20:00Z")
INSTANTS = Instants.from_utc(TIMES)
OPTICS = optics_of(focal_length_mm=400, pixel_pitch_um=6.0)
BOTH = [(get_model(name), {}) for name in ("distant-sphere", "nearby-plane")]


def targets(models=BOTH, summary=SUMMARY, instants=INSTANTS, optics=OPTICS, aim=None):
    return targets_of(summary, instants, SITE, models, law=LAW, optics=optics, aim=aim)


def summary_with(*regions, days_before=0.2):
    utc = float(INSTANTS.utc_days[0]) - days_before
    return RegionSummary("invented", SUMMARY.issued, utc, regions, (), ())


def region(number, latitude, meridian, area=500.0, spots=1):
    return Region(number, latitude, meridian, 0.0, area, 4.0, spots, "Hsx", "Alpha")


def test_places_are_those_that_predict_gives():
    places = {}
    for one in SUMMARY.regions:
        place = carried(
            one, SUMMARY, float(INSTANTS.utc_days[0]), LAW, meridian_longitude_deg(SUMMARY.utc_days)
        )
        places[one.number] = (place.latitude_deg, place.longitude_deg)
    said = predict(get_model("distant-sphere"), INSTANTS, SITE, spots_deg=list(places.values()), law=LAW)
    for target in targets():
        k = list(places).index(target.place.region.number)
        view = target.views[0]
        for shot in (0, 1):
            spot = said["instants"][shot]["spots"][k]
            assert (view.x[shot], view.y[shot]) == pytest.approx((spot["x"], spot["y"]), abs=1e-9)
            assert view.visible[shot] == spot["visible"]
        assert view.turn_deg == pytest.approx(said["turn"]["spots_deg"][k], abs=1e-7)


@pytest.mark.parametrize("name", [*BUILT_IN, str(ROOT / "scenarios" / "own_model.py:UprightSun")])
def test_every_model_by_the_same_code(name):
    found = targets([(get_model(name), {})])
    reference = {one.place.region.number: one for one in targets()}
    for one in found:
        view, other = one.views[0], reference[one.place.region.number].views[0]
        assert (view.x[0], view.y[0]) == pytest.approx((other.x[0], other.y[0]), abs=1e-12)
        if view.visible[1]:
            assert np.hypot(view.x[1], view.y[1]) < 1
            assert -180 < view.turn_deg <= 180
    assert found[0].usable_under == (get_model(name).name,)


def test_a_model_that_leaves_the_face_open_says_nothing_and_does_not_count():
    free = (get_model("nearby-plane"), {"face": "free"})
    alone = targets([BOTH[0]])
    for one, same in zip(targets([BOTH[0], free]), alone, strict=True):
        assert one.expected_sigma_deg == pytest.approx(same.expected_sigma_deg)
        assert one.chance == same.chance
        assert one.views[1].visible[1] is None
        assert np.isnan([one.views[1].turn_deg, one.views[1].chance]).all()
    assert all(one.chance == 0 and one.usable_under == () for one in targets([free]))


def test_hidden_regions():
    # 13.2 degrees a day: what stands 2 degrees behind the west limb stays hidden; 4 before it goes in half a day.
    found = targets([BOTH[0]], summary_with(region(1, 5.0, 95.0), region(2, 5.0, 85.0)))
    gone, going = sorted(found, key=lambda one: one.place.region.number)
    assert gone.views[0].visible == (False, None)
    assert gone.expected_sigma_deg == np.inf
    assert going.views[0].visible == (True, False)
    assert np.isnan(going.views[0].turn_deg)
    assert going.chance < 0.2


def test_a_spot_near_the_centre_is_a_poor_target():
    # All of one size and far from the limb; B0 is +7, so that latitude 7 at the meridian is the middle.
    found = targets([BOTH[0]], summary_with(*(region(k, 12.0 + 12 * k, -3.0) for k in range(4))))
    assert found[-1].place.region.number == 0
    sigma = {one.place.region.number: one.views[0].sigma_deg for one in found}
    assert sigma[0] > 1.5 * sigma[2]
    (middle,) = targets([BOTH[0]], summary_with(region(1, 7.0, 0.0)))
    assert middle.expected_sigma_deg > found[-1].expected_sigma_deg
    beyond = {one.place.region.number: abs(one.views[0].beyond_axis_deg) for one in found}
    assert beyond[0] > 3 * beyond[3]  # the Sun's rotation moves it most


def test_small_spots_on_a_short_lens():
    summary = summary_with(region(1, 20.0, -30.0, 500.0), region(2, -20.0, -30.0, 20.0))
    long, short = (
        targets([BOTH[0]], summary, optics=optics_of(focal_length_mm=f, pixel_pitch_um=6.0))
        for f in (1000, 100)
    )
    assert {one.place.region.number: bool(one.usable_under) for one in long} == {1: True, 2: True}
    assert {one.place.region.number: bool(one.usable_under) for one in short} == {1: True, 2: False}
    for one, other in zip(long, short, strict=True):
        assert one.width_px == pytest.approx(10 * other.width_px)
    # Without a camera nothing is too small.
    assert all(one.usable_under for one in targets([BOTH[0]], summary, optics=None))


def test_width_in_pixels():
    # 500 msh is a cap of 1.812 deg; the disc's radius is that of the day.
    (one,) = targets([BOTH[0]], summary_with(region(1, 7.0, 0.0, 500.0)))
    radius = 400e3 / 6 * np.tan(np.deg2rad(955.6 / 3600))  # semidiameter of 2000-09-22, 955.6" at 1.0037 au
    assert one.width_px == pytest.approx(2 * radius * np.sin(np.deg2rad(1.812)), rel=0.005)


def test_a_spot_that_the_limb_makes_too_narrow_says_how_narrow():
    # Near the west limb at first and nearer at last: the width shrinks as the cosine of the angle from the centre.
    (one,) = targets([BOTH[0]], summary_with(region(1, 7.0, 72.0, 60.0)))
    view = one.views[0]
    cosines = np.sqrt(1 - np.array(view.x) ** 2 - np.array(view.y) ** 2)
    least = one.width_px * cosines[1] / cosines[0]
    assert least < 0.8 * one.width_px
    assert f"({one.width_px:.1f} px at first, {least:.1f} at its narrowest)" in reason(one)
    (middle,) = targets([BOTH[0]], summary_with(region(1, 7.0, 0.0, 25.0)))
    assert f"({middle.width_px:.1f} px at first)" in reason(middle)


def test_groups_are_judged_by_their_largest_spot():
    single = region(1, 20.0, -30.0, 400.0, 1)
    group = Region(2, 20.0, -30.0, 0.0, 400.0, 10.0, 12, "Eai", "Beta")
    assert (single.single, group.single) == (True, False)
    found = {one.place.region.number: one for one in targets([BOTH[0]], summary_with(single, group))}
    assert (found[1].spot_area_msh, found[2].spot_area_msh) == (400.0, 200.0)


def test_ranked_by_the_turn_to_expect():
    found = targets()
    sigmas = [one.expected_sigma_deg for one in found]
    assert sigmas == sorted(sigmas)
    for one in found:
        worth = [view.chance / view.sigma_deg**2 if view.chance else 0.0 for view in one.views]
        assert one.expected_sigma_deg == pytest.approx(1 / np.sqrt(np.mean(worth)))


def test_better_level_better_turn_and_days_ahead_worse():
    sharp = targets(aim=Aim(level_sigma_deg=0.1))
    assert sharp[0].expected_sigma_deg < 0.5 * targets()[0].expected_sigma_deg
    later = Instants.from_utc([text.replace("-22T", "-25T") for text in TIMES])
    today = {one.place.region.number: one.views[0] for one in targets()}
    in_three_days = {one.place.region.number: one.views[0] for one in targets(instants=later)}
    for number in (9167, 9170):
        assert np.trace(in_three_days[number].covariance[0]) > np.trace(today[number].covariance[0])
        assert in_three_days[number].chance < today[number].chance


def test_the_same_for_a_region_whatever_stands_beside_it():
    whole = {one.place.region.number: one for one in targets()}
    lone = targets(summary=RegionSummary("x", SUMMARY.issued, SUMMARY.utc_days, SUMMARY.regions[1:2], (), ()))
    assert lone[0].expected_sigma_deg == whole[9166].expected_sigma_deg

"""Regions carried to another time: the law, and spreads that grow."""

from pathlib import Path

import numpy as np
import pytest
from whichsun.models.observables import body_vector
from whichsun.sim.plan.carried import (
    FIRST_LONGITUDE_DEG,
    TOO_OLD_DAYS,
    carried,
    meridian_longitude_deg,
    nearest_summary,
    odd_longitudes,
    place_of,
)
from whichsun.sim.plan.regions import Region, RegionSummary, read_summary
from whichsun.sim.rotation import rotation_law

DATA = Path(__file__).parents[2] / "data" / "regions"
LAW = rotation_law("howard-1984")
SUMMARY = read_summary(DATA / "20000922SRS.txt")
MIDDLE = meridian_longitude_deg(SUMMARY.utc_days)
BIG, SMALL = SUMMARY.regions[3], SUMMARY.regions[0]  # 1910 and 30 msh


def at(region, days, law=LAW):
    return carried(region, SUMMARY, SUMMARY.utc_days + days, law, MIDDLE)


def test_drift_by_the_law():
    # Howard 1984: 14.552 - 2.84 sin^2(latitude) - 14.1844 deg a day in the body frame.
    latitude = np.deg2rad(BIG.latitude_deg)
    expected = 4 * (14.552 - 2.84 * np.sin(latitude) ** 2 - 14.1844)
    moved = at(BIG, 4.0).longitude_deg - place_of(BIG, MIDDLE)[1]
    assert moved == pytest.approx(expected, abs=1e-9)
    assert at(BIG, 4.0).latitude_deg == BIG.latitude_deg
    assert at(BIG, -4.0).longitude_deg - place_of(BIG, MIDDLE)[1] == pytest.approx(-expected, abs=1e-9)
    still = at(BIG, 4.0, rotation_law("rigid")).longitude_deg
    assert still == pytest.approx(place_of(BIG, MIDDLE)[1], abs=1e-9)


def test_the_longitude_comes_from_the_distance_to_the_meridian():
    region = Region(1, 10.0, -30.0, 123.0)
    assert place_of(region, 100.0) == (10.0, 70.0)
    assert place_of(Region(1, 10.0, None, 123.0), 100.0) == (10.0, 123.0)


@pytest.mark.parametrize("region", [BIG, SMALL])
def test_doubt_grows_and_chances_fall(region):
    places = [at(region, days) for days in (0.0, 0.5, 1.0, 2.0, 4.0, 6.0, 8.0)]
    assert places[0].longitude_sigma_deg == FIRST_LONGITUDE_DEG
    assert places[0].chance_there == 1.0
    for name in ("longitude_sigma_deg", "latitude_sigma_deg", "ln_area_sigma"):
        assert np.all(np.diff([getattr(one, name) for one in places]) > 0)
    assert np.all(np.diff([one.chance_there for one in places]) < 0)
    assert places[-1].chance_there > 0


def test_small_groups_are_less_sure():
    small, big = at(SMALL, 2.0), at(BIG, 2.0)
    assert small.longitude_sigma_deg > big.longitude_sigma_deg
    # Kislovodsk 2010 to 2020: 49 % of the groups below 50 msh are found again after two days, 92 % above 150.
    assert (small.chance_there, big.chance_there) == (pytest.approx(0.49), pytest.approx(0.92))


def test_draws_have_their_stated_width():
    place = at(BIG, 2.0)
    points = place.draws(np.random.default_rng(1), 20_000)
    assert points[0] == pytest.approx(body_vector(*np.deg2rad([place.latitude_deg, place.longitude_deg])))
    latitude = np.rad2deg(np.arcsin(points[1:, 2]))
    low, high = np.quantile(latitude, (0.1587, 0.8413))
    # Of 20,000 draws the quantiles are known to about 1 %.
    assert (high - low) / 2 == pytest.approx(place.latitude_sigma_deg, rel=0.04)


def test_the_nearest_summary_unless_too_old():
    first, last = read_summary(DATA / "20000922SRS.txt"), read_summary(DATA / "20000927SRS.txt")
    assert nearest_summary([first, last], first.utc_days + 2.4) is first
    assert nearest_summary([first, last], first.utc_days + 2.6) is last
    assert nearest_summary([first, last], last.utc_days + TOO_OLD_DAYS + 0.1) is None
    assert nearest_summary([], 0.0) is None


def test_a_mistyped_longitude_is_told():
    assert odd_longitudes(SUMMARY) == []
    wrong = Region(9169, 9.0, -32.0, 176.0, 1910.0, 19.0, 68, "Fkc", "Beta")
    bad = RegionSummary("x.txt", SUMMARY.issued, SUMMARY.utc_days, (wrong,), (), ())
    (words,) = odd_longitudes(bad)
    assert "region 9169 stands at Carrington longitude 77" in words
    assert "at 176 by its column Lo" in words

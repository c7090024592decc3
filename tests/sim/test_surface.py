from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.errors import InputError
from whichsun.sim.rotation import rotation_law
from whichsun.sim.surface import SunSpot, Surface, area_of_radius, radius_of_area, random_spots, surface_of

LAW = rotation_law("howard-1984")


def test_area_and_radius():
    # 1 msh = 3.04e6 km2 and a round spot of 100 msh has a heliographic radius of 0.81 deg.
    assert np.rad2deg(radius_of_area(100)) == pytest.approx(0.81, abs=0.005)
    assert 2 * np.pi * 695700**2 * 1e-6 == pytest.approx(3.04e6, rel=2e-3)


@settings(deadline=None)
@given(st.floats(1, 6000))
def test_area_of_radius_inverts(area):
    assert area_of_radius(radius_of_area(area)) == pytest.approx(area, rel=1e-9)


def test_the_surface_is_carried_by_the_law():
    surface = Surface((SunSpot(0.0, 10.0), SunSpot(30.0, 200.0)), LAW)
    before, after = surface.points(), surface.points(2.0)
    turned = np.rad2deg(np.arctan2(after[:, 1], after[:, 0]) - np.arctan2(before[:, 1], before[:, 0]))
    assert turned == pytest.approx([2 * (14.552 - 14.1844), 2 * (14.552 - 2.84 / 4 - 14.1844)])
    assert after[:, 2] == pytest.approx(before[:, 2])
    assert np.asarray(surface.drawn(2.0).points) == pytest.approx(after)
    assert Surface().drawn().points.shape == (0, 3)


@settings(deadline=None)
@given(seed=st.integers(0, 2**32), groups=st.integers(0, 12))
def test_random_spots_are_repeatable_and_in_belts(seed, groups):
    spots = random_spots(np.random.default_rng(seed), groups)
    assert spots == random_spots(np.random.default_rng(seed), groups)
    assert groups <= len(spots) <= 2 * groups
    assert all(abs(spot.latitude_deg) < 50 and spot.area_msh >= 0.1 for spot in spots)


def test_belts_and_hemispheres_of_many():
    spots = random_spots(np.random.default_rng(5), 3000)
    latitudes = np.array([spot.latitude_deg for spot in spots])
    assert np.mean(np.abs(latitudes)) == pytest.approx(16.3, abs=0.6)
    assert np.mean(latitudes > 0) == pytest.approx(0.5, abs=0.03)
    assert np.median([spot.area_msh for spot in spots]) < 80, "followers are smaller"


def test_refusals():
    for wrong in ({"latitude_deg": 91.0}, {"longitude_deg": np.nan}, {"area_msh": -3.0}, {"darkness": 2.0}):
        with pytest.raises(InputError):
            SunSpot(**{"latitude_deg": 0.0, "longitude_deg": 0.0, **wrong})
    with pytest.raises(InputError):
        random_spots(np.random.default_rng(1), -1)
    assert surface_of([(1.0, 2.0), (3.0, 4.0, 50.0)], LAW).spots[1].area_msh == 50

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.errors import InputError
from whichsun.render.frame import VerticalWarp
from whichsun.sim.atmosphere import (
    LOWEST_APPARENT_DEG,
    LOWEST_TRUE_DEG,
    air_mass,
    apparent_altitude,
    axis_ratio,
    horizon_dip_rad,
    refraction_of_apparent_rad,
    refraction_rad,
    transmission,
    true_altitude,
    vertical_table,
)

AIR = {"pressure_hpa": st.floats(300, 1100), "temperature_c": st.floats(-60, 50)}


@settings(deadline=None)
@given(**AIR)
def test_apparent_altitude_grows_and_is_inverted(pressure_hpa, temperature_c):
    true = np.deg2rad(np.linspace(LOWEST_TRUE_DEG, 90, 500))
    apparent = apparent_altitude(true, pressure_hpa, temperature_c)
    assert np.all(np.diff(apparent) > 0)
    assert true_altitude(apparent, pressure_hpa, temperature_c) == pytest.approx(true, abs=1e-11)


def test_nothing_is_said_where_the_formulas_turn_round():
    below = np.deg2rad([LOWEST_TRUE_DEG - 0.01, -3, -5.11, -30])
    assert np.all(np.isnan(refraction_rad(below)))
    assert np.all(np.isnan(true_altitude(np.deg2rad([-1.3, -20]))))
    assert np.all(np.isnan(refraction_of_apparent_rad(np.deg2rad([LOWEST_APPARENT_DEG - 0.01, -4.4]))))
    assert np.all(np.isfinite(refraction_rad(np.deg2rad([LOWEST_TRUE_DEG, 0, 90]))))


def test_no_air_no_refraction():
    assert refraction_rad(0.1, 0.0) == 0
    assert true_altitude(0.1, 0.0) == pytest.approx(0.1, abs=1e-15)


@settings(deadline=None)
@given(altitude_deg=st.floats(-1.5, 80), semidiameter_deg=st.floats(0.1, 0.35))
def test_vertical_table_is_the_refraction_of_every_point(altitude_deg, semidiameter_deg):
    centre, radius = np.deg2rad(altitude_deg), np.deg2rad(semidiameter_deg)
    y_apparent, y_true = vertical_table(centre, radius)
    assert np.all(np.diff(y_apparent) > 0)
    assert np.all(np.diff(y_true) > 0)
    assert y_true[0] <= -1
    assert y_true[-1] >= 1
    edge = np.interp([-1.0, 0.0, 1.0], y_true, y_apparent)
    exact = apparent_altitude(centre + radius * np.array([-1, 0, 1])) - apparent_altitude(centre)
    # Linear between 401 rows: off by less than 0.004 px at a radius of 400 px.
    assert edge == pytest.approx(exact / radius, abs=1e-5)
    assert (edge[2] - edge[0]) / 2 == pytest.approx(axis_ratio(centre, radius), abs=1e-5)
    VerticalWarp((y_apparent, y_true))


def test_a_sun_below_the_reach_of_refraction_is_refused():
    with pytest.raises(InputError, match=r"altitude.*lower limb.*-1\.70"):
        vertical_table(np.deg2rad(-1.7), np.deg2rad(0.27))
    with pytest.raises(InputError):
        vertical_table(np.nan, 0.005)


@pytest.mark.parametrize(
    ("pressure", "temperature"), [(-1, 10), (1200, 10), (1010, -273.0), (1010, 99), (np.nan, 0)]
)
def test_impossible_air_is_refused(pressure, temperature):
    with pytest.raises(InputError, match="must be between"):
        refraction_rad(0.1, pressure, temperature)


def test_air_mass_and_light():
    # The zenith is the unit of air mass; the horizon's value follows from the published coefficients.
    assert air_mass(np.pi / 2) == pytest.approx(1, abs=5e-4)
    assert air_mass(0.0) == pytest.approx(37.92, abs=0.01)
    assert np.isnan(air_mass(np.deg2rad(-2)))
    light = transmission(np.deg2rad([1.0, 5, 30, 90]))
    assert light.shape == (4, 3)
    assert np.all(np.diff(light, axis=0) > 0), "brighter with height"
    assert np.all(np.diff(light, axis=1) < 0), "redder than blue"
    with pytest.raises(InputError):
        transmission(0.1, haze=-1)


def test_dip_refuses_a_negative_height():
    assert horizon_dip_rad(0.0) == 0
    for height in (-1.0, np.nan):
        with pytest.raises(InputError, match="height_m"):
            horizon_dip_rad(height)

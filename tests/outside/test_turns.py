"""Turns between rise and set against the textbook and independent calculations.

Meeus, Astronomical Algorithms 2nd ed., chapter 14: at the horizon cos q = sin(latitude)/cos(declination).
The values for 51.48 N and the swing at 52 N were computed with skyfield, ERFA, a plain vector calculation and
PyMeeus, which agree to 1e-4 deg; printed to 0.01 or 0.1 deg.
"""

from __future__ import annotations

import numpy as np
import pytest
from whichsun.models.distant_sphere import DistantSphere
from whichsun.models.geometry import view_of
from whichsun.models.observables import parallactic_angle
from whichsun.models.place import Instants, Site
from whichsun.sim.daylight import rise_set
from whichsun.sim.turns import axis_turn, celestial_north_turn, moment, unwrapped_turn

SPHERE = DistantSphere()


def turn_of_day(date, latitudes, horizon):
    latitudes = np.atleast_1d(np.asarray(latitudes, dtype=float))
    instants = rise_set(date, Site(latitudes, 0.0), horizon).instants()
    view = view_of(SPHERE, instants, Site(latitudes[:, None], 0.0))
    return np.rad2deg(celestial_north_turn(moment(view, 0), moment(view, 1)))


@pytest.mark.parametrize("date", ["2024-03-20", "2024-09-22", "2025-03-20"])
def test_equinox_rule(date):
    # Common practice, no source: turn = 2 (90 - |latitude|), clockwise north; the declination is not 0 all day.
    latitudes = np.array([-65, -51.48, -33.87, -20, -5, 5, 20, 33.87, 51.48, 65.0])
    expected = -np.sign(latitudes) * 2 * (90 - np.abs(latitudes))
    assert turn_of_day(date, latitudes, "geometric") == pytest.approx(expected, abs=0.15)


@pytest.mark.parametrize(
    ("date", "visible", "geometric"),
    [("2024-03-20", 77.02, 77.05), ("2024-06-20", 61.57, 62.99), ("2024-12-21", 64.33, 62.98)],
)
def test_at_51_48_north(date, visible, geometric):
    # Printed to 0.01 deg; longitude and year are ours: the declination differs by some arcsec (0.02 deg).
    assert turn_of_day(date, 51.48, "visible") == pytest.approx(-visible, abs=0.03)
    assert turn_of_day(date, 51.48, "geometric") == pytest.approx(-geometric, abs=0.03)


@pytest.mark.parametrize("date", ["2024-02-18", "2024-05-01", "2024-06-20", "2024-10-24", "2024-12-21"])
def test_horizon_formula(date):
    # |turn| = 2 acos(sin|lat|/cos dec) for the noon's declination; it changes by up to 0.2 deg in half a day.
    latitudes = np.array([30.0, 40, 52, 60])
    got = turn_of_day(date, latitudes, "geometric")
    noon = view_of(SPHERE, Instants.from_utc(f"{date}T12:00:00Z"), Site(0.0, 0.0))
    declination = np.arcsin(noon.direction[1])  # on the equator the north component is sin(declination)
    expected = -2 * np.rad2deg(np.arccos(np.sin(np.deg2rad(latitudes)) / np.cos(declination)))
    assert got == pytest.approx(expected, abs=0.15)


def test_solstice_swing_at_52_north():
    # 84.3 deg between the extremes of q, 61.6 net.
    latitude = 52.0
    ends = rise_set("2024-06-20", Site(latitude, 0.0), "geometric").instants()
    dense = Instants.from_utc_days(np.linspace(*ends.utc_days, 2001))
    q = np.rad2deg(np.unwrap(parallactic_angle(view_of(SPHERE, dense, Site(latitude, 0.0)))))
    assert np.ptp(q) == pytest.approx(84.3, abs=0.06)
    assert q[-1] - q[0] == pytest.approx(61.62, abs=0.06)


def test_turn_beyond_half_a_circle_in_the_tropics():
    # 14.2 N in July, culmination north of the zenith: 206 deg anticlockwise, read as 154 clockwise (printed to
    # the degree, times of the shots not given: the rounding and 0.5 deg).
    site = Site(14.2, 91.0, 12.0)
    instants = Instants.from_utc(["2024-07-13T00:00:00Z", "2024-07-13T12:00:00Z"])
    view = view_of(SPHERE, instants, site)
    wrapped = np.rad2deg(axis_turn(moment(view, 0), moment(view, 1)))
    unwrapped = np.rad2deg(unwrapped_turn(SPHERE, instants, site))
    assert unwrapped == pytest.approx(206, abs=1)
    assert wrapped == pytest.approx(-154, abs=1)
    assert unwrapped - wrapped == pytest.approx(360, abs=1e-9)

"""Measured quantities of a day against textbook formulas and published tables, and what the score says of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from whichsun.models.ephemeris import earth_fixed_sun
from whichsun.models.geometry import Variant
from whichsun.models.place import Instants
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import Options, scored_models
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.problem import problem_of
from whichsun.sim.compare.quantities_predict import forecast
from whichsun.sim.outing import Observable, Outing, OutingSite

USNO = Path(__file__).parents[1] / "data" / "ephemeris" / "usno_riseset_2019.txt"
SPHERE, PLANE = "distant-sphere", "nearby-plane"


def foreseen(one: Observable, latitude: float, longitude: float = 0.0) -> float:
    """What the distant sphere foresees, deg or h."""
    data = data_of(Outing(OutingSite(latitude, longitude), (), (one,)))
    problem = problem_of(get_model(SPHERE), Variant(), data, "howard-1984")
    eta = np.zeros((1, len(problem.nuisances.sigma)))
    return float(forecast(problem, np.array([0.5]), eta).value[0, 0])


def declination(time: str) -> float:
    return float(earth_fixed_sun(Instants.from_utc(time)).declination)


@pytest.mark.parametrize("latitude", [60.0, 47.0, 23.0, 0.0, -15.0, -52.0])
@pytest.mark.parametrize("date", ["2024-03-20", "2024-06-10", "2024-12-01"])
def test_noon_altitude_by_the_hand_formula(latitude, date):
    """90 - |latitude - declination|, any textbook of navigation ("meridian passage"), from memory.

    Tolerance: the declination changes by up to 0.017 deg an hour and the Sun is highest within 17 min of mean noon
    (0.005 deg); refraction by Saemundsson's formula is added by hand; parallax (8.8") is left out (0.0025 deg); the
    highest point lies beside the meridian by less than 0.002 deg here.
    """
    true = 90 - abs(latitude - np.rad2deg(declination(f"{date}T12:00:00Z")))
    lifted = true + 1.02 / np.tan(np.deg2rad(true + 10.3 / (true + 5.11))) / 60
    got = foreseen(Observable("noon-altitude", 45.0, 0.1, (f"{date}T12:00:00Z",)), latitude)
    assert got == pytest.approx(lifted, abs=0.01)


@pytest.mark.parametrize("latitude", [60.0, 47.0, 23.0, 0.0, -33.0, -55.0])
@pytest.mark.parametrize("date", ["2024-03-20", "2024-05-10", "2024-11-30"])
def test_day_length_by_the_textbook_formula(latitude, date):
    """2 H / 15 with cos H = (sin h0 - sin(latitude) sin(declination)) / (cos cos), h0 = -50'.

    Meeus, Astronomical Algorithms, chapter 15 (from memory). Tolerance: the declination of noon stands for the whole
    day (below a minute at these latitudes at an equinox), the day of the apparent Sun is up to 30 s longer or
    shorter than 24 h, and the size of the disc differs by up to 0.3' from 16' (a few seconds): 1.2 minutes.
    """
    phi, delta = np.deg2rad(latitude), declination(f"{date}T12:00:00Z")
    cos_h = (np.sin(np.deg2rad(-50 / 60)) - np.sin(phi) * np.sin(delta)) / (np.cos(phi) * np.cos(delta))
    want = 2 * np.rad2deg(np.arccos(cos_h)) / 15
    got = foreseen(Observable("day-length", 12.0, 0.1, (f"{date}T12:00:00Z",)), latitude)
    assert got == pytest.approx(want, abs=0.02)


def published(longitude: int, latitude: int, date: str) -> tuple[str, str]:
    """Rise and set of a table, UT to the minute."""
    rows = [line.split() for line in USNO.read_text().splitlines() if not line.startswith("#")]
    found = {
        kind: time
        for lon, lat, time, kind in rows
        if (int(lon), int(lat)) == (longitude, latitude) and date in time
    }
    return found["r"].replace("Z", ":00Z"), found["s"].replace("Z", ":00Z")


@pytest.mark.parametrize(("longitude", "latitude", "date"), [(-81, 29, "2019-01-25"), (0, 60, "2019-03-14")])
def test_a_published_rise_and_set_are_those_of_the_distant_sphere(longitude, latitude, date):
    """US Naval Observatory tables (tests/data/ephemeris), rounded to the minute: a sigma of 20 s."""
    rise, fall = published(longitude, latitude, date)
    observables = (Observable("rise", 0.0, 20.0, (rise,)), Observable("set", 0.0, 20.0, (fall,)))
    outing = Outing(OutingSite(latitude, longitude), (), observables)
    _, scores, _ = scored_models(outing, None, Options(check=False, repairs=False))
    value = {score.model: score for score in scores}
    assert value[SPHERE].ln_evidence - value[PLANE].ln_evidence > 5
    fit = value[SPHERE].leader.fit
    assert fit is not None
    assert all(abs(one.z) < 3 for one in fit.quantities)
    plane = value[PLANE].leader.fit
    assert plane is not None
    assert all(np.isnan(one.z) for one in plane.quantities)  # its Sun never sets


def test_a_published_day_gives_its_latitude():
    """From a table's day length and noon alone: 29 N of a place at 29 N 81 W, 2019-01-25, table to the minute."""
    from whichsun.sim.compare.latitude import fit_latitude

    rise, fall = published(-81, 29, "2019-01-25")
    hours = (Instants.from_utc(fall).utc_days - Instants.from_utc(rise).utc_days) * 24
    data = data_of(
        Outing(OutingSite(0.0, -81.0), (), (Observable("day-length", float(hours), 0.01, (fall,)),))
    )
    found = fit_latitude(data, "howard-1984", np.random.default_rng(1))
    # a minute of day length is 0.15 deg of latitude on that day; refraction's own doubt adds 0.1
    assert found.fitted_deg == pytest.approx(29.0, abs=0.6)
    assert found.hemisphere == "north"

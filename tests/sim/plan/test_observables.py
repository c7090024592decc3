"""What else of a day is foreseen: against other code of ours, against published values, and through `score`."""

import importlib.util
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.place import Instants, Site, iso_utc, parse_utc, utc_days_of
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import Options
from whichsun.sim.compare.scores import score_outing
from whichsun.sim.daylight import local_noon, rise_set
from whichsun.sim.outing import Outing, OutingSite
from whichsun.sim.outing_observables import KINDS
from whichsun.sim.plan.methods import METHODS
from whichsun.sim.plan.observables import DayTimes, day_quantities, noon_time, shadow_ratio
from whichsun.sim.predicting import predict
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law

_spec = importlib.util.spec_from_file_location(
    "plan_quantities_help", Path(__file__).with_name("quantities_help.py")
)
assert _spec is not None
assert _spec.loader is not None
help_ = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(help_)
PLANE, SPHERE, row, the_day = help_.PLANE, help_.SPHERE, help_.row, help_.the_day

LAW = rotation_law(DEFAULT_LAW)


@pytest.mark.parametrize("name", [SPHERE, PLANE])
def test_numbers_are_those_of_predict(name):
    # predict and the score share the models, not the code that follows
    site, _, day, found = the_day()
    days = [*day.middles, day.noon]
    got = predict(get_model(name), Instants.from_utc_days(np.array(days)), site, law=LAW)["instants"]
    for place, which in enumerate(("morning", "evening")):
        for kind, key in (("altitude", "apparent_altitude_deg"), ("azimuth", "azimuth_deg")):
            one = next(r for r in found.rows if r.kind == kind and r.method.at == (which,))
            # the times of a sheet are whole seconds: half a second of the sky is 0.002 deg
            assert one.foreseen[name].value == pytest.approx(got[place][key], abs=0.003)
    width = row(found, "angular-diameter").foreseen[name].value
    assert width == pytest.approx(2 * got[2]["semidiameter_arcmin"] / 60, rel=1e-5)
    ratio = row(found, "angular-diameter-ratio").foreseen[name].value
    sizes = got[2]["semidiameter_arcmin"] / got[0]["semidiameter_arcmin"]
    assert ratio == pytest.approx(sizes, rel=1e-4)
    assert found.noon.highest[name] == pytest.approx(day.noon, abs=120 / 86400)
    # the highest Sun is at most a hair above that at the transit
    top = row(found, "noon-altitude").foreseen[name].value
    assert 0 <= top - got[2]["apparent_altitude_deg"] + 1e-9 < 0.001


def test_the_drift_turns_like_the_celestial_north():
    # A distant Sun drifts along its parallel, at right angles to celestial north but for the day's change of
    # declination (0.4 deg a day against 360 of the turn: 0.06 deg of direction, nearly the same at both times).
    site, _, day, found = the_day()
    turn = predict(get_model(SPHERE), Instants.from_utc_days(np.array(day.middles)), site, law=LAW)["turn"]
    assert row(found, "drift-direction").foreseen[SPHERE].value == pytest.approx(
        turn["celestial_north_deg"], abs=0.01
    )


def test_rise_and_set_are_the_days():
    site, _, day, found = the_day()
    whole = rise_set(day.date, site)
    # refraction by formula instead of the almanacs' 34': 0.8 arcmin here, 7 arcmin of altitude a minute at 60 N
    for kind, then in (("rise", whole.rise_utc_days), ("set", whole.set_utc_days)):
        assert row(found, kind).foreseen[SPHERE].value == pytest.approx(float(then), abs=15 / 86400)
    length = row(found, "day-length").foreseen[SPHERE].value
    rise, fall = (row(found, kind).foreseen[SPHERE].value for kind in ("rise", "set"))
    assert length == pytest.approx((fall - rise) * 24, abs=1e-3)


@pytest.mark.parametrize(
    ("latitude", "date", "rise", "fall"),
    [
        # Reda & Andreas 2004 (NREL SPA), table of rise and set times at longitude 0, UT
        (35.0, "1994-01-02", "07:08:12", "16:59:55"),
        (-35.0, "1996-07-05", "07:08:15", "17:01:04"),
        (-35.0, "2004-12-04", "04:38:57", "19:02:02"),
    ],
)
def test_rise_and_set_against_published_times(latitude, date, rise, fall):
    # The table has the centre at -50' flat, we the upper limb at the formula's refraction and the day's own
    # semidiameter: up to 1.2 arcmin together, at 35 deg 12 arcmin a minute: 6 s
    _, _, _, found = the_day(latitude, 0.0, date, "UTC")
    for kind, time in (("rise", rise), ("set", fall)):
        expected = utc_days_of(parse_utc(f"{date}T{time}Z"))
        assert row(found, kind).foreseen[SPHERE].value == pytest.approx(expected, abs=6 / 86400)


def test_equation_of_time_against_meeus():
    # Meeus, Astronomical Algorithms, ex. 28.a: 1992-10-13 0h TD, +13m 42.6s (as quoted in the tests of two
    # libraries). Longitude 180 has its noon then, 14 minutes early, in which it changes by 0.1 s; UT for TD: 0.01 s.
    site = Site(0.0, 180.0)
    noon = float(local_noon("1992-10-13", site))
    assert noon_time(site, noon).equation_of_time_min * 60 == pytest.approx(13 * 60 + 42.6, abs=0.4)


@pytest.mark.parametrize(("longitude", "minutes"), [(11.0, -44.0), (-60.0, 240.0), (150.0, -600.0)])
def test_noon_by_the_clock_adds_up(longitude, minutes):
    site = Site(10.0, longitude)
    noon = float(local_noon("2027-03-20", site))
    found = noon_time(site, noon)
    assert found.longitude_min == pytest.approx(minutes)  # 4 minutes a degree, east earlier
    since_noon_utc = ((noon - math.floor(noon) + 0.5) % 1 - 0.5) * 1440  # UTC days begin at 12:00
    assert found.longitude_min - found.equation_of_time_min == pytest.approx(since_noon_utc, abs=1e-6)


def test_shadow():
    assert shadow_ratio(45.0) == pytest.approx(1.0)
    assert shadow_ratio(30.0) == pytest.approx(math.sqrt(3))
    assert math.isnan(shadow_ratio(-1.0))


def test_a_sun_that_never_sets_has_no_rise_and_says_so():
    _, _, _, found = the_day()
    for kind in ("rise", "set", "rise-azimuth", "set-azimuth"):
        one = row(found, kind)
        assert math.isnan(one.foreseen[PLANE].value)
        assert "never sets" in one.foreseen[PLANE].why
        assert math.isfinite(one.foreseen[SPHERE].value)
        assert one.foreseen[SPHERE].why == ""
        assert math.isnan(one.apart(SPHERE, PLANE))
    assert row(found, "day-length").foreseen[PLANE].value == 24.0


def test_polar_night_says_so():
    _, _, _, found = the_day(75.0, 20.0, "2026-12-21", "UTC+1", (SPHERE,))
    assert "does not rise" in row(found, "rise").foreseen[SPHERE].why
    assert row(found, "day-length").foreseen[SPHERE].value == 0.0
    assert row(found, "noon-altitude").foreseen[SPHERE].value < 0
    assert not [one for one in found.rows if one.kind in ("altitude", "azimuth")]  # no windows


def test_models_stand_apart_by_the_whole_uncertainty():
    _, _, _, found = the_day()
    one = row(found, "noon-altitude")
    a, b = (one.foreseen[name] for name in (SPHERE, PLANE))
    common = max(a.common_sigma, b.common_sigma)
    assert one.apart(SPHERE, PLANE) == pytest.approx(abs(a.value - b.value) / math.hypot(0.5, common))
    # at the horizon refraction counts: a quarter of it, tens of seconds at least
    rise = row(found, "rise")
    assert rise.foreseen[SPHERE].common_sigma > rise.observable.sigma
    assert one.apart(SPHERE, SPHERE) == 0.0


def test_azimuths_apart_go_the_short_way():
    _, _, _, found = the_day()
    one = replace(
        row(found, "azimuth"),
        foreseen={
            "a": replace(row(found, "azimuth").foreseen[SPHERE], value=359.0, common_sigma=0.0),
            "b": replace(row(found, "azimuth").foreseen[SPHERE], value=1.0, common_sigma=0.0),
        },
    )
    assert one.apart("a", "b") == pytest.approx(2.0 / one.observable.sigma)


def test_a_dipping_horizon_goes_into_the_outing():
    site, _, day, level = the_day()
    times = DayTimes(day.noon, day.rise, day.set, *day.middles)
    dipping = day_quantities([(get_model(SPHERE), {})], site, times, law=DEFAULT_LAW, horizon_deg=-0.5)
    assert row(dipping, "rise").observable.horizon_deg == -0.5
    assert row(dipping, "noon-altitude").observable.horizon_deg is None
    earlier = row(level, "rise").foreseen[SPHERE].value - row(dipping, "rise").foreseen[SPHERE].value
    # half a degree and 4' of refraction more, at 7.5 arcmin a minute
    assert earlier * 1440 == pytest.approx(34.5 / 7.5, abs=0.7)


def test_methods_are_kinds_that_score_accepts():
    for method in METHODS:
        assert method.kind in KINDS
        assert len(method.at) in KINDS[method.kind].times
        assert 0 < method.sigma <= KINDS[method.kind].most_sigma
        assert "common practice, no source" in method.source


@pytest.mark.slow
@pytest.mark.parametrize("truth", [SPHERE, PLANE])
def test_a_sheet_filled_in_is_accepted_and_its_model_fits(truth):
    # Every measurement of the sheet but those that say another one again, with the values of one model.
    site, _, _, found = the_day()
    twice = {"day-length", "angular-diameter"}
    filled = [
        one.measured(one.foreseen[truth].value)
        for one in found.rows
        if one.kind not in twice and math.isfinite(one.foreseen[truth].value)
    ]
    outing = Outing(OutingSite(float(site.latitude_deg), float(site.longitude_deg)), (), tuple(filled))
    result = score_outing(
        outing, (), Options(seed=1, check=False, repairs=False, rough=True), drivers=False
    ).to_json()
    rows = {one["model"]: one for one in result["models"] if one["variant"] is None}
    other = PLANE if truth == SPHERE else SPHERE
    assert result["verdict"]["model"] == truth
    assert rows[truth]["ln_evidence"] > rows[other]["ln_evidence"] + 10
    assert rows[truth]["chi2"] < 1  # without noise nothing is left over


def test_measured_puts_a_time_where_a_time_belongs():
    _, _, _, found = the_day()
    rise = row(found, "rise")
    filled = rise.measured(rise.foreseen[SPHERE].value)
    assert filled.time_utc == (iso_utc(rise.foreseen[SPHERE].value),)
    assert filled.value == 0.0

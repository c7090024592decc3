"""What a day is going to show: which day is simulated, with which photos, and what is said of it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.place import Site
from whichsun.models.registry import get_model
from whichsun.sim.cli.main import main
from whichsun.sim.compare import power
from whichsun.sim.compare.contest import Options
from whichsun.sim.compare.drawing import Design
from whichsun.sim.outing import OutingSite
from whichsun.sim.plan.days import iso
from whichsun.sim.plan.expected import expect, farthest_day
from whichsun.sim.plan.plan import dates_of, make_plan
from whichsun.sim.plan.turning import separation
from whichsun.sim.plan.zones import nautical_zone
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law

LAW = rotation_law(DEFAULT_LAW)
PAIR = [(get_model(name), {}) for name in power.COMPARED]
SETTINGS = {"spots": 4.0, "place_sigma": 0.004, "roll_sigma_deg": 0.7, "mount": "level-tripod"}


def plan_of(latitude, dates):
    return make_plan(Site(latitude, 10.0), dates_of(dates), nautical_zone(10.0), PAIR, law=LAW)


def test_separation_is_nothing_of_a_model_from_itself():
    plan = plan_of(50, "2026-04-10")
    day = plan.days[0]
    assert separation(day, plan.site, PAIR[0], PAIR[0], LAW) == 0
    there, back = (separation(day, plan.site, *pair, LAW) for pair in (PAIR, PAIR[::-1]))
    assert there == pytest.approx(back)
    assert 0.1 < there < 2


def test_separation_of_a_sun_ever_farther_away():
    # The nearby sphere is the distant one in the limit.
    plan = plan_of(50, "2026-04-10")
    near = get_model("nearby-sphere")
    apart = [
        separation(plan.days[0], plan.site, PAIR[0], (near, {"distance_km": distance}), LAW)
        for distance in (1e5, 1e6, 1e7)
    ]
    assert apart[0] > apart[1] > apart[2]
    assert apart[1] / apart[2] == pytest.approx(10, rel=0.2)


def test_the_day_farthest_apart_is_taken_and_days_without_windows_are_not():
    plan = plan_of(69, "2026-11-20..2026-12-10")  # the Sun goes under for the winter
    assert plan.days[-1].middles is None
    farthest = farthest_day(plan, PAIR)
    able = [day for day in plan.days if day.middles]
    apart = [separation(day, plan.site, *PAIR, LAW) for day in able]
    assert farthest is able[int(np.argmax(apart))]
    assert farthest_day(plan_of(80, "2026-12-20"), PAIR) is None


def test_it_is_what_power_says_of_photos_at_the_middles():
    plan = plan_of(50, "2026-04-10")
    day = plan.days[0]
    options = Options(seed=3)
    got = expect(plan, day, power.COMPARED, PAIR, options=options, outings=1, processes=1, **SETTINGS)
    times = tuple(iso(moment) for moment in day.middles)
    assert got.design == Design(OutingSite(50, 10, 0), times, 4.0, 0.004, 0.7)
    same = power.expected_evidence(got.design, power.COMPARED, outings=1, options=options)
    assert got.found.to_json() == same.to_json()
    factor = same.ln_bayes_factors("distant-sphere", "nearby-plane")
    assert got.medians()["distant-sphere/nearby-plane"] == pytest.approx(float(np.median(factor)))
    assert set(got.medians()) == {"distant-sphere/nearby-plane", "nearby-plane/distant-sphere"}
    assert got.advice is None


class Simulated:
    """Stands in for the simulations: remembers the designs, and says that the last one is the best."""

    def __init__(self):
        self.designs = []

    def __call__(self, design, models, *, outings, options, processes, progress, scheduler=None):
        self.designs.append(design)
        gain = float(len(self.designs))
        trials = tuple(
            power.Trial(
                truth,
                {name: gain if name == truth else 0.0 for name in models},
                "favours" if gain > 5 else None,
                truth,
            )
            for truth in models
        )
        return power.ExpectedEvidence(design, tuple(models), trials)


def test_other_dates_are_among_what_may_help(monkeypatch):
    simulated = Simulated()
    monkeypatch.setattr(power, "expected_evidence", simulated)
    plan = plan_of(66, "2025-02-10")
    day = plan.days[0]
    got = expect(
        plan, day, power.COMPARED, PAIR, options=Options(), outings=1, what_if=True, processes=1, **SETTINGS
    )
    assert len(got.tips) == len(simulated.designs) - 1 == 6
    dates = [tip[14:24] for tip, _ in got.tips if tip.startswith("another date (20")]
    assert len(dates) == 2
    # Simulated last, and so the best here: the day with the photos closest together, near the winter solstice.
    assert got.tips[0][0].startswith(f"another date ({dates[0]}, ")
    closest, farthest = (plan_of(66, date).days[0] for date in dates)
    assert simulated.designs[-1].times_utc[0].startswith(dates[0])
    assert closest.date.month in (12, 1)
    assert separation(farthest, plan.site, *PAIR, LAW) > separation(day, plan.site, *PAIR, LAW)
    assert "What would raise it most: another date" in got.advice


def run(capsys, *arguments):
    base = ["plan", "--site", "50,10", "--zone", "UTC+1", "--outings", "1", "--processes", "1"]
    assert main([*base, *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_command_simulates_all_one_or_none(capsys, monkeypatch):
    monkeypatch.setattr(power, "expected_evidence", Simulated())
    two = ("--dates", "2026-04-10..2026-04-11")
    every = run(capsys, *two, "--evidence", "all")["days"]
    assert all(day["evidence"]["outings"] == 1 and day["decides"] in (True, False) for day in every)
    assert [day["evidence"]["at_utc"] for day in every] == [
        [window["middle_utc"] for window in day["windows"]] for day in every
    ]
    single = run(capsys, *two)["days"]
    assert sum(day["evidence"] is not None for day in single) == 1
    assert sum(day["decides"] is None for day in single) == 1
    none = run(capsys, *two, "--evidence", "none")["days"]
    assert all(day["evidence"] is day["expected_ln_bayes_factor"] is day["decides"] is None for day in none)


def test_own_model_takes_part_like_any_other(capsys):
    own = f"{Path(__file__).parents[3] / 'scenarios' / 'own_model.py'}:UprightSun"
    got = run(capsys, "--dates", "2026-04-10", "--model", own)
    (day,) = got["days"]
    name = next(iter(day["turns"]))
    assert name not in power.COMPARED
    assert set(day["expected_ln_bayes_factor"]) == {f"{name}/distant-sphere", f"distant-sphere/{name}"}


def test_days_without_windows_cannot_decide(capsys):
    arguments = ["plan", "--site", "80,0", "--dates", "2026-12-01", "--zone", "UTC"]
    assert main([*arguments, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["days"][0]["decides"] is False
    assert main(arguments) == 0
    text = capsys.readouterr().out
    assert "no outing of two photos can decide" in text
    assert "Before you photograph the Sun" in text

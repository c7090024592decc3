"""What is said about a day: one place for each case, and silence where there is nothing to say."""

from __future__ import annotations

import datetime as dt

import pytest
from whichsun.models.place import Site
from whichsun.models.registry import get_model
from whichsun.sim.plan.plan import dates_of, make_plan
from whichsun.sim.plan.zones import nautical_zone, zone_named
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law

LAW = rotation_law(DEFAULT_LAW)


def day_at(latitude, date, *, longitude=0.0, zone=None, models=("distant-sphere",), **options):
    site = Site(latitude, longitude)
    clock = zone_named(zone) if zone else nautical_zone(longitude)
    chosen = [(get_model(name), {}) for name in models]
    return make_plan(site, dates_of(date), clock, chosen, law=LAW, **options).days[0]


@pytest.mark.parametrize(
    ("latitude", "date", "words"),
    [
        (70, "2026-06-18", "does not set on this day: at its lowest its centre appears at 3.6 deg"),
        (70, "2026-06-18", "counted from and to its lowest"),
        (78, "2026-12-01", "No photo is possible"),
        (60, "2026-12-21", "morning and evening meet at noon"),
        (60, "2026-12-21", "Only 2.6 h lie between"),
        (89, "2026-06-21", "Give --altitudes 1:32"),
        (67.2, "2026-12-05", "never comes above 0.8 deg, below the limit of 1 deg"),
        (66.4, "2026-12-21", "the air decides whether it rises or sets"),
        (67, "2026-05-25", "flat angle"),
        (62, "2026-06-21", "Twilight lasts all night"),
        (3, "2026-03-28", "deg from the zenith"),
        (10, "2026-06-21", "more than half a circle, 197 deg anticlockwise"),
    ],
)
def test_said(latitude, date, words):
    assert words in " ".join(day_at(latitude, date).notes)


def test_no_flat_angle_where_there_is_none():
    assert "flat angle" not in " ".join(day_at(60, "2026-12-21").notes)


def test_nothing_to_say():
    assert day_at(48, "2026-03-20").notes == ()


def test_half_circle_is_named_by_its_way():
    # Tropics with a Sun that culminates on the pole's side: horizon to horizon 360 - 2 acos(sin lat/cos dec) deg,
    # 201.8 at 10 N and declination 23.4, anticlockwise (checks: disc orientation). A few degrees above the horizon the
    # angle differs by a few degrees.
    (turn,) = day_at(10, "2026-06-21").turns
    assert turn.unwrapped_axis_deg == pytest.approx(201.8, abs=6)
    assert turn.axis_deg == pytest.approx(turn.unwrapped_axis_deg - 360)
    (note,) = day_at(10, "2026-06-21").notes
    assert "anticlockwise" in note


def test_torn_pattern_is_told_of_the_model_that_tears_it():
    day = day_at(48, "2026-03-20", models=("distant-sphere", "nearby-plane"))
    torn = [note for note in day.notes if "do not turn as a whole" in note]
    assert len(torn) == 1
    assert torn[0].startswith("Under nearby-plane")


def test_clocks_that_change_between_the_windows():
    # Troll, Antarctica (IANA file antarctica): from UTC+0 to UTC+2 at 01:00 UTC on the last Sunday of March. With a
    # window round the site's midnight the change falls between the two.
    day = day_at(-72, "2027-03-28", longitude=175, zone="Antarctica/Troll", low_deg=0, high_deg=30)
    assert any("change between the two windows" in note for note in day.notes)


def test_window_on_another_date():
    day = day_at(70, "2026-06-18", longitude=23.7, zone="Europe/Oslo")
    assert any("evening window lies partly on 2026-06-19" in note for note in day.notes)
    assert day.date == dt.date(2026, 6, 18)

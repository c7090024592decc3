"""Which equinoxes and solstices a plan tells; their instants are checked in tests/outside."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.ephemeris import earth_fixed_sun
from whichsun.models.errors import InputError
from whichsun.models.place import Instants, parse_utc, utc_days_of
from whichsun.sim.plan.seasons import NAMES, seasons, seasons_near

pytestmark = pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")  # far years


def days(text):
    return utc_days_of(parse_utc(f"{text}T12:00Z"))


@pytest.mark.parametrize(
    ("first", "last", "names"),
    [
        ("2026-01-05", "2026-01-06", ["December solstice", "March equinox"]),
        (
            "2026-03-01",
            "2026-03-30",
            ["December solstice", "March equinox", "June solstice", "September equinox"],
        ),
        ("2026-12-20", "2026-12-30", ["September equinox", "December solstice", "March equinox"]),
        ("2026-09-01", "2026-09-02", ["June solstice", "September equinox"]),
    ],
)
def test_from_the_one_before_to_the_next_equinox(first, last, names):
    found = seasons_near(days(first), days(last))
    assert [season.name for season in found] == names
    assert found[0].utc_days < days(first)
    assert found[-1].utc_days >= days(last)
    assert found[-1].is_equinox


@settings(max_examples=25, deadline=None)
@given(st.integers(1901, 2099))
def test_declination_vanishes_at_the_equinoxes_and_is_extreme_at_the_solstices(year):
    # The Sun's latitude stays below 1.2 arcsec and with it its declination at an equinox. An hour before and after a
    # solstice the declination is the same but for that; its rate grows there by 25 arcsec a day in each day.
    four = seasons(year)
    assert tuple(season.name for season in four) == NAMES
    moments = [season.utc_days for season in four]
    declination = earth_fixed_sun(
        Instants.from_utc_days([*moments, moments[1] - 1 / 24, moments[1] + 1 / 24])
    ).declination
    assert abs(declination[0]) < 1.3 / 206265
    assert abs(declination[2]) < 1.3 / 206265
    assert declination[1] > 0.405
    assert declination[3] < -0.405
    assert abs(declination[5] - declination[4]) < 1.5 / 206265


def test_years_out_of_reach():
    with pytest.raises(InputError, match="between the years 1601 and 2399"):
        seasons(2400)

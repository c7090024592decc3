"""Latitude and hemisphere from the photos alone, from any date and altitude, not only the equinox at the horizon."""

import numpy as np
import pytest
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.latitude import fit_latitude

LAW = "howard-1984"
# day, times (local, on the meridian of Greenwich), latitude: solstices, mid-morning to mid-afternoon, noon passed on
# the pole's side (12 N in June), a high northern summer and a southern one
CASES = (
    ("2024-06-21", "08:40", "15:30", 47.0),
    ("2024-06-21", "07:30", "14:10", 12.0),
    ("2024-06-21", "05:00", "19:00", 62.0),
    ("2024-12-21", "09:10", "14:40", 38.0),
    ("2024-12-21", "08:00", "15:20", -34.0),
    ("2024-12-21", "05:30", "18:20", -52.0),
    ("2024-03-20", "09:00", "15:00", -20.0),
    ("2024-09-10", "08:20", "16:40", 55.0),
)


@pytest.fixture(scope="module")
def fits(request):
    from importlib.util import module_from_spec, spec_from_file_location

    spec = spec_from_file_location("compare_conftest", request.path.parent / "conftest.py")
    assert spec is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    found = []
    for seed, (day, early, late, latitude) in enumerate(CASES):
        times = (f"{day}T{early}:00Z", f"{day}T{late}:00Z")
        rng = np.random.default_rng([61, seed])
        outing = module.draw_outing(rng, site=(latitude, 0.0), times=times, spots=24, clock_sigma_s=60.0)
        found.append((latitude, fit_latitude(data_of(outing), LAW, np.random.default_rng(1))))
    return found


def test_the_interval_covers_as_often_as_it_says(fits):
    # 95 % each: two or more misses of 8 have a chance of 5.7 %, three or more of 0.6 %
    missed = [latitude for latitude, fit in fits if not fit.low95_deg <= latitude <= fit.high95_deg]
    assert len(missed) <= 2


def test_the_hemisphere_is_found_with_a_probability_that_can_be_trusted(fits):
    chances = []
    for latitude, fit in fits:
        north = fit.hemisphere_probability if fit.hemisphere == "north" else 1 - fit.hemisphere_probability
        chances.append(north if latitude > 0 else 1 - north)
    assert np.mean(chances) > 0.8
    assert min(chances) > 0.01  # never sure of the wrong one


def test_most_are_known_to_a_few_degrees(fits):
    """A level of 0.7 degrees in each photo: half a degree of latitude at the horizon, more at mid-morning."""
    widths = [fit.width_deg for _, fit in fits if fit.known]
    assert len(widths) >= 7
    assert np.median(widths) < 8.0

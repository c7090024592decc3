"""Groups joined above three shots, and an outing of five."""

import numpy as np
import pytest
from whichsun.models.registry import get_model
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.grouping import joined_groups
from whichsun.sim.compare.problem import problem_of
from whichsun.sim.outing import Spot


def test_close_spots_become_their_weighted_centroid():
    spots = [
        Spot(1, 0.10, 0.0, 0.001, 0.001, area_msh=100.0),
        Spot(2, 0.13, 0.0, 0.001, 0.001, area_msh=200.0),
        Spot(3, -0.40, 0.3, 0.001, 0.001, area_msh=50.0),
    ]
    group, lone = joined_groups(spots)
    assert (group.id, group.area_msh) == (2, 300.0)
    assert group.x == pytest.approx(0.12)
    assert group.sigma_x == pytest.approx(np.hypot(0.001, np.deg2rad(0.3)))
    assert lone == spots[2]


def test_five_shots(outing_of):
    times = tuple(f"2024-03-25T{hour:02d}:20:00Z" for hour in (7, 9, 12, 15, 17))
    outing = outing_of(np.random.default_rng(51), times=times, spots=10)
    data = data_of(outing)
    values = {}
    for name in ("distant-sphere", "nearby-plane"):
        model = get_model(name)
        problem = problem_of(model, model.variants[0], data, "howard-1984")
        values[name] = integrate(problem, np.random.default_rng(0))
    assert values["distant-sphere"].error < 0.1
    assert values["distant-sphere"].ln_evidence > values["nearby-plane"].ln_evidence + 20

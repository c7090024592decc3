"""Crosses for what each model expects of the very spots that were measured."""

import numpy as np
from whichsun.render.curves import draw_sweep

ROWS = [
    {"latitude_deg": float(x), "pattern_turn_deg": -2.0 * (90 - x), "pattern_visible_fraction": 1.0}
    for x in range(10, 70, 10)
]


def crosses(measurement):
    artists = draw_sweep({"distant-sphere": ROWS, "nearby-plane": ROWS}, measurement)
    return [a for a in artists if getattr(a, "get_marker", lambda: None)() == "X"]


def test_a_cross_per_model_that_knows_the_turn():
    point = {"latitude_deg": 46.0, "turn_deg": -88.0, "sigma_deg": 1.0}
    drawn = crosses({**point, "expected": {"distant-sphere": -87.0, "nearby-plane": float("nan")}})
    assert [float(np.ravel(a.get_ydata())[0]) for a in drawn] == [-87.0]
    assert crosses(point) == []
    assert crosses({**point, "latitude_deg": None, "expected": {"distant-sphere": -87.0}}) == []

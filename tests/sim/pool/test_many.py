"""What a person sees of a pool of very many rows."""

from __future__ import annotations

import numpy as np
from matplotlib.image import AxesImage
from whichsun.render.pooled import MANY, draw_pool
from whichsun.sim.pool.text import tail_lines


def panel(count):
    rng = np.random.default_rng(1)
    return {
        "model": "distant-sphere",
        "rows": [{"latitude_deg": float(x), "pattern_turn_deg": float(-x)} for x in range(-80, 81, 10)],
        "words": "a model",
        "latitude_deg": np.linspace(-60, 60, count),
        "residual_deg": np.clip(rng.normal(0, 3, count), -9, 9),
        "suspect": np.arange(count) < count // 2,
        "averaged": np.zeros(count, dtype=bool),
    }


def images(count):
    artists = draw_pool([panel(count)])
    return [artist for artist in artists if isinstance(artist, AxesImage)]


def test_many_angles_are_shaded_along_the_curve():
    assert not images(MANY)
    shades = images(MANY + 1)
    assert len(shades) == 2
    # Of those that are no suspects: northern, turns below 0.
    alpha = np.asarray(shades[0].get_array())[..., 3]
    turn, latitude = np.nonzero(alpha)
    assert 0.1 < alpha[turn, latitude].min() <= alpha.max() <= 0.7 + 1e-12
    assert np.all(np.abs((turn + 0.5) * 3 - 180 + (latitude + 0.5) - 90) < 9 + 3)  # cells of 3 and 1 degrees
    assert np.all(latitude >= 89)


def test_suspicions_beyond_the_table_are_counted_by_kind():
    sign, twice = {"flags": [{"kind": "sign"}]}, {"flags": [{"kind": "sign"}, {"kind": "duplicate"}]}
    result = {"submissions": [sign, twice, {"flags": []}], "refused": []}
    assert tail_lines(result, 1, 2) == ["... and 1 more; --json lists all. In all: sign 2, duplicate 1."]
    assert tail_lines(result, 0, 3) == []

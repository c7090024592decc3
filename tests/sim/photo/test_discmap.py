"""The map between pixels and the disc frame."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from whichsun.sim.photo.discmap import DiscMap

angles = st.floats(-np.pi, np.pi)


@given(angles, angles, st.booleans(), st.floats(0.75, 1.0), st.floats(0, 0.03))
def test_there_and_back(roll, tilt, mirrored, ratio, bend):
    disc = DiscMap(500.3, 400.7, 300.0, 300 * ratio, 300 * bend, roll, tilt, mirrored)
    rng = np.random.default_rng(1)
    radius, angle = np.sqrt(rng.uniform(0, 1, 50)), rng.uniform(0, 2 * np.pi, 50)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    back = disc.to_disc(*disc.to_pixels(x, y))
    np.testing.assert_allclose(back, (x, y), atol=1e-9)


def test_the_roll_turns_vertex_angles_by_itself():
    """V_true = V_picture + roll, anticlockwise positive."""
    flat = DiscMap(0, 0, 100, 100, 0)
    for roll in (-170.0, -20.0, 3.0, 95.0):
        rolled = DiscMap(0, 0, 100, 100, 0, np.deg2rad(roll))
        x, y = flat.to_disc(np.array(30.0), np.array(-50.0))
        u, v = rolled.to_disc(np.array(30.0), np.array(-50.0))
        turned = np.rad2deg(np.arctan2(-u, v) - np.arctan2(-x, y))
        assert (turned - roll + 180) % 360 - 180 == pytest.approx(0, abs=1e-9)


def test_up_is_up_and_a_mirror_swaps_left_and_right():
    disc = DiscMap(10, 20, 100, 100, 0)
    assert disc.to_pixels(np.array(0.0), np.array(0.5)) == pytest.approx((10, -30))
    assert disc.to_pixels(np.array(0.5), np.array(0.0)) == pytest.approx((60, 20))
    mirrored = DiscMap(10, 20, 100, 100, 0, mirrored=True)
    assert mirrored.to_pixels(np.array(0.5), np.array(0.0)) == pytest.approx((-40, 20))


def test_jacobian_matches_the_map():
    disc = DiscMap(500, 400, 300, 270, 6, 0.3, 0.1, True)
    jacobian = disc.jacobian(0.4, -0.5)
    column, row = disc.to_pixels(np.array(0.4), np.array(-0.5))
    step = np.array([0.3, -0.2])
    moved = np.array(disc.to_disc(column + step[0], row + step[1]))
    np.testing.assert_allclose(moved - [0.4, -0.5], jacobian @ step, atol=1e-7)

"""Modes are reached from afar in few rounds, and a far move that leads down is taken back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from whichsun.sim.pool.climbing import MOST_SCALE, Mode, climbed, narrowed, stencil

BOUNDS = np.array(MOST_SCALE[1:])


def climb(mode, function, rounds):
    """Modes of the rounds, the first being `mode`."""
    modes = [mode]
    for _ in range(rounds):
        points = stencil(modes[-1])
        modes.append(climbed(modes[-1], points, function(points), BOUNDS))
    return modes


def start(place, scale):
    scale = np.array(scale)
    return Mode(np.array(place), scale, np.diag(scale**2), -np.inf)


def test_top_of_a_parabola_in_one_move_and_its_integral():
    sigma = np.array([0.01, 0.2])

    def parabola(points):
        return 5.0 - 0.5 * (((points - [0.03, -0.1]) / sigma) ** 2).sum(axis=1)

    modes = climb(start([0.015, 0.1], sigma), parabola, 2)
    assert modes[1].place == pytest.approx([0.03, -0.1], abs=1e-9)
    assert modes[2].settled
    assert modes[2].ln_mass == pytest.approx(5 + np.log(2 * np.pi * sigma.prod()), abs=1e-9)


def test_more_rows_are_followed_as_far_as_the_mode_moved():
    """A hundred times as many rows make a mode ten times as narrow; its top lies thirty of the new widths away."""

    def parabola(points):
        return -0.5 * (((points - [0.03, 0.0]) / [0.001, 0.02]) ** 2).sum(axis=1)

    known = replace(start([0.0, 0.0], [0.01, 0.2]), settled=True)
    wide = narrowed(known, 100)
    assert wide.scale == pytest.approx([0.001, 0.02])
    assert climb(wide, parabola, 2)[2].place == pytest.approx([0.03, 0.0], abs=1e-9)
    # What had not held still is trusted less: three steps along each axis at first, then six, twelve, twenty-four.
    careful = climb(narrowed(replace(known, settled=False), 100), parabola, 4)
    assert 0.003 <= careful[1].place[0] <= 0.003 * np.sqrt(2)  # round curvature: any axes will do
    assert 0.006 <= careful[2].place[0] - careful[1].place[0] <= 0.006 * np.sqrt(2)
    assert careful[4].place[0] == pytest.approx(0.03, abs=1e-9)


def test_a_move_that_led_down_is_taken_back_to_a_quarter():
    """A slope that ends in a cliff: the parabola promises more beyond it."""

    def cliff(points):
        x = points[:, 0] / 0.01
        return np.where(x < 5, x - 0.005 * x**2, -100 - x) - 0.5 * (points[:, 1] / 0.2) ** 2

    far = replace(start([0.0, 0.0], [0.01, 0.2]), reach=12.0)
    modes = climb(far, cliff, 3)
    assert modes[1].place == pytest.approx([0.12, 0.0], abs=1e-9)
    assert modes[2].place == pytest.approx([0.03, 0.0], abs=1e-9)
    assert modes[2].height == pytest.approx(0.0)  # of where it came from, until the new place is looked at
    assert modes[3].height == pytest.approx(3 - 0.005 * 9)
    assert modes[3].reach < 12

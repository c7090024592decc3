"""The ground before the sky: level or a ridge, its edge area-sampled."""

from __future__ import annotations

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.render.frame import PictureFrame
from whichsun.render.ground import Ground, cover_by_ground

FRAME = PictureFrame(120, 90, (61.3, 40.2), 30.0, 12.0)


@pytest.mark.parametrize("ridge", [0.0, 1.5])
def test_cover_against_supersampling(ridge):
    """16 x 16 samples a pixel: 1 / 32 of the step of 0.75, and what the edge bends within a pixel."""
    ground = Ground(-0.4, ridge, 20.0, seed=3, light=0.25)
    image = np.ones((90, 120, 3), np.float32)
    cover_by_ground(image, FRAME, ground)
    fine = (np.arange(16) + 0.5) / 16 - 0.5
    rows = (np.arange(90)[:, None] + fine).ravel()
    columns = (np.arange(120)[:, None] + fine).ravel()
    x, y = FRAME.to_disc(columns[None, :], rows[:, None])
    light = np.where(y > ground.skyline(x), 1.0, 0.25).reshape(90, 16, 120, 16).mean(axis=(1, 3))
    assert np.max(np.abs(image[..., 1] - light)) < 0.025
    assert np.mean(image == 0.25) > 0.1
    assert np.array_equal(image[..., 0], image[..., 2])  # neutral


def test_the_ridge_lies_between_the_horizon_and_its_height_and_follows_its_seed():
    x = np.linspace(-40, 40, 4001)
    ridges = [Ground(-2.0, 1.5, 6.0, seed).skyline(x) for seed in (1, 1, 2)]
    assert np.array_equal(ridges[0], ridges[1])
    assert np.max(np.abs(ridges[0] - ridges[2])) > 0.3
    for ridge in ridges:
        assert np.all((ridge >= -2.0) & (ridge <= -0.5))
        assert np.ptp(ridge) > 0.4
    assert np.all(Ground(-2.0).skyline(x) == -2.0)


@pytest.mark.parametrize("keywords", [{"ridge": -1.0}, {"width": 0.0}, {"light": 2.0}])
def test_bad_input(keywords):
    with pytest.raises(InputError, match="must be"):
        Ground(0.0, **keywords)

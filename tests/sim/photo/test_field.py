"""The quick ways of the detection's field against the plain ones of numpy and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from whichsun.sim.photo.background import Background, fit_background
from whichsun.sim.photo.coarse import _median_of_nine
from whichsun.sim.photo.field import _block_light
from whichsun.sim.photo.load import linear_table

RNG = np.random.default_rng(7)


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("step", [1, 2, 3])
def test_block_light_is_the_mean_of_linear_light(depth, step):
    codes = RNG.integers(0, np.iinfo(depth).max + 1, (12 * step, 17 * step)).astype(depth)
    table = linear_table(codes)
    plain = table[codes].reshape(12, step, 17, step).mean(axis=(1, 3))
    # Bytes hold light in steps of 1/65535.
    np.testing.assert_allclose(_block_light(codes, table, step), plain, atol=1 / 65535)


def test_median_of_nine_is_that_of_a_rank_filter():
    values = RNG.uniform(0, 255, (31, 47))
    np.testing.assert_allclose(_median_of_nine(values), ndimage.median_filter(values, 3), atol=2e-5)


def test_background_is_its_polynomial_times_its_grid():
    grid, c = RNG.uniform(0.9, 1.1, (24, 24)), RNG.uniform(-0.3, 0.3, 8)
    x, y = RNG.uniform(-0.7, 0.7, (2, 500))
    mu = np.sqrt(1 - x**2 - y**2)
    terms = np.stack([np.ones_like(mu), mu, mu**2, mu**3, x, y, x * mu, y * mu])
    places = np.stack([(y + 1) * 12 - 0.5, (x + 1) * 12 - 0.5])
    plain = (c @ terms) * ndimage.map_coordinates(grid, places, order=1, mode="nearest")
    np.testing.assert_allclose(Background(c, grid).at(x, y), plain, rtol=1e-10)


def test_fit_finds_limb_darkening_slope_and_a_smooth_stain():
    """A field large enough to be thinned, with a spot that must not pull the background."""
    y, x = np.mgrid[-1:1:601j, -1:1:601j]
    usable = np.hypot(x, y) < 0.97
    mu = np.sqrt(np.clip(1 - x**2 - y**2, 0, 1))
    light = (0.4 + 0.6 * mu) * (1 + 0.05 * x) * (1 + 0.03 * np.exp(-((x - 0.3) ** 2 + y**2) / 0.1))
    dark = np.hypot(x + 0.3, y - 0.2) < 0.03
    seen = np.where(dark, 0.3 * light, light) * (1 + 0.01 * RNG.standard_normal(light.shape))
    found = fit_background(seen, x, y, usable).at(x, y)
    inner = np.hypot(x, y) < 0.9
    # The goal is a depth good to a tenth of the least depth of a spot (10 %).
    assert np.max(np.abs(found[inner] / light[inner] - 1)) < 0.01

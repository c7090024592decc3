"""The quick ways of the detection's field against the plain ones of numpy and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from whichsun.sim.photo.background import Background, fit_background
from whichsun.sim.photo.grids import (
    block_light,
    block_means,
    blurred,
    every_eighth,
    grown,
    median_of_nine,
    spread,
)
from whichsun.sim.photo.load import linear_table

RNG = np.random.default_rng(7)


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("step", [1, 2, 3])
def test_block_light_is_the_mean_of_linear_light(depth, step):
    codes = RNG.integers(0, np.iinfo(depth).max + 1, (12 * step, 17 * step)).astype(depth)
    table = linear_table(codes)
    plain = table[codes].reshape(12, step, 17, step).mean(axis=(1, 3))
    np.testing.assert_allclose(block_light(codes, table, step), plain, atol=2e-7)


def test_median_of_nine_is_that_of_a_rank_filter():
    values = RNG.uniform(0, 255, (31, 47))
    np.testing.assert_allclose(median_of_nine(values), ndimage.median_filter(values, 3), atol=2e-5)


@pytest.mark.parametrize("step", [1, 2, 7, 12, 60])
def test_block_means_are_exact(step):
    codes = RNG.integers(0, 256, (125, 187)).astype(np.uint8)
    rows, columns = 125 // step, 187 // step
    plain = codes[: rows * step, : columns * step].reshape(rows, step, columns, step).mean(axis=(1, 3))
    np.testing.assert_allclose(block_means(codes, step), plain, rtol=1e-6)


@pytest.mark.parametrize("sigma", [0.8, 1.7])
def test_blurred_is_the_gaussian_filter_of_scipy(sigma):
    values = RNG.uniform(0, 1, (41, 67)).astype(np.float32)
    plain = ndimage.gaussian_filter(values, sigma, truncate=3)
    np.testing.assert_allclose(blurred(values, sigma), plain, atol=1e-6)


def test_grown_is_a_dilation():
    mask = RNG.uniform(0, 1, (31, 47)) > 0.9
    np.testing.assert_array_equal(grown(mask), ndimage.binary_dilation(mask))


@pytest.mark.parametrize("shape", [(1, 3), (16, 17), (50, 33)])
def test_spread_follows_a_plane_exactly_and_a_curve_closely(shape):
    rows, columns = every_eighth(shape[0])[:, None], every_eighth(shape[1])
    down, right = np.indices(shape)
    np.testing.assert_allclose(spread(0.3 * rows - 0.1 * columns, shape), 0.3 * down - 0.1 * right, atol=1e-5)
    # Straight pieces of 8 stay within 8^2 / 8 times the second derivative of a curve.
    off = np.abs(spread((rows - columns) ** 2 / 1e4, shape) - (down - right) ** 2 / 1e4)
    assert np.max(off) <= 4 * 8**2 / 8 * 2 / 1e4


def test_background_is_its_polynomial_times_its_grid():
    grid, c = RNG.uniform(0.9, 1.1, (24, 24)), RNG.uniform(-0.3, 0.3, 8)
    x, y = RNG.uniform(-0.7, 0.7, (2, 500))
    mu = np.sqrt(1 - x**2 - y**2)
    terms = np.stack([np.ones_like(mu), mu, mu**2, mu**3, x, y, x * mu, y * mu])
    places = np.stack([(y + 1) * 12 - 0.5, (x + 1) * 12 - 0.5])
    plain = (c @ terms) * ndimage.map_coordinates(grid, places, order=1, mode="nearest")
    np.testing.assert_allclose(Background(c, grid).at(x, y), plain, rtol=1e-10)


def test_background_over_a_field_is_that_at_its_places():
    """Within a fiftieth of the least depth that is looked for (10 %), the remainder being smoothed as it is."""
    grid = 1 + ndimage.gaussian_filter(0.01 * RNG.standard_normal((24, 24)), 0.8)
    c = np.array([0.3, 0.4, 0, 0.1, 0.02, -0.01, 0, 0])
    y, x = (z.astype(np.float32) for z in np.mgrid[-1:1:801j, -1:1:801j])
    background = Background(c, grid)
    inside = np.hypot(x, y) < 0.98
    light = background.at(x, y)
    np.testing.assert_allclose(background.ratio(light, x, y)[inside], 1, rtol=2e-3)


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

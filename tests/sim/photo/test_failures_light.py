"""Uneven or false light over a photo: halo, sky gradient, vignetting, rows, a clipped red channel.

Limb and spots are measured as without it. How much each may cost is from a trial of the method on drawn pictures
before it was built (500 px discs: sky gradient and vignetting 0.04 to 0.08 px of the centre, rows nothing): common
practice, no source.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import WhichsunWarning
from whichsun.render.tone import srgb_decode, srgb_encode
from whichsun.sim.outing import OutingSite
from whichsun.sim.photo.measure import PhotoOptions, measure_photo

SPOTS = [(0.4, 0.35), (-0.5, 0.1), (0.1, -0.6), (-0.2, -0.25)]
RADIUS = 200
OPTIONS = PhotoOptions(OutingSite(45, 10), "2026-03-20T06:00:00Z")


@pytest.fixture(scope="module")
def sun(take_photo, tmp_path_factory):
    """Linear light of a clean disc, distances from its middle in radii (x right, y up), and the truth."""
    path = tmp_path_factory.mktemp("light") / "sun.png"
    truth = take_photo(path, xy=SPOTS, spot_radius=0.045, radius_px=RADIUS, noise_dn=1.5, margin=1.6)
    with Image.open(path) as image:
        light = srgb_decode(np.asarray(image) / 255)
    rows, columns = np.indices(light.shape[:2])
    return light, (columns - truth.centre_px[0]) / RADIUS, (truth.centre_px[1] - rows) / RADIUS, truth


def measured(light, path):
    codes = np.rint(255 * srgb_encode(np.clip(light, 0, 1))).astype(np.uint8)
    Image.fromarray(codes).save(path, quality=92)
    return measure_photo(path, OPTIONS)


def check(photo, truth, centre_px):
    """Centre within `centre_px`, the radius within half a pixel, each spot within half a pixel and none else."""
    disc = photo.limb.disc
    assert np.hypot(disc.column - truth.centre_px[0], disc.row - truth.centre_px[1]) < centre_px
    assert disc.a == pytest.approx(RADIUS, abs=0.5)
    assert len(photo.shot.spots) == len(SPOTS)
    for x, y in SPOTS:
        assert min(np.hypot(spot.x - x, spot.y - y) for spot in photo.shot.spots) < 0.5 / RADIUS


@pytest.mark.parametrize(("share", "reach"), [(0.1, 0.3), (0.3, 0.15), (0.05, 1.0)])
def test_halo(sun, tmp_path, share, reach):
    """An aureole round the Sun, brightest at the limb, and its veil over the disc."""
    light, x, y, truth = sun
    glow = share * np.exp(-np.maximum(np.hypot(x, y) - 1, 0) / reach)
    photo = measured(0.75 * (light + glow[..., None] * light.max(axis=(0, 1))), tmp_path / "halo.jpg")
    check(photo, truth, 0.1)


@pytest.mark.parametrize(("right", "up"), [(0.1, 0.0), (-0.05, 0.1)])
def test_sky_gradient(sun, tmp_path, right, up):
    """Twilight that grows by `right` and `up` of the Sun's light across one radius."""
    light, x, y, truth = sun
    sky = np.clip(0.1 + right * x / 2 + up * y / 2, 0, None)
    photo = measured(light + 0.5 * sky[..., None] * light.max(axis=(0, 1)), tmp_path / "sky.jpg")
    check(photo, truth, 0.1)


@pytest.mark.parametrize("fall", [0.1, 0.3])
def test_vignetting(sun, tmp_path, fall):
    """Light that falls off from a point well beside the disc's middle."""
    light, x, y, truth = sun
    shade = 1 - fall * ((x - 0.8) ** 2 + (y + 0.5) ** 2) / 4
    check(measured(light * shade[..., None], tmp_path / "vignette.jpg"), truth, 0.1)


def test_rows_of_the_sensor(sun, tmp_path):
    """Rows that differ by 1 % rms, alike over the whole row."""
    light, _, _, truth = sun
    rows = np.random.default_rng(4).normal(1, 0.01, len(light))
    check(measured(light * rows[:, None, None], tmp_path / "rows.jpg"), truth, 0.05)


@pytest.mark.parametrize("exposure", [1.5, 3.0])
def test_a_clipped_red_channel_costs_no_spot(take_photo, tmp_path, exposure):
    """A deep red Sun whose red is white all over: the rest of the light still shows every spot."""
    truth = take_photo(
        tmp_path / "red.jpg",
        xy=SPOTS,
        spot_radius=0.045,
        radius_px=RADIUS,
        exposure=exposure,
        tint=(1, 0.25, 0.03),
    )
    with pytest.warns(WhichsunWarning, match="one colour is clipped"):
        photo = measure_photo(truth.path, OPTIONS)
    assert len(photo.shot.spots) == len(SPOTS)
    for x, y in SPOTS:
        assert min(np.hypot(spot.x - x, spot.y - y) for spot in photo.shot.spots) < 0.5 / RADIUS


def test_nothing_of_all_this_is_warned_of(sun, tmp_path):
    light, x, y, _ = sun
    with warnings.catch_warnings():
        warnings.simplefilter("error", WhichsunWarning)
        measured(light * (1 - 0.05 * (x - y))[..., None] / 1.2, tmp_path / "slope.jpg")

"""The limb on synthetic pictures of known truth: centre, axes, squash, roll, cut and faulty discs."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from whichsun.models.errors import PictureError
from whichsun.sim.photo.limb import limb_sigmas, measure_limb
from whichsun.sim.photo.load import load_photo


@pytest.mark.parametrize(
    ("radius", "altitude", "noise"), [(250, 60, 3), (60, 60, 3), (250, 1, 3), (200, 4, 6), (40, 10, 1)]
)
def test_centre_and_axes(take_photo, tmp_path, radius, altitude, noise):
    """Centre 0.03 px and radius 0.3 px on steady discs, the targets for noise up to 3 steps; 0.05 px at 6.

    The centre is the Sun's, not the outline's: at 1 degree the two lie 1 px apart here.
    """
    truth = take_photo(
        tmp_path / "sun.jpg", radius_px=radius, altitude_deg=altitude, noise_dn=noise, offset_px=(3.3, -2.6)
    )
    limb = measure_limb(load_photo(truth.path))
    allowed = 0.03 if noise <= 3 else 0.05
    assert limb.disc.column == pytest.approx(truth.centre_px[0], abs=allowed)
    assert limb.disc.row == pytest.approx(truth.centre_px[1], abs=allowed)
    assert limb.disc.a == pytest.approx(radius, abs=0.3)
    assert limb.rays_used > 0.95


def test_squash_and_its_direction(take_photo, tmp_path):
    """At 1 degree the disc is about a tenth lower than wide; the squash shows the camera's roll."""
    truth = take_photo(tmp_path / "sun.jpg", radius_px=250, altitude_deg=1, roll_deg=8.0)
    limb = measure_limb(load_photo(truth.path), roll_deg=8.0)
    assert 0.88 < limb.disc.b / limb.disc.a < 0.92
    assert limb.tilt_deg == pytest.approx(0, abs=0.3)
    askew = measure_limb(load_photo(truth.path), roll_deg=5.0)
    assert askew.tilt_deg == pytest.approx(-3.0, abs=0.3)


@pytest.mark.parametrize("roll", [20.0, -65.0, 100.0])
def test_unknown_roll_follows_the_squash(take_photo, tmp_path, roll):
    truth = take_photo(tmp_path / "sun.jpg", radius_px=200, altitude_deg=1, roll_deg=roll)
    limb = measure_limb(load_photo(truth.path), follow_squash=True)
    assert np.rad2deg(limb.disc.tilt) == pytest.approx((-roll + 90) % 180 - 90, abs=0.5)
    assert limb.disc.column == pytest.approx(truth.centre_px[0], abs=0.2)
    assert limb.disc.row == pytest.approx(truth.centre_px[1], abs=0.2)


@pytest.mark.parametrize(
    ("altitude", "horizon", "roll"), [(3, 0.0, 5.0), (0.8, -0.4, -3.0), (2, -0.1, 170.0)]
)
def test_cut_by_the_horizon(take_photo, tmp_path, altitude, horizon, roll):
    """Down to half a disc: the vertical centre within 0.3 px, the target without ripple."""
    truth = take_photo(
        tmp_path / "sun.jpg", radius_px=250, altitude_deg=altitude, horizon=horizon, roll_deg=roll, noise_dn=3
    )
    limb = measure_limb(load_photo(truth.path), roll_deg=roll)
    assert limb.horizon is not None
    error = np.array([limb.disc.column - truth.centre_px[0], limb.disc.row - truth.centre_px[1]])
    assert np.max(np.abs(error)) < 0.3
    sigma, _ = limb_sigmas(limb)
    assert np.all(np.abs(error) < 5 * np.array(sigma))


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    radius=st.floats(60, 160),
    altitude=st.sampled_from([0.8, 2.0, 5.0, 15.0, 60.0]),
    roll=st.floats(-180, 180),
    offset=st.tuples(st.floats(-15, 15), st.floats(-15, 15)),
    blur=st.floats(0.7, 1.8),
    seed=st.integers(0, 10**6),
)
def test_limb_within_five_sigma(take_photo, tmp_path, radius, altitude, roll, offset, blur, seed):
    truth = take_photo(
        tmp_path / "sun.png",
        radius_px=radius,
        altitude_deg=altitude,
        roll_deg=roll,
        offset_px=offset,
        blur_px=blur,
        seed=seed,
    )
    limb = measure_limb(load_photo(truth.path), roll_deg=roll)
    sigma, axes = limb_sigmas(limb)
    assert abs(limb.disc.column - truth.centre_px[0]) < 5 * sigma[0]
    assert abs(limb.disc.row - truth.centre_px[1]) < 5 * sigma[1]
    assert abs(limb.disc.a - radius) < 5 * axes[0]


def _save(array, path):
    Image.fromarray(np.clip(array, 0, 255).astype(np.uint8)).save(path)
    return load_photo(path)


def test_no_disc(tmp_path):
    rng = np.random.default_rng(3)
    for name, picture in {
        "noise": rng.normal(100, 20, (300, 400)),
        "black": np.zeros((300, 400)),
        "white": np.full((300, 400), 255),
        "ramp": np.tile(np.linspace(0, 255, 400), (300, 1)),
        "stripes": np.tile(np.repeat([20, 220, 20, 220], 100), (300, 1)),
    }.items():
        with pytest.raises(PictureError, match=r"no disc|too little"):
            measure_limb(_save(picture, tmp_path / f"{name}.png"))


def test_a_square_is_no_disc(tmp_path):
    square = np.full((300, 300), 15.0)
    square[60:240, 60:240] = 200
    with pytest.raises(PictureError, match=r"no disc|too little"):
        measure_limb(_save(square, tmp_path / "square.png"))


def test_too_little_of_the_limb(take_photo, tmp_path):
    path = take_photo(tmp_path / "sun.png", radius_px=150, noise_dn=1).path
    with Image.open(path) as image:
        image.crop((0, 0, image.width, int(image.height * 0.3))).save(tmp_path / "sliver.png")
    with pytest.raises(PictureError, match="too little"):
        measure_limb(load_photo(tmp_path / "sliver.png"))


def test_half_a_disc_at_the_picture_edge(take_photo, tmp_path):
    """A disc that the frame cuts in half is measured; what lies outside is not needed."""
    truth = take_photo(tmp_path / "sun.png", radius_px=150, noise_dn=1)
    with Image.open(truth.path) as image:
        image.crop((0, 0, image.width, int(truth.centre_px[1]) + 20)).save(tmp_path / "half.png")
    limb = measure_limb(load_photo(tmp_path / "half.png"))
    assert limb.disc.column == pytest.approx(truth.centre_px[0], abs=0.1)
    assert limb.disc.row == pytest.approx(truth.centre_px[1], abs=0.3)


def test_branch_across_the_limb_is_ignored(take_photo, tmp_path):
    """A dark bar over the limb takes its rays away, not the fit's truth."""
    truth = take_photo(tmp_path / "sun.png", radius_px=150, noise_dn=1)
    with Image.open(truth.path) as image:
        array = np.asarray(image).copy()
    row = int(truth.centre_px[1]) - 70
    array[row : row + 14] = 12
    limb = measure_limb(_save(array, tmp_path / "branch.png"))
    assert limb.disc.column == pytest.approx(truth.centre_px[0], abs=0.15)
    assert limb.disc.row == pytest.approx(truth.centre_px[1], abs=0.15)
    assert limb.disc.a == pytest.approx(150, abs=0.4)


def test_bright_caption_beside_and_on_the_limb(take_photo, tmp_path):
    truth = take_photo(tmp_path / "sun.png", radius_px=150, noise_dn=1)
    with Image.open(truth.path) as image:
        array = np.asarray(image).copy()
    for start in range(20, 200, 14):
        array[8:24, start : start + 8] = 255
        array[30:46, start + 90 : start + 98] = 255
    limb = measure_limb(_save(array, tmp_path / "caption.png"))
    assert limb.disc.column == pytest.approx(truth.centre_px[0], abs=0.1)
    assert limb.disc.row == pytest.approx(truth.centre_px[1], abs=0.1)

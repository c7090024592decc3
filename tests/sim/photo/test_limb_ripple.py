"""The limb in rippling air, whole and half hidden: errors against the ripple, sigmas against the errors."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage
from whichsun.sim.photo.limb import limb_sigmas, measure_limb
from whichsun.sim.photo.load import load_photo

RADIUS = 90


def smooth_field(shape, sigma_px, rng):
    """Gaussian random field of unit rms."""
    field = ndimage.gaussian_filter(rng.standard_normal(shape), sigma_px, mode="wrap")
    return field / field.std()


def rippled(rgb, rms_px, rng):
    """Move every pixel by a smooth random displacement.

    Short waves of `rms_px` per axis and long ones of a fifth of that, with correlation lengths of 0.9 and 10 %
    of the disc's diameter: assumed, as 20 to 25 and 250 pixels on a disc of 2500.
    """
    shape = rgb.shape[:2]
    rows, columns = np.indices(shape)
    moved = [
        axis
        + rms_px * smooth_field(shape, 0.0045 * 2 * RADIUS, rng)
        + 0.2 * rms_px * smooth_field(shape, 0.05 * 2 * RADIUS, rng)
        for axis in (rows, columns)
    ]
    linear = (rgb / 255.0) ** 2.2
    out = np.stack(
        [ndimage.map_coordinates(linear[..., k], moved, order=3, mode="nearest") for k in range(3)], axis=-1
    )
    return np.clip(out, 0, 1)


@pytest.fixture(scope="module")
def measured(take_photo, tmp_path_factory):
    """Errors (n, 2) and sigmas (n, 2) of the centre (across, along the vertical) at a ripple of 0.3 px."""
    folder = tmp_path_factory.mktemp("ripple")
    found = {}
    for kind, altitude, horizon in (("whole", 60, None), ("half", 2, 0.0)):
        errors, sigmas = [], []
        truth = take_photo(
            folder / f"{kind}.png",
            radius_px=RADIUS,
            altitude_deg=altitude,
            horizon=horizon,
            noise_dn=0,
            blur_px=1.2,
        )
        with Image.open(truth.path) as image:
            clean = np.asarray(image)
        for seed in range(14):
            rng = np.random.default_rng(seed)
            codes = 255 * rippled(clean, 0.3, rng) ** (1 / 2.2) + rng.normal(0, 2, clean.shape)
            Image.fromarray(np.clip(np.rint(codes), 0, 255).astype(np.uint8)).save(folder / "one.png")
            limb = measure_limb(load_photo(folder / "one.png"))
            errors.append([limb.disc.column - truth.centre_px[0], limb.disc.row - truth.centre_px[1]])
            sigmas.append(limb_sigmas(limb)[0])
        found[kind] = np.array(errors), np.array(sigmas)
    return found


def test_centre_of_a_whole_disc(measured):
    """0.15 of the ripple's rms is the target."""
    errors, _ = measured["whole"]
    assert np.all(np.sqrt(np.mean(errors**2, axis=0)) < 0.15 * 0.3 * 1.3)  # 14 photos tell an rms to 20 %


def test_vertical_centre_of_half_a_disc(measured):
    """2.5 of the ripple's rms is the target."""
    errors, _ = measured["half"]
    assert np.sqrt(np.mean(errors[:, 1] ** 2)) < 2.5 * 0.3


@pytest.mark.parametrize("kind", ["whole", "half"])
def test_sigmas_are_of_the_size_of_the_errors(measured, kind):
    """Errors over sigmas, rms: 1 within what 14 photos can tell (more than twice 20 %)."""
    errors, sigmas = measured[kind]
    ratio = np.sqrt(np.mean((errors / sigmas) ** 2, axis=0))
    assert np.all(ratio > 0.6)
    assert np.all(ratio < 1.45)

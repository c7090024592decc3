"""What stands in front of the Sun is told from the search for spots, cell by cell."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from whichsun.sim.hidden import cell_middles, hidden_grid, is_hidden
from whichsun.sim.photo.measure import PhotoOptions, measure_photo

pytestmark = pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")

SPOTS = [(0.4, 0.35), (-0.5, 0.35), (0.1, -0.6)]
RADIUS = 150


def covered(take_photo, path, light_of, **options):
    """A photo of the spots with its light changed by light_of(x, y), and its shot."""
    truth = take_photo(path, xy=SPOTS, spot_radius=0.05, radius_px=RADIUS, noise_dn=1, **options)
    with Image.open(path) as image:
        light = np.asarray(image, float)
    rows, columns = np.indices(light.shape[:2])
    x, y = (columns - truth.centre_px[0]) / RADIUS, (truth.centre_px[1] - rows) / RADIUS
    Image.fromarray(np.rint(light * light_of(x, y)[..., None]).astype(np.uint8)).save(path)
    return measure_photo(path, PhotoOptions(roll_deg=0.0)).shot


def shares(shot, part):
    """Share of the cells in part(x, y) that are hidden, and of the rest of the disc to 0.9."""
    x, y = np.broadcast_arrays(*cell_middles())
    inner, wanted = np.hypot(x, y) < 0.9, part(x, y)
    grid = hidden_grid(shot.hidden)
    return grid[inner & wanted].mean(), grid[inner & ~wanted].mean()


@pytest.mark.parametrize(("middle", "half"), [(-0.15, 0.12), (0.0, 0.02)], ids=["cloud-bar", "wire"])
def test_bars(take_photo, tmp_path, middle, half):
    shot = covered(
        take_photo, tmp_path / "a.png", lambda x, y: np.where(abs(y - middle - 0.1 * x) < half, 0.05, 1)
    )
    assert len(shot.spots) == 3
    behind, _ = shares(shot, lambda x, y: abs(y - middle - 0.1 * x) < half)
    _, clear = shares(shot, lambda x, y: abs(y - middle - 0.1 * x) < half + 0.2)  # no spot fits close by
    assert behind > 0.97
    assert clear == 0
    assert len(shot.limb_hidden_deg) == 4  # two stretches of the limb


def test_horizon(take_photo, tmp_path):
    shot = covered(take_photo, tmp_path / "a.png", lambda x, y: np.ones_like(x), horizon=-0.3)
    below, _ = shares(shot, lambda x, y: y < -0.3)
    _, clear = shares(shot, lambda x, y: y < -0.2)
    assert (below, clear) == (1, 0)
    start, end = shot.limb_hidden_deg
    assert (start + end) / 2 == pytest.approx(180, abs=2)


def test_a_mirrored_shot_s_mask_lies_where_its_spots_lie(take_photo, tmp_path):
    """A pole at the picture's left hides the disc's right in a mirror image."""
    path = tmp_path / "a.png"
    covered(take_photo, path, lambda x, y: np.where(abs(x + 0.72) < 0.06, 0.05, 1))
    shot = measure_photo(path, PhotoOptions(roll_deg=0.0, mirrored=True)).shot
    assert is_hidden(hidden_grid(shot.hidden), np.array([0.72, -0.72]), np.zeros(2)).tolist() == [True, False]


def test_clipped_light_hides(take_photo, tmp_path):
    truth = take_photo(tmp_path / "a.png", xy=SPOTS, radius_px=RADIUS, exposure=1.4, tint=(1, 1, 1))
    shot = measure_photo(truth.path, PhotoOptions(roll_deg=0.0)).shot
    middle, _ = shares(shot, lambda x, y: np.hypot(x, y) < 0.3)
    assert middle > 0.9


def test_a_whole_disc_hides_nothing(take_photo, tmp_path):
    for k, options in enumerate(({}, {"altitude_deg": 2.0}, {"blur_px": 3.0, "noise_dn": 5})):
        truth = take_photo(tmp_path / f"{k}.jpg", xy=[*SPOTS, (0.9, 0.1)], radius_px=120, **options)
        shot = measure_photo(truth.path).shot
        assert shot.hidden is None
        assert shot.limb_hidden_deg is None

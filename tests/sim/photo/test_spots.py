"""Spots on synthetic pictures of known truth, and what must not be taken for one."""

from __future__ import annotations

import matplotlib
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFont
from scipy.ndimage import gaussian_filter
from whichsun.render.tone import srgb_decode, srgb_encode
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.spots import find_spots


def find(path, **options):
    photo = load_photo(path)
    limb = measure_limb(photo, **options)
    return find_spots(photo, limb), limb


def errors_in_sigma(truth, spots):
    """Error over sigma along both principal axes, one row per true spot; nan where it was not found."""
    rows = []
    for place in truth.xy:
        near = [spot for spot in spots if np.hypot(spot.x - place[0], spot.y - place[1]) < 0.05]
        if not near:
            rows.append([np.nan, np.nan])
            continue
        spot = min(near, key=lambda one: np.hypot(one.x - place[0], one.y - place[1]))
        error = np.array([spot.x, spot.y]) - place
        rows.append(np.linalg.solve(np.linalg.cholesky(spot.covariance), error))
    return np.array(rows)


SIX = [(0.1, 0.2), (-0.5, 0.35), (0.7, -0.3), (-0.2, -0.6), (0.3, 0.75), (-0.82, -0.25)]


@pytest.mark.parametrize(("altitude", "noise", "allowed_px"), [(60, 3, 0.1), (1.5, 3, 0.15), (20, 6, 0.15)])
def test_places_of_spots(take_photo, tmp_path, altitude, noise, allowed_px):
    """Centroids of spots over 10 px: 0.1 px rms at noise 3, 0.15 at 6 or through a strong squash."""
    truth = take_photo(
        tmp_path / "sun.jpg", xy=SIX, radius_px=250, altitude_deg=altitude, noise_dn=noise, spot_radius=0.035
    )
    findings, limb = find(truth.path)
    assert len(findings.spots) == len(SIX)
    column, row = limb.disc.to_pixels(truth.xy[:, 0], truth.xy[:, 1])
    errors = []
    for k in range(len(SIX)):
        spot = min(findings.spots, key=lambda one, k=k: np.hypot(one.column - column[k], one.row - row[k]))
        errors.append([spot.column - column[k], spot.row - row[k]])
    assert np.sqrt(np.mean(np.square(errors))) < allowed_px


def test_areas_and_darkness(take_photo, tmp_path):
    """Areas in millionths of the hemisphere within a fifth, whatever the foreshortening.

    A spot of heliographic radius rho covers rho^2/2 of the hemisphere. The umbra is 85 % deep.
    """
    places = [(0.05, 0.1), (0.6, 0.1), (-0.85, 0.1)]
    truth = take_photo(tmp_path / "sun.png", xy=places, spot_radius=0.05, radius_px=300)
    findings, _ = find(truth.path)
    areas = [spot.area_msh for spot in findings.spots]
    assert len(areas) == 3
    np.testing.assert_allclose(areas, 0.05**2 / 2 * 1e6, rtol=0.2)
    for spot in findings.spots:
        assert spot.darkness == pytest.approx(0.85, abs=0.08)


@pytest.mark.parametrize("seed", range(6))
def test_blank_discs_have_no_spots(take_photo, tmp_path, seed):
    truth = take_photo(
        tmp_path / "sun.jpg",
        radius_px=(60, 120, 200, 300, 450, 90)[seed],
        altitude_deg=(1, 3, 10, 60, 2, 0.8)[seed],
        noise_dn=(1, 3, 6, 3, 3, 6)[seed],
        exposure=(0.9, 0.3, 0.6, 0.15, 0.85, 0.5)[seed],
        seed=seed,
    )
    findings, _ = find(truth.path)
    assert findings.spots == ()


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    places=st.lists(
        st.tuples(st.floats(0, 0.92), st.floats(0, 2 * np.pi), st.floats(0.03, 0.06)), min_size=1, max_size=5
    ),
    radius=st.floats(110, 220),
    altitude=st.sampled_from([0.8, 1.5, 3.0, 8.0, 60.0]),
    roll=st.floats(-180, 180),
    noise=st.floats(0.5, 4),
    seed=st.integers(0, 10**6),
)
def test_measure_of_render_within_five_sigma(
    take_photo, tmp_path, places, radius, altitude, roll, noise, seed
):
    xy = np.array([(r * np.cos(t), r * np.sin(t)) for r, t, _ in places])
    gaps = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) + 9 * np.eye(len(xy))
    assume(np.min(gaps) > 0.25)
    truth = take_photo(
        tmp_path / "sun.png",
        xy=xy,
        spot_radius=[size for *_, size in places],
        radius_px=radius,
        altitude_deg=altitude,
        roll_deg=roll,
        noise_dn=noise,
        seed=seed,
    )
    findings, _ = find(truth.path, roll_deg=roll)
    sigmas = errors_in_sigma(truth, findings.spots)
    assert np.all(np.isfinite(sigmas))
    assert np.max(np.abs(sigmas)) < 5
    assert len(findings.spots) == len(xy)


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(roll=st.floats(-180, 180), seed=st.integers(0, 10**6))
def test_the_camera_roll_turns_every_vertex_angle_alike(take_photo, tmp_path, roll, seed):
    """An undistorted disc photographed with a roll, measured as if level: V = V_true - roll, for all spots."""
    xy = [(0.5, 0.2), (-0.3, 0.6), (-0.55, -0.4), (0.1, -0.7)]
    truth = take_photo(
        tmp_path / "sun.png",
        xy=xy,
        spot_radius=0.04,
        radius_px=150,
        roll_deg=roll,
        altitude_deg=89.0,
        seed=seed,
    )
    findings, _ = find(truth.path)
    assert len(findings.spots) == 4
    turns = []
    for place in truth.xy:
        angle = np.arctan2(-place[0], place[1]) - np.deg2rad(roll)
        seen = [np.arctan2(-spot.x, spot.y) for spot in findings.spots]
        off = [(one - angle + np.pi) % (2 * np.pi) - np.pi for one in seen]
        turns.append(min(off, key=abs))
    # A tenth of a pixel at 75 px from the centre is 0.08 deg; refraction at the zenith distorts nothing.
    assert np.max(np.abs(np.rad2deg(turns))) < 0.2


def test_mirrored_places_are_mirrored_back(take_photo, tmp_path):
    truth = take_photo(
        tmp_path / "sun.png", xy=SIX[:4], radius_px=150, roll_deg=25.0, altitude_deg=1.5, spot_radius=0.04
    )
    with Image.open(truth.path) as image:
        image.transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(tmp_path / "mirror.png")
    findings, _ = find(tmp_path / "mirror.png", roll_deg=25.0, mirrored=True)
    sigmas = errors_in_sigma(truth, findings.spots)
    assert np.max(np.abs(sigmas)) < 5


def test_two_umbrae_apart_are_two_spots(take_photo, tmp_path):
    truth = take_photo(tmp_path / "sun.png", xy=[(0.2, 0.1), (0.32, 0.1)], spot_radius=0.04, radius_px=200)
    findings, _ = find(truth.path)
    assert len(findings.spots) == 2


def _written(source, target, text, size, colour, place):
    font = ImageFont.truetype(matplotlib.get_data_path() + "/fonts/ttf/DejaVuSans.ttf", size)
    with Image.open(source) as image:
        image = image.convert("RGB")
        ImageDraw.Draw(image).text(place, text, font=font, fill=colour)
        image.save(target, quality=92)


@pytest.mark.parametrize("colour", [(255, 255, 255), (0, 0, 0), (255, 255, 0), (200, 0, 0)])
@pytest.mark.parametrize("size", [20, 32])
def test_lettering_across_the_disc_is_no_spot(take_photo, tmp_path, colour, size):
    truth = take_photo(tmp_path / "sun.png", xy=SIX[1:5], radius_px=250, spot_radius=0.035)
    x, y = truth.centre_px
    _written(
        truth.path, tmp_path / "text.jpg", "2026-03-20 06:10", size, colour, (x - 0.5 * 250, y - 0.1 * 250)
    )
    findings, _ = find(tmp_path / "text.jpg")
    assert np.max(np.abs(errors_in_sigma(truth, findings.spots))) < 5
    assert len(findings.spots) == 4


def test_hot_and_dead_pixels_are_no_spots(take_photo, tmp_path):
    truth = take_photo(tmp_path / "sun.png", xy=SIX[:3], radius_px=200, spot_radius=0.04)
    with Image.open(truth.path) as image:
        array = np.asarray(image).copy()
    rng = np.random.default_rng(5)
    for column, row in rng.integers(-110, 110, (12, 2)) + np.array(truth.centre_px, int):
        array[row, column] = rng.choice([0, 255])
    Image.fromarray(array).save(tmp_path / "pixels.png")
    findings, _ = find(tmp_path / "pixels.png")
    assert len(findings.spots) == 3


def test_wire_and_cloud_bar_are_no_spots(take_photo, tmp_path):
    truth = take_photo(tmp_path / "sun.png", xy=SIX[:3], radius_px=200, spot_radius=0.04)
    x, y = truth.centre_px
    with Image.open(truth.path) as image:
        image = image.convert("RGB")
        draw = ImageDraw.Draw(image)
        draw.line([(x - 260, y + 140), (x + 260, y + 90)], fill=(20, 18, 15), width=5)
        image.save(tmp_path / "wire.png")
    findings, _ = find(tmp_path / "wire.png")
    assert len(findings.spots) == 3


def test_spots_cut_by_the_horizon_are_left_out(take_photo, tmp_path):
    """A spot half behind the horizon would be measured too high."""
    truth = take_photo(
        tmp_path / "sun.png",
        xy=[(0.3, 0.4), (-0.2, -0.2)],
        radius_px=200,
        altitude_deg=3,
        horizon=-0.185,
        spot_radius=0.05,
    )
    findings, _ = find(truth.path)
    assert len(findings.spots) == 1
    assert findings.spots[0].y == pytest.approx(0.4, abs=0.01)
    assert any("cut off" in reason for *_, reason in findings.refused)


def test_partly_clipped_disc_reports_its_share(take_photo, tmp_path):
    """Clipped from the centre out: spots near the limb are still found."""
    truth = take_photo(
        tmp_path / "sun.png",
        xy=[(0.05, 0.1), (0.8, 0.35)],
        radius_px=200,
        exposure=1.3,
        tint=(1, 1, 1),
        spot_radius=0.05,
    )
    findings, _ = find(truth.path)
    assert 0.2 < findings.clipped_share < 0.9
    assert any(np.hypot(spot.x - 0.8, spot.y - 0.35) < 0.02 for spot in findings.spots)


@pytest.mark.parametrize("colour", [(0, 0, 0), (30, 30, 30), (120, 60, 20)])
@pytest.mark.parametrize("size", [9, 12])
def test_small_dark_print_is_no_spot(take_photo, tmp_path, colour, size):
    """Letters of so few pixels run together into words; their tops and bases still stand on two lines."""
    truth = take_photo(tmp_path / "sun.png", xy=SIX[1:5], radius_px=250, spot_radius=0.035)
    x, y = truth.centre_px
    _written(truth.path, tmp_path / "text.jpg", "2026-03-20 06:10 Sunrise", size, colour, (x - 125, y - 25))
    findings, _ = find(tmp_path / "text.jpg")
    assert np.max(np.abs(errors_in_sigma(truth, findings.spots))) < 5
    assert len(findings.spots) == 4


@pytest.mark.parametrize("share", [0.1, 0.3])
@pytest.mark.parametrize("shift", [(60, 40), (-120, 30), (15, 10)])
def test_ghost_discs_bring_no_spots(take_photo, tmp_path, share, shift):
    """A faint displaced image of the Sun: neither its edge nor its copies of the spots are taken for spots."""
    truth = take_photo(tmp_path / "sun.png", xy=SIX[1:5], radius_px=250, spot_radius=0.035)
    with Image.open(truth.path) as image:
        light = srgb_decode(np.asarray(image) / 255)
    ghost = gaussian_filter(np.roll(light, shift, axis=(1, 0)), (2, 2, 0))
    both = srgb_encode(0.8 * light + 0.8 * share * ghost)
    Image.fromarray((255 * both).round().astype(np.uint8)).save(tmp_path / "ghost.jpg", quality=92)
    findings, _ = find(tmp_path / "ghost.jpg")
    assert np.max(np.abs(errors_in_sigma(truth, findings.spots))) < 8  # the ghost's slope pulls by 0.2 px
    assert len(findings.spots) == 4


def test_faculae_are_no_spots_and_spots_in_them_are_found(take_photo, tmp_path):
    """Bright patches of 12 % near the limb, one round a spot."""
    truth = take_photo(tmp_path / "sun.png", xy=[(0.8, 0.2), (-0.3, 0.4)], radius_px=250, spot_radius=0.035)
    with Image.open(truth.path) as image:
        light = srgb_decode(np.asarray(image) / 255)
    rows, columns = np.indices(light.shape[:2])
    for x, y in ((0.8, 0.2), (0.6, -0.6), (-0.85, 0.1), (-0.7, 0.5)):
        column, row = truth.centre_px[0] + 250 * x, truth.centre_px[1] - 250 * y
        gap = np.hypot(columns - column, (rows - row) / 1.5)
        light = light * (1 + 0.12 * np.exp(-((gap / 16) ** 4)))[..., None]
    Image.fromarray((255 * srgb_encode(light)).round().astype(np.uint8)).save(tmp_path / "faculae.png")
    findings, _ = find(tmp_path / "faculae.png")
    assert len(findings.spots) == 2
    assert np.max(np.abs(errors_in_sigma(truth, findings.spots))) < 6


@pytest.mark.parametrize(("size", "radius"), [(0.05, 300), (0.03, 300), (0.025, 150)])
def test_areas_of_small_blurred_spots(take_photo, tmp_path, size, radius):
    """Within a quarter down to spots of 7 px: the blur is undone (a spot of radius rho covers rho^2/2)."""
    places = [(0.05, 0.1), (0.5, 0.3), (-0.4, 0.2), (-0.1, -0.5)]
    truth = take_photo(tmp_path / "sun.png", xy=places, spot_radius=size, radius_px=radius, blur_px=1.3)
    findings, _ = find(truth.path)
    areas = [spot.area_msh for spot in findings.spots]
    assert len(areas) == 4
    assert np.median(areas) == pytest.approx(size**2 / 2 * 1e6, rel=0.25)


def test_umbra_and_penumbra_are_kept_apart(take_photo, tmp_path):
    """Drawn umbrae have 0.42 of the penumbra's radius, 85 % depth; penumbrae 24 %."""
    truth = take_photo(tmp_path / "sun.png", xy=[(0.1, 0.2), (-0.4, 0.3)], spot_radius=0.06, radius_px=350)
    findings, _ = find(truth.path)
    for spot in findings.spots:
        assert spot.umbra_area_msh == pytest.approx(0.42**2 * 0.06**2 / 2 * 1e6, rel=0.2)
        assert spot.penumbra_darkness == pytest.approx(0.24, abs=0.06)
        assert spot.darkness == pytest.approx(0.85, abs=0.08)
    assert len(findings.spots) == 2


def test_the_centroid_of_a_wide_spot_is_its_middle_on_the_sphere(take_photo, tmp_path):
    """The flat centroid of a cap of 4.6 deg at r = 0.7 lies 0.3 px inside of its middle at 250 px."""
    places = [(0.7, 0.0), (-0.5, 0.5), (0.0, -0.7)]
    inward = []
    for seed in range(4):
        truth = take_photo(
            tmp_path / "sun.png", xy=places, spot_radius=0.08, radius_px=250, altitude_deg=80, seed=seed
        )
        findings, _ = find(truth.path)
        for place in truth.xy:
            spot = min(findings.spots, key=lambda one, p=place: np.hypot(one.x - p[0], one.y - p[1]))
            inward.append(250 * (np.hypot(*place) - np.hypot(spot.x, spot.y)))
    assert abs(np.mean(inward)) < 0.1  # 12 places of 0.12 px each

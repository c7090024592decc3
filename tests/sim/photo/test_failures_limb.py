"""Ways in which a photo goes wrong at the limb: each is measured rightly, warned of, or refused."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import PictureError, WhichsunWarning
from whichsun.sim.outing import OutingSite
from whichsun.sim.photo.lens import lens_doubt, lens_kind
from whichsun.sim.photo.limb import limb_sigmas, measure_limb, place_covariance
from whichsun.sim.photo.load import Photo, load_photo
from whichsun.sim.photo.measure import PhotoOptions, measure_photo, measure_photos

SITE, TIME = OutingSite(45, 10), "2026-03-20T06:00:00Z"
RADIUS = 150


@pytest.fixture(scope="module")
def sun(take_photo, tmp_path_factory):
    """Linear light of a clean disc with three spots, and the truth."""
    path = tmp_path_factory.mktemp("sun") / "sun.png"
    truth = take_photo(
        path,
        xy=[(0.4, 0.3), (-0.5, 0.1), (0.1, -0.6)],
        spot_radius=0.05,
        radius_px=RADIUS,
        noise_dn=1,
        margin=1.6,
    )
    with Image.open(path) as image:
        return (np.asarray(image) / 255.0) ** 2.2, truth


def save(light, path):
    """Write linear light with a plain tone curve and load it."""
    codes = np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    Image.fromarray(np.broadcast_to(codes, (*codes.shape[:2], 3)).copy()).save(path)
    return load_photo(path)


def check(limb, centre, within=0.1):
    """Centre within `within` pixels and the radius within half a pixel."""
    assert limb.disc.column == pytest.approx(centre[0], abs=within)
    assert limb.disc.row == pytest.approx(centre[1], abs=within)
    assert limb.disc.a == pytest.approx(RADIUS, abs=0.5)


# Motion


@pytest.mark.parametrize(("across", "down", "direction"), [(8, 0, 0), (0, 8, 90), (4, -4, 45)])
def test_double_limb_is_seen(sun, tmp_path, across, down, direction):
    """Two images apart: the false squash is told from the air's by the limb's width."""
    light, truth = sun
    photo = save((light + np.roll(light, (down, across), (0, 1))) / 2, tmp_path / "double.png")
    limb = measure_limb(photo)
    assert limb.smeared
    assert abs((limb.motion.direction_deg - direction + 90) % 180 - 90) < 5
    middle = truth.centre_px[0] + across / 2, truth.centre_px[1] + down / 2
    assert limb.disc.column == pytest.approx(middle[0], abs=0.5)
    assert limb.disc.row == pytest.approx(middle[1], abs=0.5)


def test_even_smear_is_seen(sun, tmp_path):
    light, _ = sun
    photo = save(np.mean([np.roll(light, k, 1) for k in range(9)], axis=0), tmp_path / "smear.png")
    limb = measure_limb(photo)
    assert limb.smeared
    assert limb.motion.length_px == pytest.approx(9, abs=1.5)


@pytest.mark.parametrize("altitude", [1, 4, 60])
def test_a_still_picture_is_not_smeared(take_photo, tmp_path, altitude):
    limb = measure_limb(
        load_photo(take_photo(tmp_path / "sun.jpg", radius_px=150, altitude_deg=altitude, blur_px=2).path)
    )
    assert limb.motion.length_px == 0


def test_a_smeared_photo_gives_spots_but_no_turn(sun, tmp_path):
    light, _ = sun
    save(light, tmp_path / "a.png")
    save((light + np.roll(light, 8, 1)) / 2, tmp_path / "b.png")
    options = [PhotoOptions(SITE, TIME), PhotoOptions(SITE, "2026-03-20T16:00:00Z")]
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        measured = measure_photos([tmp_path / "a.png", tmp_path / "b.png"], options)
    assert any("smeared or doubled" in str(warning.message) for warning in caught)
    assert all(photo.shot.spots for photo in measured.photos)
    assert measured.turn is not None
    assert measured.turn.turn_deg is None


# Lens


def _photo(width, height, **facts):
    return Photo(path=None, luma=np.zeros((height, width), np.uint8), **facts)  # type: ignore[arg-type]


def _disc(column, row, radius):
    from whichsun.sim.photo.discmap import DiscMap

    return DiscMap(column, row, radius, radius, 0.0)


def _worst_turn(k, offset, size):
    """Largest vertex-angle error of places 0.25 to 0.95 radii from the centre of a distorted disc, radians.

    Points moved outward by k r^2, then the ellipse with level axes that fits the limb undone.
    """
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    place = offset * np.exp(1j * np.pi / 4)

    def bent(share):
        ring = place + share * size * np.exp(1j * angle)
        return ring * (1 + k * np.abs(ring) ** 2)

    limb = bent(1.0)
    design = np.column_stack([np.ones(720), np.cos(angle), np.sin(angle)])
    column, row = (np.linalg.lstsq(design, part, rcond=None)[0] for part in (limb.real, limb.imag))
    worst = 0.0
    for share in (0.25, 0.45, 0.7, 0.95):
        moved = bent(share)
        undone = (moved.real - column[0]) / column[1] + 1j * (moved.imag - row[0]) / row[2]
        worst = max(worst, float(np.max(np.abs(np.angle(undone / np.exp(1j * angle))))))
    return worst


@pytest.mark.parametrize(
    ("kind", "k", "offset", "size"), [("camera lens", 0.01, 0.5, 0.2), ("eyepiece", 0.05, 0.3, 0.3)]
)
def test_lens_doubt_matches_ray_counts(kind, k, offset, size):
    """Within a factor of two of the worst point's error; the size of k itself is no better known."""
    facts = {} if kind == "camera lens" else {"focal_length_mm": 5.0}
    half = 1000 * np.sqrt(2)
    photo = _photo(2001, 2001, **facts)
    shift = offset * half / np.sqrt(2)
    doubt = lens_doubt(photo, _disc(1000 + shift, 1000 - shift, size * half))
    assert doubt.offset == pytest.approx(offset, rel=0.01)
    assert 0.5 < doubt.angle_rad / _worst_turn(k, offset, size) < 2


def test_lens_kind_by_focal_length():
    assert lens_kind(_photo(4000, 3000, focal_length_mm=600.0, pixel_pitch_um=4.0), 700) == "camera lens"
    assert (
        lens_kind(_photo(4000, 3000, focal_length_mm=5.0, pixel_pitch_um=1.0), 700) == "phone at an eyepiece"
    )
    assert lens_kind(_photo(4000, 3000, focal_length_mm=5.0, pixel_pitch_um=1.0), 24) == "camera lens"
    assert lens_kind(_photo(4000, 3000), 700) == "camera lens"


def test_disc_off_the_middle_is_warned_of(take_photo, tmp_path):
    truth = take_photo(tmp_path / "sun.png", xy=[(0.4, 0.3)], radius_px=100, spot_radius=0.05)
    with Image.open(truth.path) as image:
        wide = Image.new("RGB", (3 * image.width, 3 * image.height))
        wide.paste(image, (2 * image.width, 2 * image.height))
        wide.save(tmp_path / "wide.png")
    with pytest.warns(WhichsunWarning, match="distortion of a camera lens"):
        off = measure_photo(tmp_path / "wide.png", PhotoOptions(SITE, TIME))
    middle = measure_photo(truth.path, PhotoOptions(SITE, TIME))
    assert off.shot.spots[0].sigma_x > 3 * middle.shot.spots[0].sigma_x


def test_rolling_shutter_by_hand_widens_the_places(take_photo, tmp_path):
    """A hand that turns by half a degree a second: 0.4 deg at the limb."""
    path = take_photo(tmp_path / "sun.png", xy=[(0.4, 0.3)], radius_px=100, spot_radius=0.05).path
    held = measure_photo(path, PhotoOptions(SITE, TIME, mount="hand-held"))
    sigma = np.sqrt(np.diag(place_covariance(held.limb, 0.6, 0.8)))
    assert np.rad2deg(sigma) == pytest.approx(0.4, abs=0.05)
    assert held.shot.spots[0].sigma_x > np.deg2rad(0.4) * 0.45


# Eyepiece


@pytest.mark.parametrize("haze", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("offset", [0, 130])
def test_the_sun_is_found_inside_an_eyepiece_field(sun, tmp_path, haze, offset):
    """A veil of scattered light, cut off round by the stop, round the disc or close to its edge."""
    light, truth = sun
    side = 700
    field = np.zeros((side, side, 3))
    corner = (side - light.shape[0]) // 2
    field[corner : corner + light.shape[0], corner : corner + light.shape[1]] = light
    rows, columns = np.ogrid[:side, :side]
    stop = np.clip(290 - np.hypot(rows - side / 2, columns - side / 2 - offset) + 0.5, 0, 1)[..., None]
    photo = save((0.6 * field + haze) * stop + 0.001, tmp_path / "field.png")
    limb = measure_limb(photo)
    check(limb, (truth.centre_px[0] + corner, truth.centre_px[1] + corner), within=0.15)


def test_an_eyepiece_stop_is_no_limb(tmp_path):
    rng = np.random.default_rng(3)
    rows, columns = np.ogrid[:500, :500]
    stop = np.clip(200 - np.hypot(rows - 250, columns - 250) + 0.5, 0, 1)
    save((0.5 * stop + 0.003 + rng.normal(0, 0.004, (500, 500)))[..., None], tmp_path / "stop.png")
    with pytest.raises(PictureError, match="stop of an eyepiece"):
        measure_photo(tmp_path / "stop.png", PhotoOptions(SITE, TIME))


# Things in front


@pytest.mark.parametrize(
    ("height", "thick", "slope"),
    [(-70, 3, 0.0), (0, 3, 0.3), (45, 8, 0.2), (-15, 22, 0.1), (75, 45, 0.1), (0, 60, 0)],
)
def test_wires_and_cloud_bars_take_their_rays_only(sun, tmp_path, height, thick, slope):
    """A bar that leaves the limb on both sides is no horizon, and the limb beyond it is used."""
    light, truth = sun
    rows, columns = np.indices(light.shape[:2])
    bar = np.abs(rows - truth.centre_px[1] - height - slope * (columns - truth.centre_px[0])) < thick / 2
    photo = save(np.where(bar[..., None], 0.003, light), tmp_path / "bar.png")
    limb = measure_limb(photo)
    check(limb, truth.centre_px)
    assert limb.horizon is None
    assert limb.rays_used > 0.75
    assert max(limb_sigmas(limb)[0]) < 0.03


def test_hidden_limb_is_recorded(sun, tmp_path):
    """A bar through the centre hides the limb at the right and the left, vertex angles -90 and 90."""
    light, truth = sun
    rows = np.arange(light.shape[0])
    bar = np.abs(rows - truth.centre_px[1]) < 15
    photo = save(np.where(bar[:, None, None], 0.003, light), tmp_path / "bar.png")
    limb = measure_limb(photo)
    arcs = sorted(limb.hidden_deg)
    assert [np.mean(arc) for arc in arcs] == pytest.approx([-90, 90], abs=1)
    half = np.rad2deg(np.arcsin(15 / RADIUS))
    assert [arc[1] - arc[0] for arc in arcs] == pytest.approx([2 * half] * 2, abs=3.5)
    result = measure_photo(tmp_path / "bar.png", PhotoOptions(SITE, TIME, roll_deg=0.0))
    assert len(result.limb.hidden_deg) == 2


def test_branches(sun, tmp_path):
    """25 thin branches over the lower two thirds cut the disc to pieces."""
    light, truth = sun
    light = light.copy()
    rng = np.random.default_rng(2)
    rows, columns = np.indices(light.shape[:2])
    for _ in range(25):
        height, thick, slope = rng.uniform(-45, 150), rng.uniform(2, 5), rng.normal(0, 1.2)
        light[
            np.abs(rows - truth.centre_px[1] - height - slope * (columns - truth.centre_px[0])) < thick / 2
        ] = 0.003
    limb = measure_limb(save(light, tmp_path / "branches.png"))
    check(limb, truth.centre_px)
    assert 0.5 < limb.rays_used < 0.97


def test_soft_cloud_over_the_top(sun, tmp_path):
    light, truth = sun
    rows = np.arange(light.shape[0])
    veil = 1 / (1 + np.exp(-(rows - truth.centre_px[1] + 75) / 19))
    limb = measure_limb(save(light * (0.1 + 0.9 * veil)[:, None, None], tmp_path / "cloud.png"))
    check(limb, truth.centre_px, within=0.2)


# Exposure


@pytest.mark.parametrize(("exposure", "tint"), [(3, (1, 0.3, 0.02)), (6, (1, 1, 1)), (6, (1, 0.4, 0.1))])
def test_clipped_photos_keep_their_limb(take_photo, tmp_path, exposure, tint):
    """Full clipping moves the edge outward, alike on all sides, and the radius's sigma says so."""
    truth = take_photo(tmp_path / "sun.jpg", radius_px=150, exposure=exposure, tint=tint)
    limb = measure_limb(load_photo(truth.path))
    assert limb.disc.column == pytest.approx(truth.centre_px[0], abs=0.03)
    assert limb.disc.row == pytest.approx(truth.centre_px[1], abs=0.03)
    assert abs(limb.disc.a - 150) < max(0.3, 2 * limb_sigmas(limb)[1][0])


def test_sharpening_moves_the_radius_only(sun, tmp_path):
    """An unsharp mask: centre and squash stay."""
    from scipy import ndimage

    light, truth = sun
    soft = ndimage.gaussian_filter(light, (2, 2, 0))
    limb = measure_limb(save(light + 0.8 * (light - soft), tmp_path / "sharp.png"))
    assert limb.disc.column == pytest.approx(truth.centre_px[0], abs=0.03)
    assert limb.disc.row == pytest.approx(truth.centre_px[1], abs=0.03)
    assert limb.disc.a - limb.disc.b == pytest.approx(0, abs=0.15)


def test_nothing_is_warned_of_on_a_plain_photo(sun, tmp_path):
    light, _ = sun
    save(light, tmp_path / "plain.png")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(measure_photo(tmp_path / "plain.png", PhotoOptions(SITE, TIME)).shot.spots) == 3

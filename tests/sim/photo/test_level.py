"""Roll of the camera: horizon, level tag, squash and tripod together, and the drift beside them."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import WhichsunWarning
from whichsun.models.geometry import view_of
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.atmosphere import apparent_altitude
from whichsun.sim.outing import OutingSite
from whichsun.sim.photo.horizon import find_horizon
from whichsun.sim.photo.level import LevelClue, camera_roll_deg, combine
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.measure import PhotoOptions, measure_photo, measure_photos

XMP = (
    '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    '<rdf:Description rdf:about="" xmlns:GPano="http://ns.google.com/photos/1.0/panorama/"{attribute}>{element}'
    "</rdf:Description></rdf:RDF></x:xmpmeta>"
)
SITE, TIME = OutingSite(45, 10), "2026-03-20T06:00:00Z"


def quiet(path, **options):
    """Measure a photo, warnings put aside."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", WhichsunWarning)
        return measure_photo(path, PhotoOptions(SITE, TIME, **options))


@pytest.mark.parametrize("roll", [-2.0, 0.7, 12.0])
@pytest.mark.parametrize("horizon", [-0.3, -1.5])
def test_horizon_shows_the_roll(take_photo, tmp_path, roll, horizon):
    """Across the disc or below it; 0.1 deg is what its sigma grants to terrain, a straight one is better."""
    truth = take_photo(
        tmp_path / "sun.jpg", radius_px=120, altitude_deg=2, roll_deg=roll, horizon=horizon, margin=2.4
    )
    photo = load_photo(truth.path)
    found = find_horizon(photo, measure_limb(photo, roll_deg=roll))
    assert found is not None
    assert found.roll_deg == pytest.approx(roll, abs=0.05)
    assert 0.1 <= found.sigma_deg < 0.2


def test_mirrored_horizon(take_photo, tmp_path):
    truth = take_photo(tmp_path / "sun.png", radius_px=120, altitude_deg=2, roll_deg=1.5, horizon=-0.3)
    with Image.open(truth.path) as image:
        image.transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(tmp_path / "flipped.png")
    photo = load_photo(tmp_path / "flipped.png")
    found = find_horizon(photo, measure_limb(photo, mirrored=True))
    assert found is not None
    assert found.roll_deg == pytest.approx(1.5, abs=0.05)


def test_no_horizon_in_the_sky(take_photo, tmp_path):
    """Noise, an uneven sky or a ragged skyline are no level."""
    truth = take_photo(tmp_path / "sun.png", radius_px=120, noise_dn=3, margin=2.0)
    photo = load_photo(truth.path)
    assert find_horizon(photo, measure_limb(photo)) is None
    with Image.open(truth.path) as image:
        array = np.asarray(image).copy()
    rng = np.random.default_rng(5)
    top = (0.85 + 0.03 * np.cumsum(rng.normal(0, 0.15, array.shape[1]))) * array.shape[0]
    array = np.maximum(array, 60)
    array[np.arange(array.shape[0])[:, None] > top] = 5
    Image.fromarray(array).save(tmp_path / "hills.png")
    photo = load_photo(tmp_path / "hills.png")
    assert find_horizon(photo, measure_limb(photo)) is None


@pytest.mark.parametrize(
    ("attribute", "element", "expected"),
    [
        (' GPano:PoseRollDegrees="2.5"', "", -2.5),
        ("", "<GPano:PoseRollDegrees>-1.25</GPano:PoseRollDegrees>", 1.25),
        (' GPano:PoseRollDegrees="90"', "", None),
        (' GPano:PoseRollDegrees="1.2.3"', "", None),
        (' GPano:PosePitchDegrees="2.5"', "", None),
    ],
)
def test_level_tag(take_photo, tmp_path, attribute, element, expected):
    """The horizon turns counterclockwise in the image as PoseRollDegrees grows: the camera turned clockwise.

    Photo Sphere XMP metadata, developers.google.com/streetview/spherical-metadata, GPano:PoseRollDegrees.
    """
    truth = take_photo(tmp_path / "sun.png", xy=[(0.4, 0.3)], radius_px=100)
    path = tmp_path / "tagged.jpg"
    with Image.open(truth.path) as image:
        image.save(path, quality=92, xmp=XMP.format(attribute=attribute, element=element).encode())
    assert camera_roll_deg(path) == expected
    shot = quiet(path)
    if expected is None:
        assert (shot.shot.roll_deg, shot.shot.roll_sigma_deg, shot.level.source) == (0, 0.7, "tripod")
    else:
        share = (1 / 1.0**2) / (1 / 1.0**2 + 1 / 0.7**2)
        assert shot.shot.roll_deg == pytest.approx(share * expected, abs=0.01)
        assert shot.level.source == "tripod + camera"


def test_clues_are_weighted_by_their_variances():
    prior = LevelClue("tripod", 0.0, 0.7)
    level = combine(prior, [LevelClue("horizon", 0.5, 0.1), LevelClue("squash", 0.4, 0.2)])
    weights = np.array([1 / 0.49, 100, 25])
    assert level.roll_deg == pytest.approx(weights @ [0, 0.5, 0.4] / weights.sum())
    assert level.sigma_deg == pytest.approx(weights.sum() ** -0.5)
    assert level.source == "horizon + squash + tripod"
    apart = combine(prior, [LevelClue("horizon", 0.5, 0.1), LevelClue("squash", -0.5, 0.1)])
    assert apart.sigma_deg is not None
    assert apart.sigma_deg > 0.3
    astray = combine(prior, [LevelClue("horizon", 6.0, 0.1)])
    assert (astray.roll_deg, astray.sigma_deg, astray.source) == (0, pytest.approx(0.7), "tripod")


def test_squash_and_horizon_level_the_spots(take_photo, tmp_path):
    """A roll of 0.8 deg is found and taken out of the spots' angles."""
    place = (0.5, 0.35)
    truth = take_photo(
        tmp_path / "sun.jpg",
        xy=[place],
        radius_px=200,
        altitude_deg=3,
        roll_deg=0.8,
        noise_dn=2,
        spot_radius=0.05,
    )
    photo = quiet(truth.path)
    assert photo.level.source == "squash + tripod"
    assert photo.shot.roll_deg == pytest.approx(0.8, abs=4 * photo.shot.roll_sigma_deg)
    assert photo.shot.roll_sigma_deg < 0.1
    spot = photo.shot.spots[0]
    angle = np.rad2deg(np.arctan2(-spot.x, spot.y) - np.arctan2(-place[0], place[1]))
    assert angle == pytest.approx(0, abs=0.2)
    level = quiet(truth.path, roll_deg=0.0)
    assert (level.shot.roll_deg, level.shot.roll_sigma_deg, level.level.source) == (0, 0.7, "given")
    told = quiet(truth.path, roll_deg=0.3, roll_sigma_deg=0.2)
    assert (told.shot.roll_deg, told.shot.roll_sigma_deg, told.level.source) == (0.3, 0.2, "given")


def test_squash_alone_never_levels(take_photo, tmp_path):
    """Without a tripod to lean on the roll stays unknown."""
    truth = take_photo(tmp_path / "sun.jpg", radius_px=150, altitude_deg=2, roll_deg=1.0)
    shot = quiet(truth.path, mount="hand-held").shot
    assert (shot.roll_deg, shot.roll_sigma_deg) == (0, None)


def test_level_sigma_is_honest(take_photo, tmp_path):
    """Squash and tripod on 14 photos: errors over sigmas of about one."""
    ratio = []
    rng = np.random.default_rng(11)
    for index in range(14):
        roll = rng.normal(0, 0.7)
        path = take_photo(
            tmp_path / "sun.png",
            radius_px=110,
            altitude_deg=rng.uniform(1, 8),
            roll_deg=roll,
            seed=index,
            noise_dn=3,
        ).path
        level = quiet(path).level
        ratio.append((level.roll_deg - roll) / level.sigma_deg)
    assert 0.7 < np.sqrt(np.mean(np.square(ratio))) < 1.4


def test_drift_is_reported_and_moves_nothing(take_photo, tag_photo, tmp_path):
    """Two frames two minutes apart, the Sun put where the distant sphere has it for a camera rolled by 1.5 deg.

    The drift over the assumed level misses the model's by that roll; the roll itself stays at the tripod's 0.
    """
    times = ["2026-03-20T10:00:00Z", "2026-03-20T10:02:00Z"]
    view = view_of(get_model("distant-sphere"), Instants.from_utc(times), Site(45.0, 10.0, 0.0))
    azimuth = np.arctan2(view.direction[:, 0], view.direction[:, 1])
    altitude = apparent_altitude(np.arcsin(view.direction[:, 2]))
    radius, roll = 90, np.deg2rad(1.5)
    scale = radius / float(np.arcsin(1 / view.distance[0]))
    move = scale * np.array([np.diff(azimuth)[0] * np.cos(altitude.mean()), np.diff(altitude)[0]])
    column = move[0] * np.cos(roll) + move[1] * np.sin(roll)
    up = move[1] * np.cos(roll) - move[0] * np.sin(roll)
    paths = []
    for index, share in enumerate((-0.5, 0.5)):
        offset = (share * column, -share * up)
        plain = take_photo(
            tmp_path / f"{index}.png",
            xy=[(0.3, 0.2)],
            spot_radius=0.06,
            radius_px=radius,
            offset_px=offset,
            margin=2.2,
        ).path
        paths.append(tag_photo(tmp_path / f"{index}.jpg", plain))
    options = [PhotoOptions(OutingSite(45, 10), time) for time in times]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", WhichsunWarning)
        measured = measure_photos(paths, options)
    (check,) = measured.to_json()["level_checks"]
    assert check["moved_radii"] == pytest.approx(check["predicted_radii"]["distant-sphere"], rel=0.01)
    assert check["predicted_deg"]["distant-sphere"] - check["drift_deg"] == pytest.approx(1.5, abs=0.1)
    assert check["sigma_deg"] < 0.1
    assert "nearby-plane" in check["predicted_deg"]
    assert [photo.shot.roll_deg for photo in measured.photos] == [0, 0]

"""Specks that stay on their pixels while the Sun's face moves, against spots that move with it."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import WhichsunWarning
from whichsun.sim.outing import OutingSite
from whichsun.sim.photo.measure import PhotoOptions, measure_photos

SPOTS = np.array([(0.45, 0.2), (-0.3, 0.5), (-0.5, -0.35), (0.15, -0.6)])


def turned(xy, degrees):
    angle = np.deg2rad(degrees)
    return np.asarray(xy) @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def add_specks(path, places, size=3, depth=0.7):
    """Soft dark specks, like dust on a filter or sensor, at pixel places."""
    with Image.open(path) as image:
        array = np.asarray(image).astype(float)
    rows, columns = np.mgrid[: array.shape[0], : array.shape[1]]
    for column, row in places:
        array *= (1 - depth * np.exp(-((columns - column) ** 2 + (rows - row) ** 2) / (2 * size**2)))[
            ..., None
        ]
    Image.fromarray(array.astype(np.uint8)).save(path)


def measured(take_photo, folder, shots, specks, depths=(0.7, 0.7, 0.7)):
    """Photos of `shots` (places, offset) at 6 h steps, all with the same specks, of one depth in tone a photo."""
    paths, options = [], []
    for k, (xy, offset) in enumerate(shots):
        path = folder / f"{k}.png"
        take_photo(path, xy=xy, spot_radius=0.045, radius_px=150, offset_px=offset, seed=3)
        add_specks(path, specks, depth=depths[k])
        paths.append(path)
        options.append(PhotoOptions(OutingSite(0, 0), f"2026-03-20T{6 * k + 1:02d}:00:00Z"))
    return measure_photos(paths, options)


def spots_near(photo, places):
    return [
        spot
        for spot in photo.findings.spots
        if any(np.hypot(spot.column - column, spot.row - row) < 3 for column, row in places)
    ]


@pytest.mark.parametrize(
    "shots",
    [
        [(SPOTS, (0, 0)), (turned(SPOTS, 70), (0, 0))],
        [(SPOTS, (0, 0)), (turned(SPOTS, 3), (14, -9))],
        [(SPOTS[:1], (0, 0)), (turned(SPOTS[:1], -120), (0, 0))],
    ],
    ids=["turned", "disc-moved", "one-spot"],
)
def test_dust_is_dropped_and_spots_stay(take_photo, tmp_path, shots):
    specks = [(190.0, 250.0), (260.0, 170.0)]
    with pytest.warns(WhichsunWarning, match="taken for dust"):
        result = measured(take_photo, tmp_path, shots, specks)
    for photo, (xy, _) in zip(result.photos, shots, strict=True):
        assert spots_near(photo, specks) == []
        assert len(photo.findings.spots) == len(xy)
        assert [spot.id for spot in photo.shot.spots] == list(range(1, len(xy) + 1))


@pytest.mark.parametrize(
    "depths", [(0.08, 0.08), (0.7, 0.035), (0.035, 0.7)], ids=["faint-in-both", "faint-later", "faint-before"]
)
def test_faint_dust_is_dropped(take_photo, tmp_path, depths):
    """A speck of 16 % of the light, just a spot in both photos, or one that is too weak for a spot in one of them."""
    specks = [(190.0, 250.0), (250.0, 100.0)]  # clear of the spots of both photos
    shots = [(SPOTS, (0, 0)), (turned(SPOTS, 70), (0, 0))]
    with pytest.warns(WhichsunWarning, match="taken for dust") as told:
        result = measured(take_photo, tmp_path, shots, specks, depths)
    dropped = [str(one.message) for one in told if "taken for dust" in str(one.message)]
    assert len(dropped) == sum(depth > 0.05 for depth in depths)
    for photo, (xy, _) in zip(result.photos, shots, strict=True):
        assert spots_near(photo, specks) == []
        assert len(photo.findings.spots) == len(xy)


def test_the_same_photo_twice_has_no_dust(take_photo, tmp_path):
    with warnings.catch_warnings():
        warnings.simplefilter("error", WhichsunWarning)
        result = measured(take_photo, tmp_path, [(SPOTS, (0, 0)), (SPOTS, (0, 0))], [])
    assert [len(photo.findings.spots) for photo in result.photos] == [4, 4]
    assert result.turn is not None
    assert result.turn.turn_deg == pytest.approx(0, abs=0.05)


def test_three_photos_have_three_turns(take_photo, tmp_path):
    shots = [(SPOTS, (0, 0)), (turned(SPOTS, 40), (3, 0)), (turned(SPOTS, -95), (0, 4))]
    result = measured(take_photo, tmp_path, shots, [])
    names = [shot.file for shot in result.outing.shots]
    pairs = [(turn.shot_a, turn.shot_b) for turn in result.turns]
    assert pairs == [(names[0], names[1]), (names[0], names[2]), (names[1], names[2])]
    found = [turn.turn_deg for turn in result.turns]
    assert found == pytest.approx([40, -95, -135], abs=0.3)
    assert result.turn is result.turns[1]


def test_photos_out_of_order_are_told(take_photo, tmp_path):
    paths = [
        take_photo(tmp_path / f"{k}.png", xy=turned(SPOTS, 30 * k), spot_radius=0.045).path for k in (0, 1)
    ]
    options = [PhotoOptions(OutingSite(0, 0), f"2026-03-20T{hour}:00:00Z") for hour in ("16", "06")]
    with pytest.warns(WhichsunWarning, match="order of time"):
        measure_photos(paths, options)

"""Folders and patterns of photos: which files, in which order, side by side, and what becomes of bad ones."""

from __future__ import annotations

import json
import os
import pickle
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import InputError, PictureError, WhichsunError, WhichsunWarning
from whichsun.sim.cli.main import main
from whichsun.sim.outing import OutingSite
from whichsun.sim.outing_file import read_outing
from whichsun.sim.photo.many import pairs_to_compare, picture_files
from whichsun.sim.photo.measure import PhotoOptions, measure_photos
from whichsun.sim.photo.record import overlay_pngs, record

PLACE = PhotoOptions(site=OutingSite(10, 20))


@pytest.fixture(scope="module")
def series(take_photo, tag_photo, tmp_path_factory):
    """Five photos of one face, named against the order of time; beside them a text and a broken photo."""
    folder = tmp_path_factory.mktemp("series")
    places = np.array([(0.3, 0.2), (-0.45, 0.1), (0.1, -0.5)])
    for number in range(5):
        turn = np.deg2rad(-4.0 * number)
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        raw = folder / "plain.png"
        take_photo(raw, xy=places @ rotation.T, spot_radius=(0.05, 0.04, 0.035), radius_px=110, seed=number)
        name = folder / f"sun{10 - number}.jpg"
        tag_photo(name, raw, local=f"2026:03:20 {6 + number:02d}:00:00", offset="+00:00")
        raw.unlink()
    (folder / "notes.txt").write_text("not a photo")
    (folder / "sun10.overlay.png").write_bytes(b"made by this tool")
    (folder / ".hidden.jpg").write_bytes(b"")
    (folder / "broken.jpg").write_bytes((folder / "sun10.jpg").read_bytes()[:3000])
    return folder


def measured(paths, **keywords):
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", WhichsunWarning)
        result = measure_photos(paths, PLACE, **keywords)
    return result, [str(one.message) for one in caught]


def test_folder_and_pattern(series):
    wanted = ["broken.jpg", *(f"sun{n}.jpg" for n in range(6, 11))]
    files, gathered = picture_files([series])
    assert gathered
    assert [path.name for path in files] == wanted
    assert [path.name for path in picture_files([series / "sun*.jpg"])[0]] == wanted[1:]
    named, gathered = picture_files([series / "sun7.jpg", Path("missing.jpg")])
    assert not gathered
    assert [path.name for path in named] == ["sun7.jpg", "missing.jpg"]
    for empty in (series / "moon*.jpg", series / "*.txt"):
        with pytest.raises(InputError, match="folder or pattern"):
            picture_files([empty])


def test_a_file_named_like_a_pattern_is_that_file(tmp_path):
    odd = tmp_path / "sun[1].jpg"
    odd.write_bytes(b"")
    assert picture_files([odd]) == ([odd], False)


def test_raw_beside_the_same_photo_is_left_out(tmp_path):
    for name in ("a.jpg", "a.nef", "b.nef"):
        (tmp_path / name).write_bytes(b"")
    assert [path.name for path in picture_files([tmp_path])[0]] == ["a.jpg", "b.nef"]


@pytest.mark.parametrize(("count", "pairs"), [(1, 0), (2, 1), (6, 15), (7, 11), (100, 197)])
def test_pairs_grow_with_the_photos_and_hold_the_ends(count, pairs):
    found = pairs_to_compare(count)
    assert len(found) == len(set(found)) == pairs
    assert all(i < j for i, j in found)
    if count > 1:
        assert (0, count - 1) in found
        assert {(i, i + 1) for i in range(count - 1)} <= set(found)


def test_processes_change_nothing(series):
    """Numbers, order, warnings and failures are the same, one after the other or side by side."""
    paths = picture_files([series])[0]
    alone, words_alone = measured(paths, by_time=True)
    shared, words_shared = measured(paths, by_time=True, processes=2)
    assert json.dumps(alone.to_json()) == json.dumps(shared.to_json())
    assert words_alone == words_shared
    # The photos are named against the order of time, an hour and 4 deg clockwise apart.
    assert [Path(shot.file).name for shot in alone.outing.shots] == [f"sun{n}.jpg" for n in range(10, 5, -1)]
    assert len(alone.turns) == 10
    assert alone.turn is not None
    assert alone.turn.turn_deg == pytest.approx(-16.0, abs=0.3)
    assert [Path(one.file).name for one in alone.failed] == ["broken.jpg"]
    assert "damaged" in alone.failed[0].reason
    assert "broken.jpg" not in alone.failed[0].reason


def test_a_wrong_value_stops_the_work_in_other_processes_too(series):
    paths = picture_files([series / "sun*.jpg"])[0]
    for processes in (1, 2):
        with pytest.raises(InputError, match="ISO 8601"):
            measure_photos(paths, PhotoOptions(time="yesterday"), processes=processes)


def test_only_when_all_fail_is_it_an_error(series, tmp_path):
    for number in range(5):
        Image.new("RGB", (200, 200), (30, 30, 60 + number)).save(tmp_path / f"sky{number}.png")
    with pytest.raises(PictureError, match="no disc"):
        measure_photos([tmp_path / "sky0.png"])
    with pytest.raises(WhichsunError, match=r"none of the 5 photos.*sky0.*and 2 more") as caught:
        measure_photos(sorted(tmp_path.glob("*.png")))
    assert "\n" not in str(caught.value)


class _EndsItsReader:
    """What ends the process that unpacks it, as a system out of memory does."""

    def __reduce__(self):
        return os._exit, (9,)


def test_a_photo_that_ends_its_process_takes_no_other_along(series):
    paths = [series / "sun10.jpg", _EndsItsReader(), series / "sun8.jpg", series / "sun6.jpg"]
    result, _ = measured(paths, names=["a", "b", "c", "d"], processes=2)
    assert [shot.file for shot in result.outing.shots] == ["a", "c", "d"]
    assert [one.file for one in result.failed] == ["b"]
    assert "out of memory?" in result.failed[0].reason


def test_errors_travel_between_processes():
    for error in (PictureError("a.jpg", "is damaged", "copy it"), InputError("--time", "must be", 3, "so")):
        copy = pickle.loads(pickle.dumps(error))
        assert type(copy) is type(error)
        assert str(copy) == str(error)
        assert vars(copy) == vars(error)


# Overlays


@pytest.fixture(scope="module")
def drawable(series):
    return measured(picture_files([series / "sun*.jpg"])[0], by_time=True)[0]


def test_overlays_are_the_same_whoever_draws_them(drawable):
    """Byte by byte, in the photos' order, and counted one by one."""
    counted = {1: [], 2: []}
    drawn = {
        processes: overlay_pngs(
            drawable, processes=processes, progress=lambda *told, p=processes: counted[p].append(told)
        )
        for processes in (1, 2)
    }
    assert drawn[1] == drawn[2]
    assert len(set(drawn[1])) == 5
    assert counted[1] == counted[2] == [(done, 5) for done in range(1, 6)]


@pytest.mark.parametrize("processes", [1, 2])
def test_a_photo_lost_before_it_is_drawn_is_one_line(drawable, tmp_path, processes):
    photos = list(drawable.photos)
    photos[3] = replace(photos[3], path=tmp_path / "gone.jpg")
    with pytest.raises(PictureError, match=r"gone\.jpg: there is no such file") as caught:
        overlay_pngs(replace(drawable, photos=tuple(photos)), processes=processes)
    assert "\n" not in str(caught.value)


def test_a_process_that_the_system_ends_is_one_line(drawable, tmp_path):
    photos = (replace(drawable.photos[0], path=_EndsItsReader()), *drawable.photos[1:])
    outing = tmp_path / "outing.toml"
    with pytest.raises(WhichsunError, match="system ended a process that drew overlays") as caught:
        record(
            replace(drawable, photos=photos),
            outing,
            [tmp_path / f"{k}.png" for k in range(5)],
            overwrite=False,
            processes=2,
        )
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_command_takes_a_folder(series, tmp_path, capsys):
    outing = tmp_path / "outing.toml"
    assert main(["measure", str(series), "--site", "10,20", "-o", str(outing), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert [one["file"][-10:] for one in result["failed"]] == ["broken.jpg"]
    assert set(result["failed"][0]) == {"file", "reason"}
    assert [Path(path).name for path in result["overlays"]] == [
        f"sun{n}.overlay.png" for n in range(10, 5, -1)
    ]
    assert all(Path(path).exists() for path in result["overlays"])
    assert len(read_outing(outing).shots) == 5


def test_command_shows_what_failed(series, capsys):
    arguments = [str(series / "broken.jpg"), str(series / "sun10.jpg"), "--site", "10,20"]
    assert main(["measure", *arguments]) == 0
    shown = capsys.readouterr().out
    assert "Not measured" in shown
    assert "damaged" in shown

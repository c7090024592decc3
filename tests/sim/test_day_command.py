"""The command `day` and the files that it writes."""

from __future__ import annotations

import json
import shutil
import stat

import numpy as np
import pytest
from PIL import Image, ImageSequence
from whichsun.models.errors import InputError, MissingLibraryError
from whichsun.sim.cli.main import main
from whichsun.sim.film_file import write_film

DAY = ["day", "--site", "46.5,-30", "--date", "2027-04-18"]


def bar_frames(count=6, height=20, width=32):
    """A red bar that moves to the right over grey."""
    for k in range(count):
        frame = np.full((height, width, 3), 90, np.uint8)
        frame[:, 4 * k : 4 * k + 4] = (220, 30, 10)
        yield frame


def colours():
    return np.concatenate(list(bar_frames()))


def test_json_and_sheet(tmp_path, capsys):
    sheet = tmp_path / "sheet.png"
    options = ["--count", "3", "--width", "800", "--spot", "10,200", "--mount", "equatorial", "--json"]
    assert main([*DAY, "-o", str(sheet), *options]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["schema"] == "whichsun/day/1"
    assert result["files"] == [str(sheet)]
    assert [told["model"] for told in result["models"]] == ["distant-sphere", "nearby-plane"]
    for told in result["models"]:
        assert told["spots"] == [{"latitude_deg": 10.0, "longitude_deg": 200.0}]
        assert len(told["instants"]) == 3
        assert told["instants"][0]["turned_deg"] == 0
        assert told["instants"][0]["roll_deg"] == 0
    # Between geometric rises: the Sun's centre on the horizon without air.
    assert result["models"][0]["instants"][0]["altitude_deg"] == pytest.approx(0, abs=0.01)
    with Image.open(sheet) as picture:
        assert picture.size[0] == 800


def test_tracks_alone_or_beside_the_sheet(tmp_path, capsys):
    sheet, tracks = tmp_path / "sheet.png", tmp_path / "tracks.svg"
    assert main([*DAY, "--tracks", str(tracks), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["files"] == [str(tracks)]
    assert b"<svg" in tracks.read_bytes()[:2000]
    both = [*DAY, "--tracks", str(tracks), "-o", str(sheet), "--count", "2", "--width", "500"]
    assert main([*both]) == 2
    assert not sheet.exists()
    assert main([*both, "--overwrite"]) == 0
    assert sheet.exists()


@pytest.mark.parametrize("kind", ["svg", "pdf"])
def test_sheets_as_drawings(kind, tmp_path):
    path = tmp_path / f"sheet.{kind}"
    assert main([*DAY, "-o", str(path), "--count", "2", "--model", "distant-plane"]) == 0
    head = path.read_bytes()[:200]
    assert head.startswith(b"%PDF") if kind == "pdf" else b"<svg" in path.read_bytes()[:2000]


def test_film_as_gif(tmp_path, capsys):
    path = tmp_path / "day.gif"
    assert main([*DAY, "-o", str(path), "--count", "8", "--size", "120", "--fps", "10"]) == 0
    assert "pattern turned" in capsys.readouterr().out
    with Image.open(path) as film:
        assert film.n_frames == 8
        assert film.info["duration"] == 100
        assert film.info["loop"] == 0


def test_gif_keeps_places_and_colours(tmp_path):
    path = tmp_path / "bar.gif"
    write_film(path, bar_frames(), 20, colours())
    with Image.open(path) as film:
        shown = [np.asarray(frame.convert("RGB")).astype(int) for frame in ImageSequence.Iterator(film)]
    for one, truth in zip(shown, bar_frames(), strict=True):
        # Two colours in a palette of 256: the median cut keeps them but for rounding.
        assert np.max(np.abs(one - truth)) <= 4


def fake_ffmpeg(tmp_path, monkeypatch, body):
    program = tmp_path / "bin" / "ffmpeg"
    program.parent.mkdir()
    program.write_text("#!/bin/sh\n" + body)
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", f"{program.parent}:/usr/bin:/bin")


def test_ffmpeg_gets_every_frame_and_the_file_is_whole(tmp_path, monkeypatch):
    fake_ffmpeg(tmp_path, monkeypatch, 'for last; do :; done\necho "$@" > "$0.args"\ncat > "$last"\n')
    path = tmp_path / "films" / "bar.mp4"
    write_film(path, bar_frames(), 12.5, colours())
    assert path.read_bytes() == b"".join(frame.tobytes() for frame in bar_frames())
    said = (tmp_path / "bin" / "ffmpeg.args").read_text()
    assert "-s 32x20 -r 12.5" in said
    assert [file.name for file in path.parent.iterdir()] == ["bar.mp4"]


def test_a_failing_ffmpeg_is_one_line(tmp_path, monkeypatch):
    fake_ffmpeg(tmp_path, monkeypatch, 'echo "first" >&2\necho "Unknown encoder" >&2\nexit 3\n')
    with pytest.raises(InputError, match="by ffmpeg: Unknown encoder"):
        write_film(tmp_path / "bar.webm", bar_frames(400), 20, colours())
    assert [file.name for file in tmp_path.iterdir()] == ["bin"]


def test_without_ffmpeg_the_hint_names_it(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(MissingLibraryError, match="apt install ffmpeg"):
        write_film(tmp_path / "bar.mp4", bar_frames(), 20, colours())
    assert main([*DAY, "-o", str(tmp_path / "day.mp4")]) == 2
    assert "take" not in capsys.readouterr().out
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not on the PATH")
@pytest.mark.parametrize("kind", ["mp4", "webm"])
def test_real_ffmpeg(kind, tmp_path):
    path = tmp_path / f"bar.{kind}"
    write_film(path, bar_frames(12, 64, 64), 20, colours())
    magic = path.read_bytes()[:12]
    assert b"ftyp" in magic if kind == "mp4" else magic.startswith(b"\x1a\x45\xdf\xa3")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "'output' must be given"),
        (["-o", "day.txt"], "ends in one of"),
        (["--tracks", "day.gif"], "'tracks' must be a name that ends in .png"),
        (["--tracks", "a.png", "-o", "a.png"], "twice"),
        (["-o", "day.png", "--mount", "hand-held"], "level-tripod"),
        (["-o", "day.png", "--surface", "wood"], "stripes"),
        (["-o", "day.png", "--count", "40"], "between 2 and 12"),
        (["-o", "day.gif", "--count", "5000"], "between 2 and 1000"),
        (["-o", "day.gif", "--fps", "0"], "between 1 and 50"),
        (["-o", "day.gif", "--size", "9"], "between 100 and 1080"),
        (["-o", "day.png", "--model", "distant-sphere", "--model", "distant-sphere"], "each once"),
        (["-o", "day.png", "--set", "face=free"], "which face"),
        (["-o", "day.png", "--date", "2027-02-30"], "existing date"),
        (["-o", "day.png", "--spot", "95,0"], "-90 and 90"),
    ],
)
def test_bad_input_is_one_line(arguments, words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main([*DAY, *arguments]) == 2
    said = capsys.readouterr().err.strip()
    assert words in said
    assert "\n" not in said
    assert list(tmp_path.iterdir()) == []


def test_an_existing_file_is_kept(tmp_path, capsys):
    taken = tmp_path / "day.gif"
    taken.write_text("mine")
    assert main([*DAY, "-o", str(taken)]) == 2
    assert "exists already" in capsys.readouterr().err
    assert taken.read_text() == "mine"

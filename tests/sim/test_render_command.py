"""`render`: a synthetic disc from options or a scenario, and one line for bad input."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from whichsun.sim.cli.main import main
from whichsun.sim.photo.load import load_photo

SCENARIO = str(Path(__file__).parents[2] / "scenarios" / "nearby-plane-pair.toml")
OPTIONS = [
    "--model",
    "distant-sphere",
    "--site",
    "46.5,-30",
    "--at",
    "2027-04-18T09:00:00Z",
    "--size",
    "160x120",
]


def test_options(capsys, tmp_path):
    path = tmp_path / "disc.png"
    assert main(["render", *OPTIONS, "--spot", "5,186,900", "-o", str(path), "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    assert got["schema"] == "whichsun/render/1"
    assert got["file"] == str(path)
    assert got["size_px"] == [160, 120]
    assert got["shot"]["radius_px"] == pytest.approx(54)
    assert got["shot"]["spots"][0]["visible"] is True
    with Image.open(path) as image:
        assert image.size == (160, 120)
        pixels = np.asarray(image).astype(int).sum(axis=2)
    assert pixels[60, 80] > 300
    assert pixels[0, 0] == 0
    column, row = got["shot"]["spots"][0]["pixel"]
    assert pixels[round(row), round(column)] < 0.8 * np.median(pixels[50:70, 70:90])


@pytest.mark.parametrize("surface", ["plain", "grid", "stripes"])
def test_surfaces_and_readable_output(capsys, tmp_path, surface):
    path = tmp_path / f"{surface}.png"
    assert main(["render", *OPTIONS, "--surface", surface, "--no-refraction", "-o", str(path)]) == 0
    assert "height over width 1.0000" in capsys.readouterr().out
    with Image.open(path) as image:
        assert image.size == (160, 120)


def test_scenario_and_its_noise(capsys, tmp_path):
    paths = [tmp_path / name for name in ("a.png", "b.png", "c.png")]
    for path, extra in zip(paths, ([], ["--noise-seed", "3"], ["--noise-seed", "3"]), strict=True):
        assert main(["render", "--scenario", SCENARIO, "--shot", "2", "-o", str(path), "--json", *extra]) == 0
        got = json.loads(capsys.readouterr().out)
        assert got["model"] == "nearby-plane"
        assert got["shot"]["file"] == "sunset.jpg"
    assert paths[1].read_bytes() == paths[2].read_bytes() != paths[0].read_bytes()


def test_an_existing_picture_is_kept(capsys, tmp_path):
    path = tmp_path / "disc.png"
    path.write_bytes(b"mine")
    assert main(["render", *OPTIONS, "-o", str(path)]) == 2
    assert "give --overwrite" in capsys.readouterr().err
    assert path.read_bytes() == b"mine"
    assert main(["render", *OPTIONS, "-o", str(path), "--overwrite"]) == 0
    assert path.read_bytes() != b"mine"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (OPTIONS[:-4], "'at' must be given"),
        (OPTIONS[2:], "'model' must be given"),
        ([*OPTIONS, "--scenario", SCENARIO], "'scenario' must stand alone"),
        (["--scenario", "none.toml"], "must be an existing TOML file"),
        (["--scenario", SCENARIO, "--shot", "3"], "'shot' must be between 1 and 2, got 3"),
        ([*OPTIONS, "--shot", "0"], "'shot' must be between 1 and 1"),
        ([*OPTIONS, "--surface", "rough"], "unknown surface 'rough'"),
        ([*OPTIONS, "--size", "big"], "'size' must be WIDTHxHEIGHT"),
        ([*OPTIONS, "--size", "3x3"], "'width_px' must be between"),
        ([*OPTIONS, "--spot", "91,0"], "'latitude_deg' must be between"),
        ([*OPTIONS, "--spot", "1,0,-4"], "'area_msh' must be between"),
        ([*OPTIONS, "--roll-deg", "nan"], "'roll-deg' must be finite"),
        ([*OPTIONS, "--noise-seed", "-1"], "'noise-seed' must be 0 or more"),
        ([*OPTIONS, "--at", "2027-04-18T02:00:00Z"], "lower limb must be above"),
        ([*OPTIONS, "--model", "nearby-plane", "--set", "face=free", "--spot", "0,0"], "attitude"),
        ([*OPTIONS, "-o", "disc.gif"], "'output' must be a name that ends in .png, .jpg"),
    ],
)
def test_bad_input_gets_one_line_and_code_2(capsys, arguments, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    output = [] if "-o" in arguments else ["-o", "disc.png"]
    assert main(["render", *arguments, *output, "--json"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith("whichsun: error: ")
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert list(tmp_path.iterdir()) == []


def test_no_output_named(capsys):
    assert main(["render", *OPTIONS]) == 2
    assert "output" in capsys.readouterr().err


def test_a_sun_below_the_horizon_is_said(tmp_path, capsys):
    night = ["render", "--model", "distant-sphere", "--site", "46.5,-30,4", "--size", "200x200"]
    picture = str(tmp_path / "low.png")
    assert main([*night, "--at", "2027-04-18T07:07:30Z", "-o", picture]) == 0
    assert "below the horizon" in capsys.readouterr().err
    assert main([*night, "--at", "2027-04-18T07:11:30Z", "-o", picture, "--overwrite"]) == 0
    assert "below the horizon" not in capsys.readouterr().err


def test_jpeg_passes_for_a_photo_and_the_truth_stands_beside_it(tmp_path, capsys):
    path = tmp_path / "sun.jpg"
    assert main(["render", *OPTIONS, "--spot", "5,186,900", "-o", str(path), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    photo = load_photo(path)
    assert photo.time_utc == "2027-04-18T09:00:00Z"
    assert (photo.site.latitude_deg, photo.site.longitude_deg) == (46.5, -30)
    assert photo.focal_length_mm == pytest.approx(54 / np.tan(np.deg2rad(0.2654)) * 0.0046, rel=2e-3)
    known = json.loads((tmp_path / "sun.truth.json").read_text())
    assert known["schema"] == "whichsun/truth/1"
    assert known["shots"][0]["file"] == "sun.jpg"
    assert known["drawn_with"]["granulation"] == 0
    assert known["shots"][0]["spots"] == shown["shot"]["spots"]
    assert shown["truth_file"] == str(tmp_path / "sun.truth.json")
    assert main(["render", *OPTIONS, "-o", str(tmp_path / "sun.png")]) == 2  # its truth is there already
    assert not (tmp_path / "sun.png").exists()


def test_png_carries_time_and_place_too(tmp_path):
    path = tmp_path / "sun.png"
    assert main(["render", *OPTIONS, "-o", str(path)]) == 0
    photo = load_photo(path)
    assert photo.time_utc == "2027-04-18T09:00:00Z"
    assert photo.site.longitude_deg == -30

"""The map of latitudes and dates that tell two models apart."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pytest
from matplotlib.colors import to_hex
from whichsun.models.errors import InputError
from whichsun.models.registry import get_model
from whichsun.render import separation_map as drawing
from whichsun.render import style
from whichsun.render.style import new_figure
from whichsun.sim.cli.main import main
from whichsun.sim.rotation import rotation_law
from whichsun.sim.separating import separation_map
from whichsun.sim.sweeping import sweep, sweep_times

LAW = rotation_law("howard-1984")
LATITUDES = [-40.0, 0.0, 40.0, 80.0]


def pair(*names):
    return [(get_model(name), {}) for name in names]


@pytest.fixture(scope="module")
def year():
    return separation_map(pair("distant-sphere", "nearby-plane"), 2026, LATITUDES, law=LAW, sigma_deg=4.0)


def test_cells_are_the_difference_of_two_sweeps(year):
    assert year.separation.shape == (4, 24)
    column = year.dates.index(dt.date(2026, 4, 5))
    times = sweep_times("2026-04-05", LATITUDES)
    turns = []
    for model, given in pair("distant-sphere", "nearby-plane"):
        turns.append([row["pattern_turn_deg"] for row in sweep(model, times, given, law=LAW)])
    apart = np.abs(np.subtract(*turns))
    expected = np.minimum(apart, 360 - apart) / 4.0
    np.testing.assert_allclose(year.separation[:, column], expected)
    assert expected[2] > 10


def test_no_cell_where_the_sun_does_not_set(year):
    june, december = year.dates.index(dt.date(2026, 6, 20)), year.dates.index(dt.date(2026, 12, 20))
    assert np.isnan(year.separation[3, [june, december]]).all()
    assert np.isfinite(year.separation[:3]).all()
    assert year.separation[:3].max() <= 180 / 4.0


def test_a_model_is_not_apart_from_itself():
    same = separation_map(pair("distant-sphere", "distant-sphere"), 2026, LATITUDES[:3], law=LAW)
    np.testing.assert_array_equal(same.separation, 0)
    far = [(get_model("nearby-sphere"), {"distance_km": 1.4e8}), *pair("distant-sphere")]
    assert np.max(separation_map(far, 2026, [30.0, 50.0], law=LAW).separation) < 0.1


def test_progress_is_told():
    told = []
    separation_map(
        pair("distant-sphere", "distant-plane"),
        2026,
        [10.0, 20.0],
        law=LAW,
        event="hours",
        progress=lambda done, of, words: told.append((done, of, words)),
    )
    assert told[0] == (0, 24, "map of the year, January")
    assert len(told) == 24


@pytest.mark.parametrize(
    ("names", "options", "words"),
    [
        (["distant-sphere"], {}, "two models"),
        (["distant-sphere"] * 2, {"sigma_deg": 0.0}, "above 0"),
        (["distant-sphere"] * 2, {"sigma_deg": float("nan")}, "above 0"),
    ],
)
def test_bad_input(names, options, words):
    with pytest.raises(InputError, match=words):
        separation_map(pair(*names), 2026, LATITUDES, law=LAW, **options)


def test_cells_have_the_colour_of_the_key(year):
    artists = drawing.draw_separation_map(year)
    mesh, figure = artists[0], artists[0].figure
    figure.canvas.draw()
    colours = mesh.get_facecolors().reshape(4, 24, 4)
    for row, column in ((0, 3), (2, 0), (2, 6)):
        value = year.separation[row, column]
        k = int(np.searchsorted(drawing.LEVELS, value, side="right")) - 1
        assert to_hex(colours[row, column]).upper() == drawing._TONES[k]
    words = [text.get_text() for text in artists[-1].get_texts()]
    assert words[:2] == ["0 to 1", "1 to 2"]
    assert "above 40" in words
    assert "no sunrise, sunset or turn" in words


def test_cells_that_mean_little_are_hatched_so_that_it_shows_on_light_and_dark(year):
    """Dark cells in paper, light ones in ink; cells without a number are dotted, not hatched."""
    separation = np.array([[0.5, 50.0, np.nan], [0.5, 50.0, 8.0]])
    scatter = np.array([[1.2, 1.2, np.nan], [0.1, 0.1, 0.1]])
    made = drawing.SeparationMap(
        year.models, np.array(LATITUDES[:2]), year.dates[:3], 2.0, separation, scatter
    )
    hatched = [a for a in drawing.draw_separation_map(made)[1:-1] if a.get_hatch() == "//"]
    assert [to_hex(one.get_edgecolor()[0]).upper() for one in hatched] == [style.INK, style.PAPER]
    assert [len(one.get_paths()) for one in hatched] == [1, 1]
    dotted = [a for a in drawing.draw_separation_map(made)[1:-1] if a.get_hatch() == ".."]
    assert [len(one.get_paths()) for one in dotted] == [1]
    calm = np.array([[0.5, 50.0, 3.0], [0.5, 50.0, 8.0]])
    made = drawing.SeparationMap(
        year.models, np.array(LATITUDES[:2]), year.dates[:3], 2.0, calm, 0.1 * np.ones((2, 3))
    )
    assert len(drawing.draw_separation_map(made)) == 2, "the mesh and the key alone"


def test_map_into_given_axes_and_what_does_not_fit(year):
    ax = new_figure().add_subplot()
    assert drawing.draw_separation_map(year, ax=ax)[0].axes is ax
    wrong = drawing.SeparationMap(
        year.models, year.latitudes_deg, year.dates[:3], 2.0, year.separation, year.scatter
    )
    with pytest.raises(InputError, match="two or more"):
        drawing.draw_separation_map(wrong)


def test_command_draws_the_map(tmp_path, capsys):
    path = tmp_path / "map.svg"
    base = ["sweep", "--date", "2026-03-20", "--latitudes=40:-40:-40", "--sigma", "3"]
    assert main([*base, "--map", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["map"]
    assert told["models"] == ["distant-sphere", "nearby-plane"]
    assert told["latitudes_deg"] == [-40, 0, 40]
    assert np.array(told["separation_sigma"]).shape == (3, 24)
    assert b"<svg" in path.read_bytes()[:2000]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--map", "a.gif"], "'map' must be a name that ends in .png, .svg or .pdf"),
        (["--map", "a.png", "--figure", "a.png"], "another file"),
        (["--map", "a.png", "--model", "distant-sphere"], "two models"),
        (["--map", "a.png", "--sigma", "-1"], "above 0"),
        (["--map", "a.png", "--latitudes", "5:5:1"], "two or more"),
    ],
)
def test_bad_input_is_one_line(arguments, words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["sweep", "--date", "2026-03-20", "--latitudes", "0:20:10", *arguments]) == 2
    said = capsys.readouterr().err.strip()
    assert words in said
    assert "\n" not in said
    assert list(tmp_path.iterdir()) == []

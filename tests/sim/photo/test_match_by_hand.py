"""Matches by hand stand in the outing file by place, so that they survive measuring again with other numbers."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from whichsun.models.errors import TomlError
from whichsun.sim.cli.main import main
from whichsun.sim.outing import HandMatch, Outing, Shot
from whichsun.sim.outing_file import merge_outing, outing_text, read_outing
from whichsun.sim.photo import record

pytestmark = pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")

PLACES = np.array([(0.5, 0.1), (-0.4, 0.4), (0.1, -0.6), (-0.2, -0.3)])
SIZES = np.array([0.06, 0.05, 0.045, 0.04])


def turned(xy, degrees):
    angle = np.deg2rad(degrees)
    return xy @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


@pytest.fixture
def pair(take_photo, tmp_path, monkeypatch):
    """Two photos, the pattern turned by 40 deg, and the call that measures them into one outing, undrawn."""
    monkeypatch.setattr(record, "overlay_png", lambda *_: b"")
    monkeypatch.setattr(record, "pair_png", lambda *_: b"")
    take_photo(tmp_path / "a.png", xy=PLACES, spot_radius=SIZES, radius_px=150)
    take_photo(tmp_path / "b.png", xy=turned(PLACES, 40), spot_radius=SIZES, radius_px=150, seed=2)
    files = [str(tmp_path / name) for name in ("a.png", "b.png")]
    return tmp_path, ["measure", *files, "-o", str(tmp_path / "o.toml")]


def said_by_hand(capsys):
    matches = json.loads(capsys.readouterr().out)["matches"]
    return [(one["id_a"], one["id_b"]) for one in matches if one["by_hand"]]


def test_a_match_survives_measuring_again_with_other_numbers(pair, take_photo, capsys):
    folder, call = pair
    assert main([*call, "--match", "2:3", "--json"]) == 0
    assert said_by_hand(capsys) == [(2, 3)]
    (kept,) = read_outing(folder / "o.toml").matches
    assert (kept.shot_a, kept.shot_b) == ("a.png", "b.png")
    text = (folder / "o.toml").read_text()
    (folder / "o.toml").write_text(text.replace("[[match]]", "[[match]] # I am sure of it"))
    # A greater spot came into the first photo, so that the numbers there grow by one.
    more, sizes = np.vstack([PLACES, [(-0.1, 0.75)]]), np.append(SIZES, 0.09)
    take_photo(folder / "a.png", xy=more, spot_radius=sizes, radius_px=150)
    assert main([*call, "--overwrite", "--json"]) == 0
    assert said_by_hand(capsys) == [(3, 3)]
    assert read_outing(folder / "o.toml").matches == (kept,)
    assert "# I am sure of it" in (folder / "o.toml").read_text()
    # The photos the other way round: still the same two spots.
    assert main(["measure", *call[2:0:-1], *call[3:], "--overwrite", "--json"]) == 0
    assert said_by_hand(capsys) == [(3, 3)]


def test_a_match_is_shown_as_given_by_hand(pair, capsys):
    _, call = pair
    assert main([*call, "--match", "1:1"]) == 0
    rows = [line.split() for line in capsys.readouterr().out.splitlines()]
    assert [row[:4] for row in rows if row[-2:] == ["by", "hand"]] == [["a.png", "1", "b.png", "1"]]


def test_a_new_match_replaces_one_of_the_same_spot_and_a_dropped_spot_takes_its_match_along(pair, capsys):
    folder, call = pair
    again = [*call, "--overwrite", "--json"]
    assert main([*again, "--match", "2:3,1:1"]) == 0
    assert main([*again, "--match", "4:3"]) == 0
    capsys.readouterr()
    assert main(again) == 0
    assert said_by_hand(capsys) == [(1, 1), (4, 3)]
    assert len(read_outing(folder / "o.toml").matches) == 2
    assert main([*again, "--drop-spot", "2:3"]) == 0
    assert said_by_hand(capsys) == [(1, 1)]
    assert len(read_outing(folder / "o.toml").matches) == 1


def test_a_match_whose_spot_is_lost_stays_in_the_file_without_effect(pair, take_photo, capsys):
    folder, call = pair
    assert main([*call, "--match", "2:2", "--json"]) == 0
    take_photo(folder / "a.png", xy=PLACES[[0, 2, 3]], spot_radius=SIZES[[0, 2, 3]], radius_px=150)
    capsys.readouterr()
    assert main([*call, "--overwrite", "--json"]) == 0
    out, err = capsys.readouterr()
    assert re.search(r"no spot at 14[45], 14[45] of a\.png now", err)  # it was drawn at 144.5, 144.5
    assert not any(one["by_hand"] for one in json.loads(out)["matches"])
    assert len(read_outing(folder / "o.toml").matches) == 1


def test_files_with_matches(tmp_path):
    match = HandMatch("a.jpg", (10.5, 20.0), "b.jpg", (30.0, 40.25))
    outing = Outing(None, (Shot("a.jpg"), Shot("b.jpg")), matches=(match,))
    path = tmp_path / "o.toml"
    path.write_text(outing_text(outing))
    assert read_outing(path) == outing
    bare = Outing(None, outing.shots)
    path.write_text(merge_outing(path.read_text(), bare))
    assert read_outing(path) == outing  # somebody else's write keeps what a person said
    path.write_text(merge_outing(path.read_text(), bare, explicit={"by_hand"}))
    assert read_outing(path) == bare
    path.write_text(merge_outing(path.read_text(), outing, explicit={"by_hand"}))
    assert read_outing(path) == outing
    wrong = path.read_text().replace('shot_b = "b.jpg"', 'shot_b = "c.jpg"')
    path.write_text(wrong)
    with pytest.raises(TomlError, match=r"match\[1\]\.shot_b.*a\.jpg.*got \"c\.jpg\""):
        read_outing(path)
    path.write_text(wrong.replace('"c.jpg"', '"a.jpg"'))
    with pytest.raises(TomlError, match="another shot"):
        read_outing(path)

"""What a person says wins: spots added, dropped and matched by hand, a target named, all kept in the outing."""

from __future__ import annotations

import json
import shutil
import warnings

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import InputError, WhichsunWarning
from whichsun.sim.cli.main import main
from whichsun.sim.outing_file import read_outing
from whichsun.sim.photo.measure import measure_photos
from whichsun.sim.photo.overrule import Overrule, parse_overrule

PLACES = np.array([(0.5, 0.1), (-0.4, 0.4), (0.1, -0.6), (-0.2, -0.3)])
SIZES = np.array([0.06, 0.05, 0.045, 0.04])
TURN_DEG = 40.0


def turned(xy, degrees):
    angle = np.deg2rad(degrees)
    return xy @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


@pytest.fixture(scope="module")
def folder(take_photo, tmp_path_factory):
    """Two photos, the pattern turned by 40 deg; the second has a faint fifth spot at (0.55, -0.45)."""
    where = tmp_path_factory.mktemp("overrule")
    take_photo(where / "a.png", xy=PLACES, spot_radius=SIZES, radius_px=150)
    second = take_photo(
        where / "b.png", xy=turned(PLACES, TURN_DEG), spot_radius=SIZES, radius_px=150, seed=2
    )
    with Image.open(where / "b.png") as image:
        light = np.asarray(image, float)
    rows, columns = np.indices(light.shape[:2])
    column, row = second.centre_px[0] + 0.55 * 150, second.centre_px[1] + 0.45 * 150
    dip = 0.05 * np.exp(-((columns - column) ** 2 + (rows - row) ** 2) / (2 * 3.0**2))
    Image.fromarray((light * (1 - dip[..., None])).round().astype(np.uint8)).save(where / "b.png")
    return where


def measured(folder, **said):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", WhichsunWarning)
        paths = [folder / "a.png", folder / "b.png"]
        return measure_photos(paths, names=["a.png", "b.png"], overrule=parse_overrule(**said))


def faint_place(folder):
    """Column and row of the faint spot."""
    with Image.open(folder / "b.png") as image:
        middle = (image.width - 1) / 2
    return middle + 0.55 * 150, middle + 0.45 * 150


def test_the_target_s_own_turn_stands_beside_the_pattern_s(folder):
    both = measured(folder)
    assert both.turn.turn_deg == pytest.approx(TURN_DEG, abs=0.3)
    target = both.target
    assert (target.shot_a, target.id_a, target.shot_b) == ("a.png", 1, "b.png")  # the largest
    assert target.turn_deg == pytest.approx(TURN_DEG, abs=0.4)
    assert target.sigma_deg > both.turn.sigma_deg
    named = measured(folder, target="b.png:3").target
    assert named.id_b == 3
    assert named.turn_deg == pytest.approx(TURN_DEG, abs=0.4)
    assert both.to_json()["target"]["id_a"] == 1


def test_a_dropped_spot_is_gone_and_the_others_keep_their_numbers(folder):
    less = measured(folder, drop=["1:2"])
    assert [spot.id for spot in less.outing.shots[0].spots] == [1, 3, 4]
    assert 2 not in [match.id_a for match in less.matches]
    assert less.turn.spots_used == 3
    assert any(reason == "dropped by hand" for *_, reason in less.photos[0].findings.refused)
    assert less.turn.turn_deg == pytest.approx(TURN_DEG, abs=0.4)


def test_an_eye_s_spot_is_measured_where_something_is_dark(folder):
    column, row = faint_place(folder)
    plain = measured(folder)
    assert len(plain.outing.shots[1].spots) == 4
    more = measured(folder, add=[f"b.png:{column + 2:.0f},{row - 1:.0f}"])
    added = more.outing.shots[1].spots[-1]
    assert (added.id, added.by_hand) == (5, True)
    assert (added.x, added.y) == pytest.approx((0.55, -0.45), abs=0.006)
    assert added.sigma_x < 0.005
    assert added.area_msh > 0


def test_an_eye_s_spot_is_placed_where_nothing_shows(folder):
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        paths = [folder / "a.png", folder / "b.png"]
        more = measure_photos(paths, overrule=parse_overrule(add=["1:230,150"]))
    assert any("nothing dark stands out" in str(one.message) for one in caught)
    added = more.outing.shots[0].spots[-1]
    assert added.by_hand
    assert added.area_msh is None
    assert added.sigma_x > 3 * more.outing.shots[0].spots[0].sigma_x
    assert added.sigma_x * 150 > 1.5  # pixels: no better than an eye


def test_matches_by_hand_rule_the_rest(folder):
    plain = {match.id_a: match.id_b for match in measured(folder).matches}
    pair = (1, plain[2])  # wrong on purpose
    forced = measured(folder, match=[f"{pair[0]}:{pair[1]}"])
    found = {match.id_a: match for match in forced.matches}
    assert (found[1].id_b, found[1].probability) == (plain[2], 1.0)
    swapped = measured(folder, match=["1:2,2:1"])
    assert {(m.id_a, m.id_b) for m in swapped.matches if m.probability == 1} >= {(1, 2), (2, 1)}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("first:last, such as", {"match": ["1-3"]}),
        ("each spot of the first photo once", {"match": ["1:3,1:2"]}),
        ("each spot of the last photo once", {"match": ["1:3", "2:3"]}),
        ("must be a spot of a.png", {"match": ["9:1"]}),
        ("SHOT:COLUMN,ROW", {"add": ["1:200"]}),
        ("SHOT:COLUMN,ROW", {"add": ["1:2e,7"]}),
        ("name a shot by number or file: 1 .a.png., 2 .b.png.", {"add": ["3:200,200"]}),
        ("must lie on the disc of b.png", {"add": ["2:3,3"]}),
        ("SHOT:NUMBER", {"drop": ["1"]}),
        (r"must be a spot of b.png \(1, 2, 3, 4\)", {"drop": ["b.png:7"]}),
        ("SHOT:NUMBER", {"target": "one"}),
        ("must be a spot of a.png", {"target": "1:8"}),
    ],
)
def test_wrong_words_are_refused_in_one_line(folder, words, said):
    with pytest.raises(InputError, match=words) as caught:
        measured(folder, **said)
    assert "\n" not in str(caught.value)


def test_a_spot_that_is_there_is_not_added_twice(folder):
    spot = measured(folder).photos[0].findings.spots[0]
    with pytest.raises(InputError, match="it is spot 1 of"):
        measured(folder, add=[f"1:{spot.column:.1f},{spot.row:.1f}"])


def test_one_photo_has_no_target(folder):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", WhichsunWarning)
        assert measure_photos([folder / "a.png"]).target is None
        with pytest.raises(InputError, match="two photos"):
            measure_photos([folder / "a.png"], overrule=Overrule(target=("1", 1)))
        with pytest.raises(InputError, match="two photos"):
            measure_photos([folder / "a.png"], overrule=Overrule(match=((1, 1),)))


def test_the_outing_keeps_what_was_added_by_hand(folder, tmp_path, capsys):
    for name in ("a.png", "b.png"):
        shutil.copy(folder / name, tmp_path / name)
    column, row = faint_place(folder)
    call = ["measure", str(tmp_path / "a.png"), str(tmp_path / "b.png"), "-o", str(tmp_path / "o.toml")]
    assert main([*call, "--add-spot", f"2:{column:.1f},{row:.1f}", "--target", "1:2", "--json"]) == 0
    first = json.loads(capsys.readouterr().out)
    assert first["target"]["id_a"] == 2
    assert first["pair"] == str(tmp_path / "o.pair.png")
    with Image.open(tmp_path / "o.pair.png") as sheet:
        assert sheet.width >= 1200
    before = read_outing(tmp_path / "o.toml").shots[1].spots
    assert [spot.by_hand for spot in before] == [None] * 4 + [True]
    assert main([*call, "--overwrite", "--json"]) == 0
    again = json.loads(capsys.readouterr().out)
    assert [spot["by_hand"] for spot in again["shots"][1]["spots"]] == [False] * 4 + [True]
    after = read_outing(tmp_path / "o.toml").shots[1].spots
    assert len(after) == 5
    assert (after[-1].x, after[-1].y, after[-1].id) == (before[-1].x, before[-1].y, before[-1].id)
    # Dropped by its number it is gone for good.
    assert main([*call, "--overwrite", "--drop-spot", "2:5"]) == 0
    assert len(read_outing(tmp_path / "o.toml").shots[1].spots) == 4

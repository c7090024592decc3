"""The outing file: round trip, merging, and one clear line for every mistake."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.errors import InputError, OutputExistsError, TomlError
from whichsun.sim.outing import Observable, Outing, OutingSite, Shot, Spot
from whichsun.sim.outing_file import merge_outing, outing_text, read_outing, write_outing
from whichsun.sim.toml_check import key_lines, parse_toml

TIMES = ("2027-03-20T06:10:00Z", "2027-03-20T17:50:00Z")
OUTING = Outing(
    OutingSite(44.25, -38.5, 12.0),
    (
        Shot(
            "rise.jpg",
            TIMES[0],
            time_sigma_s=2.0,
            camera="none in particular",
            centre_px=(800.25, 600.5),
            semi_axes_px=(400.0, 380.5),
            centre_sigma_px=(0.03, 0.03),
            semi_axes_sigma_px=(0.1, 0.1),
            axis_ratio=0.95125,
            spots=(Spot(1, 0.1, 0.25, 1e-3, 2e-3, -0.25, 120.0, 0.5), Spot(2, -0.5, 0.125, 1e-3, 1e-3)),
        ),
        Shot("set.jpg", TIMES[1], mount="hand-held", mirrored=False, roll_deg=1.5),
    ),
    (Observable("turn", -91.5, 2.0, TIMES, "pattern"), Observable("altitude", 1.5, 0.5, TIMES[:1])),
)
HAND = """schema = "whichsun/outing/1"
# a day at sea
[site]  # from the chart
latitude_deg = 44.3
longitude_deg = -38

[[shot]]
# the first one
file = "rise.jpg"
time_utc = 2027-03-20T06:12:00+00:00  # by the ship's clock
mount = "hand-held"
[[shot.spot]]
id = 1
x = 0.1
y = 0.1
sigma_x = 0.01
sigma_y = 0.01
by_hand = true

[[shot]]
file = "noon.jpg"
"""


def test_round_trip(tmp_path):
    path = tmp_path / "outing.toml"
    write_outing(OUTING, path)
    assert read_outing(path) == OUTING


@settings(deadline=None)
@given(
    x=st.floats(-1, 1),
    y=st.floats(-1, 1),
    sigma=st.floats(1e-6, 0.1),
    correlation=st.floats(-1, 1),
    latitude=st.floats(-90, 90),
)
def test_numbers_keep_nine_digits(tmp_path_factory, x, y, sigma, correlation, latitude):
    outing = Outing(
        OutingSite(latitude, 0.0), (Shot("a.jpg", spots=(Spot(1, x, y, sigma, sigma, correlation),)),)
    )
    path = tmp_path_factory.mktemp("o") / "o.toml"
    write_outing(outing, path)
    spot = read_outing(path).shots[0].spots[0]
    assert spot.x == pytest.approx(x, rel=1e-8, abs=1e-300)
    assert spot.y == pytest.approx(y, rel=1e-8, abs=1e-300)
    assert spot.sigma_x == pytest.approx(sigma, rel=1e-8)


def test_existing_file_is_refused_and_unchanged(tmp_path):
    path = tmp_path / "outing.toml"
    path.write_text(HAND)
    with pytest.raises(OutputExistsError, match="--overwrite"):
        write_outing(OUTING, path)
    assert path.read_text() == HAND


def test_measuring_again_keeps_what_was_entered_by_hand(tmp_path):
    path = tmp_path / "outing.toml"
    path.write_text(HAND)
    write_outing(OUTING, path, overwrite=True)
    text, merged = path.read_text(), read_outing(path)
    for comment in ("# a day at sea", "# from the chart", "# the first one", "# by the ship's clock"):
        assert comment in text
    assert merged.site == OutingSite(44.3, -38.0, 0.0)
    assert [shot.file for shot in merged.shots] == ["rise.jpg", "noon.jpg", "set.jpg"]
    first = merged.shots[0]
    assert first.time_utc == "2027-03-20T06:12:00Z"
    assert first.mount == "hand-held"
    assert first.centre_px == (800.25, 600.5)
    assert first.spots[:2] == OUTING.shots[0].spots
    assert first.spots[2] == Spot(3, 0.1, 0.1, 0.01, 0.01, by_hand=True)
    assert merged.observables == OUTING.observables
    again = merge_outing(text, OUTING)
    assert again == text


def test_photos_once_given_the_wrong_way_round_come_into_order():
    backwards = replace(OUTING, shots=OUTING.shots[::-1], matches=())
    right = merge_outing(outing_text(backwards) + "# the end\n", replace(OUTING, matches=()))
    times = [line for line in right.splitlines() if line.startswith("time_utc") and "[" not in line]
    assert len(times) >= len(OUTING.shots)
    assert times[: len(OUTING.shots)] == sorted(times[: len(OUTING.shots)])
    assert "# the end" in right
    again = merge_outing(right, replace(OUTING, matches=()))
    assert [line for line in again.splitlines() if line] == [line for line in right.splitlines() if line]


def test_an_explicit_value_replaces_the_one_in_the_file():
    merged = merge_outing(HAND, OUTING, explicit={"site", "time_utc"})
    assert "44.25" in merged
    assert TIMES[0] in merged
    assert 'mount = "hand-held"' in merged


def test_a_shot_measured_under_another_roll_is_refused():
    hand = HAND.replace('mount = "hand-held"', "roll_deg = 3.0")
    with pytest.raises(InputError, match=r"roll_deg.*measure with the roll of the file"):
        merge_outing(hand, OUTING)


def test_stale_measured_values_go():
    text = outing_text(OUTING)
    again = merge_outing(text, Outing(None, (Shot("rise.jpg"),)))
    assert "semi_axes_px" not in again
    assert "[[shot.spot]]" not in again


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "latitude_deg",
            "latitud_deg",
            "line 4, 'site.latitud_deg': unknown key: did you mean 'latitude_deg'",
        ),
        ("44.3", "91.0", "line 4, 'site.latitude_deg': expected a number between -90 and 90, got 91.0"),
        ("44.3", "nan", "line 4, 'site.latitude_deg': expected a number between -90 and 90, got nan"),
        ("longitude_deg = -38", "longitude_deg = -38\nheight_m = -2", "line 6, 'site.height_m': expected"),
        ("latitude_deg = 44.3", "", "line 3, 'site.latitude_deg': is missing; a number between -90 and 90"),
        (
            "id = 1",
            "id = true",
            "line 13, 'shot[1].spot[1].id': expected a whole number, 0 or more, got true",
        ),
        ("+00:00", "", "line 10, 'shot[1].time_utc': must have an offset or Z"),
        ("2027-03-20T06:12:00+00:00", '"2027-02-30T06:12:00Z"', "must be an existing ISO 8601 date and time"),
        ("2027-03-20T06:12:00+00:00", "7", "line 10, 'shot[1].time_utc': expected an ISO 8601 time"),
        ("x = 0.1", 'x = "q"', "line 14, 'shot[1].spot[1].x': expected a number between -1.5 and 1.5"),
        ("sigma_x = 0.01", "sigma_x = 0", "'shot[1].spot[1].sigma_x': expected a number above 0, got 0"),
        ("hand-held", "handheld", "did you mean 'hand-held'?"),
        ("= -38", "= -38 2", "line 5: is not valid TOML"),
        ("[site]", "[sit]", "line 3, 'sit': unknown key: did you mean 'site'?"),
        ("outing/1", "outing/2", "line 1, 'schema': expected one of \"whichsun/outing/1\""),
        ("noon.jpg", "rise.jpg", "line 21, 'shot[2].file': expected a value used once"),
        ("by_hand = true", "radius = 0.5", "line 18, 'shot[1].spot[1].radius': contradicts x, y"),
        ("by_hand = true", "vertex_angle_deg = 45.0", "'shot[1].spot[1].vertex_angle_deg': contradicts x, y"),
        ("by_hand = true", 'by_hand = "yes"', 'expected true or false, got "yes"'),
    ],
)
def test_every_mistake_gets_one_line(tmp_path, old, new, words):
    path = tmp_path / "outing.toml"
    path.write_text(HAND.replace(old, new, 1))
    with pytest.raises(TomlError) as caught:
        read_outing(path)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


OBSERVABLE = """schema = "whichsun/outing/1"
[[observable]]
kind = "turn"
turn_kind = "pattern"
value = -61.4
sigma = 2
time_utc = ["2027-03-20T06:10:00Z", "2027-03-20T17:50:00Z"]
"""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"turn"', '"trun"', "did you mean 'turn'?"),
        ('turn_kind = "pattern"', "", "is needed for a turn"),
        ('kind = "turn"', 'kind = "altitude"', "expected 1 time(s) for kind 'altitude', got 2"),
        ("sigma = 2", "sigma = -2", "expected a number above 0, got -2"),
        (', "2027-03-20T17:50:00Z"', "", "expected 2 time(s)"),
        ("T06", "T18", "expected the earlier time first"),
        ("-61.4", "inf", "'observable[1].value': expected a number, got inf"),
    ],
)
def test_observables_are_checked(tmp_path, old, new, words):
    path = tmp_path / "outing.toml"
    path.write_text(OBSERVABLE)
    assert read_outing(path).observables == (Observable("turn", -61.4, 2.0, TIMES, "pattern"),)
    path.write_text(OBSERVABLE.replace(old, new, 1))
    with pytest.raises(TomlError) as caught:
        read_outing(path)
    assert words in str(caught.value)


def test_missing_and_binary_files(tmp_path):
    with pytest.raises(InputError, match="must be an existing TOML file"):
        read_outing(tmp_path / "none.toml")
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="must be a readable text file"):
        read_outing(tmp_path / "b.toml")


def test_lines_of_keys_are_found_through_lists_strings_and_comments():
    text = 'a = [\n  1, # [x]\n  [2],\n]\n"b c" = """\n[no]\nx = 1\n"""\n[t.u]\nv.w = "]"\n'
    text += "[[s]]\n[[s]]\n[[s.r]]\nk = 1\n"
    parse_toml(text.replace("[2]", "2"), "text")
    lines = key_lines(text)
    assert lines["a",] == 1
    assert lines["b c",] == 5
    assert ("no",) not in lines
    assert lines["t", "u", "v", "w"] == 10
    assert lines["s", 1, "r", 0, "k"] == 14

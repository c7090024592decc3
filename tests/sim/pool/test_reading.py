"""Submissions from strangers: what is refused and how it is told; what is handed in and what is not."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
from whichsun.models.errors import InputError, WhichsunWarning
from whichsun.sim.outing import Observable, Outing, OutingSite
from whichsun.sim.outing_file import write_outing
from whichsun.sim.pool import reading
from whichsun.sim.pool.exporting import csv_text, rows_to_hand_in, safe_cell
from whichsun.sim.pool.reading import COLUMNS, plain, read_source

HEAD = ",".join(COLUMNS)
GOOD = "a,50.1,8.2,2024-03-20T06:00:00Z,2024-03-20T17:00:00Z,-80.5,1.5,pattern"


def write(path, *lines, head=HEAD):
    path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return path


def test_rows_with_and_without_a_place(tmp_path):
    head = HEAD + ",spot_vertex_angle_deg,spot_radius"
    file = write(
        tmp_path / "p.csv",
        "# a note",
        GOOD + ",,",
        GOOD.replace("pattern", "spot") + ",30,0.5",
        GOOD.replace("Z", "+02:00").replace("-80.5", "206") + ",,",
        head=head,
    )
    rows = read_source(file).rows
    assert len(rows) == 3
    assert list(rows.placed) == [False, True, False]
    assert rows.turn_deg == pytest.approx([-80.5, -80.5, -154.0])
    assert rows.from_day[2] == pytest.approx(rows.from_day[0] - 2 / 24)
    assert list(rows.source) == ["line 3", "line 4", "line 5"]


def test_many_lines_are_read_in_parts(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "_LINES_AT_ONCE", 3)
    good = [GOOD.replace("a,", f"{name},", 1) for name in "abcdefg"]
    file = write(tmp_path / "p.csv", *good[:5], "bad", *good[5:])
    found = read_source(file)
    assert list(found.rows.id) == list("abcdefg")
    assert list(found.rows.source)[4:] == ["line 6", "line 8", "line 9"]
    assert [where for where, _ in found.refused] == ["line 7"]
    two = write(tmp_path / "q.csv", *good[:3])
    assert len(read_source(two).rows) == 3
    assert len(read_source(tmp_path).rows) == 10


@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("50.1", "91", "latitude_deg"),
        ("50.1", "fifty", "latitude_deg"),
        ("50.1", "nan", "latitude_deg"),
        ("8.2", "999", "longitude_deg"),
        ("T17:00:00Z", "T17:00:00", "to_utc"),
        ("2024-03-20T17", "2024-03-20T05", "to_utc"),
        ("2024-03-20T17", "2024-04-20T17", "to_utc"),
        ("2024-03-20T06", "2024-02-30T06", "from_utc"),
        ("-80.5", "-400", "turn_deg"),
        ("1.5", "0", "sigma_deg"),
        ("1.5", "", "sigma_deg"),
        ("pattern", "patern", "turn_kind"),
        ("pattern", "pattern,extra", "row"),
    ],
)
def test_a_bad_row_is_listed_and_the_rest_go_on(tmp_path, old, new, word):
    source = read_source(write(tmp_path / "p.csv", GOOD, GOOD.replace(old, new, 1), GOOD))
    assert len(source.rows) == 2
    ((where, reason),) = source.refused
    assert where == "line 3"
    assert word in reason
    assert "\n" not in reason


@pytest.mark.parametrize(
    ("head", "word"),
    [
        (HEAD.replace("turn_deg", "turn_degree"), "did you mean 'turn_deg'"),
        (HEAD.replace(",sigma_deg", ""), "lacks sigma_deg"),
        (HEAD + ",id", "twice"),
        ('"id', "no CSV"),
    ],
)
def test_a_wrong_header_is_refused(tmp_path, head, word):
    with pytest.raises(InputError, match=word):
        read_source(write(tmp_path / "p.csv", GOOD, head=head))


def test_nothing_usable(tmp_path):
    with pytest.raises(InputError, match="line 2"):
        read_source(write(tmp_path / "p.csv", "a,b"))
    with pytest.raises(InputError, match="header"):
        read_source(write(tmp_path / "p.csv", head=""))
    with pytest.raises(InputError, match="must be a CSV file or a folder"):
        read_source(tmp_path / "none")
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_source(tmp_path / "bytes.csv")


def test_folder_of_outings_with_turns(tmp_path):
    times = ("2024-03-20T06:00:00Z", "2024-03-20T17:00:00Z")
    turn = Observable("turn", -80.5, 1.5, times, "pattern")
    placed = Observable("turn", -70.0, 1.5, times, "spot", spot_x=-0.3, spot_y=0.4)
    write_outing(Outing(OutingSite(50.123, 8.234), (), (turn, placed)), tmp_path / "one.toml")
    (tmp_path / "bad.toml").write_text("nonsense = ")
    (tmp_path / "more").mkdir()
    write(tmp_path / "more" / "angles.csv", GOOD, "short")
    source = read_source(tmp_path)
    assert len(source.rows) == 3
    assert {where for where, _ in source.refused} == {"bad.toml", "more/angles.csv, line 3"}
    (at,) = np.flatnonzero(source.rows.placed)
    assert source.rows.radius[at] == pytest.approx(0.5)
    assert source.rows.vertex_angle_deg[at] == pytest.approx(np.rad2deg(np.arctan2(0.3, 0.4)))


def test_other_quantities_are_named_as_unused(tmp_path):
    times = ("2024-03-20T06:00:00Z", "2024-03-20T17:00:00Z")
    turn = Observable("turn", -80.5, 1.5, times, "pattern")
    height = Observable("altitude", 30.0, 0.5, times[:1])
    write_outing(Outing(OutingSite(50.0, 8.0), (), (turn, height)), tmp_path / "one.toml")
    with pytest.warns(WhichsunWarning, match="not altitude"):
        source = read_source(tmp_path)
    assert len(source.rows) == 1


def test_what_is_handed_in(tmp_path):
    times = ("2024-03-20T06:00:00Z", "2024-03-20T17:00:00Z")
    turn = Observable("turn", -80.5, 1.5, times, "pattern")
    outing = Outing(OutingSite(50.123456, 8.987654), (), (turn,))
    (row,) = rows_to_hand_in(outing)
    assert (row["latitude_deg"], row["longitude_deg"]) == (50.1, 9.0)
    (exact,) = rows_to_hand_in(outing, exact_site=True)
    assert (exact["latitude_deg"], exact["longitude_deg"]) == (50.123456, 8.987654)
    file = tmp_path / "row.csv"
    file.write_text(csv_text([row]))
    rows = read_source(file).rows
    assert rows.turn_deg == pytest.approx([-80.5])
    with pytest.raises(InputError, match="site"):
        rows_to_hand_in(Outing(None, (), (turn,)))


def test_no_formula_leaves_us():
    for text in ("=1+1", "+1", "-1", "@x", "\t=1", "\r=1"):
        assert str(safe_cell(text)).startswith("'")
    assert safe_cell(-80.5) == -80.5
    assert safe_cell("a\x1b[31mb") == "a[31mb"
    row = dict.fromkeys(("latitude_deg", "longitude_deg", "turn_deg", "sigma_deg"), -1.5)
    row |= {"id": "=HYPERLINK(1)", "from_utc": "", "to_utc": "", "turn_kind": ""}
    row |= {"spot_vertex_angle_deg": "", "spot_radius": ""}
    (_, cells) = csv.reader(io.StringIO(csv_text([row])))
    assert cells[0] == "'=HYPERLINK(1)"
    assert cells[1] == "-1.5"


def test_plain_text():
    assert plain("a\x1b[2Jb\u202ec\nd\x07") == "a[2Jbcd"
    assert len(plain("x" * 500)) == 80

"""Reading Solar Region Summaries: layouts, dates, numbers, and what is wrong in a file."""

import datetime as dt
import warnings
from pathlib import Path

import pytest
from whichsun.models.errors import InputError, WhichsunWarning
from whichsun.models.place import iso_utc
from whichsun.sim.plan.regions import read_summaries, read_summary, summary_of_text

DATA = Path(__file__).parents[2] / "data" / "regions"

HEAD = """:Product: 0103SRS.txt
:Issued: 2027 Jan 03 0030 UTC
# invented
Joint USAF/NOAA Solar Region Summary
SRS Number 3 Issued at 0030Z on 03 Jan 2027
Report compiled from data received at SWO on 02 Jan
"""
ONE = "I.  Regions with Sunspots.  Locations Valid at 02/2400Z \nNmbr Location  Lo  Area  Z   LL   NN Mag Type\n"
PLAGES = "IA. H-alpha Plages without Spots.  Locations Valid at 02/2400Z Jan\nNmbr  Location  Lo\n"
RETURN = "II. Regions Due to Return 03 Jan to 05 Jan\nNmbr Lat    Lo\n"
ROW = "4001 N12W41 187 0270 Dsi 09 026 Beta-Gamma-Delta\n"
TEXT = HEAD + ONE + ROW + PLAGES + "None\n" + RETURN + "3990 S15    211\n"


def test_a_row():
    summary = summary_of_text(TEXT)
    assert iso_utc(summary.utc_days) == "2027-01-03T00:00:00Z"
    (region,) = summary.regions
    assert (region.number, region.latitude_deg, region.meridian_deg) == (14001, 12.0, 41.0)
    assert (region.carrington_deg, region.area_msh, region.extent_deg, region.spots) == (
        187.0,
        270.0,
        9.0,
        26,
    )
    assert (region.zurich, region.magnetic, region.single) == ("Dsi", "Beta-Gamma-Delta", False)
    assert summary.plages == ()
    (back,) = summary.returning
    assert (back.number, back.latitude_deg, back.meridian_deg) == (13990, -15.0, None)
    assert summary.returning_dates == "03 Jan to 05 Jan"


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end):
    assert summary_of_text(TEXT.replace("\n", end)) == summary_of_text(TEXT)


def test_places_hold_for_the_end_of_the_day_named_over_the_end_of_a_year():
    text = TEXT.replace("2027 Jan 03", "2027 Jan 01").replace("02/2400Z", "31/2400Z")
    summary = summary_of_text(text)
    assert summary.issued == dt.date(2027, 1, 1)
    assert iso_utc(summary.utc_days) == "2027-01-01T00:00:00Z"


def test_without_the_machine_header():
    text = "".join(line + "\n" for line in TEXT.splitlines() if not line.startswith((":", "#")))
    assert summary_of_text(text) == summary_of_text(TEXT)


def test_numbers_go_on_above_9999():
    # June 2002: the file has 9997 and 0001 side by side; the notice in it says that 0001 is 10001.
    summary = read_summary(DATA / "20020624SRS.txt")
    assert [one.number for one in summary.regions][:2] == [10001, 10005]
    assert summary.plages[0].number == 9997
    assert [one.number for one in summary.returning] == [9973, 9975, 9978]
    assert read_summary(DATA / "20000922SRS.txt").regions[0].number == 9165


def test_comments_after_the_last_section_are_no_rows():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        summary = read_summary(DATA / "20000922SRS.txt")
    assert [one.carrington_deg for one in summary.returning] == [0.0, 355.0, 341.0]  # the file says 360
    assert summary.returning[0].number == 9147


def test_a_corrected_copy_replaces_the_first_and_files_come_in_order(tmp_path):
    first, copy, other = tmp_path / "a.txt", tmp_path / "b.txt", tmp_path / "c.txt"
    first.write_text(TEXT)
    copy.write_text(
        TEXT.replace("Joint", "::::::::::Corrected Copy::::::::::\nJoint").replace("0270", "0300")
    )
    other.write_text(TEXT.replace("2027 Jan 03", "2027 Jan 02").replace("02/2400Z", "01/2400Z"))
    summaries = read_summaries([copy, first, other])
    assert [one.file for one in summaries] == ["c.txt", "b.txt"]
    assert summaries[1].regions[0].area_msh == 300.0
    twice = tmp_path / "d.txt"
    twice.write_text(TEXT)
    with pytest.raises(InputError, match=r"different days.*a\.txt and d\.txt"):
        read_summaries([first, twice])


@pytest.mark.parametrize(
    "row",
    [
        "4001 N12W41 187 0270 Dsi 09 Beta",  # a column is missing
        "4001 N12Q41 187 0270 Dsi 09 026 Beta",
        "4001 N92W41 187 0270 Dsi 09 026 Beta",
        "4001 N12W41 400 0270 Dsi 09 026 Beta",
        "4001 N12W41 187 0270 Dsi 09 026 Beta<script>",
        "4001 N12W41 187 " + "0270 Dsi 09 026 Beta" * 40,
        "\x1b[31m4001\x07 N12W41",
    ],
)
def test_an_odd_row_is_left_out_with_its_file_and_line(row):
    text = HEAD + ONE + ROW + row + "\n" + PLAGES + RETURN
    with pytest.warns(WhichsunWarning, match=r"odd\.txt, line 10: .* is no row of section I ") as caught:
        summary = summary_of_text(text, "odd.txt")
    assert len(summary.regions) == 1
    message = str(caught[0].message)
    assert message.isprintable()
    assert len(message) < 300


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "Issued"),
        ("hello\n" * 10, "Issued"),
        (HEAD, "I. Regions with Sunspots"),
        (HEAD + ONE.replace("02/2400Z", "20/2400Z"), "just before their issue"),
        (HEAD.replace("2027 Jan 03", "2027 Feb 31").replace("03 Jan 2027", "31 Feb 2027") + ONE, "Issued"),
        (TEXT + TEXT, "one summary each"),
    ],
)
def test_a_file_that_is_no_summary_is_refused_in_one_line(text, words):
    with pytest.raises(InputError, match=words) as caught:
        summary_of_text(text, "bad.txt")
    assert "\n" not in str(caught.value)
    assert "bad.txt" in str(caught.value)


def test_unreadable_files(tmp_path):
    with pytest.raises(InputError, match="No such file"):
        read_summary(tmp_path / "none.txt")
    with pytest.raises(InputError, match="can be read"):
        read_summary(tmp_path)
    (tmp_path / "large.txt").write_text("x" * 300_000)
    with pytest.raises(InputError, match="at most 200 kB"):
        read_summary(tmp_path / "large.txt")
    (tmp_path / "picture.png").write_bytes(b"\x89PNG\r\n\0\0")
    with pytest.raises(InputError, match="text files"):
        read_summary(tmp_path / "picture.png")

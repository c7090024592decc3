"""The field sheet: one page, cautions in full, boxes, numbers that are the plan's, no crash on any name."""

import datetime as dt
import functools
import importlib.util
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from whichsun.models.errors import InputError, UnknownNameError, WhichsunWarning
from whichsun.models.place import Site
from whichsun.models.registry import get_model, model_names
from whichsun.sim.plan.field_sheet import PAPERS, field_sheet_pdf
from whichsun.sim.plan.field_sheet_words import clock, foreseen_words, value_words
from whichsun.sim.plan.observables_record import quantities_of_day
from whichsun.sim.plan.plan import make_plan
from whichsun.sim.plan.zones import zone_named
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law
from whichsun.sim.safety import CAUTIONS, HEADING

_spec = importlib.util.spec_from_file_location(
    "plan_quantities_help", Path(__file__).with_name("quantities_help.py")
)
assert _spec is not None
assert _spec.loader is not None
help_ = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(help_)
PLANE, SPHERE, row = help_.PLANE, help_.SPHERE, help_.row

MADE = dt.datetime(2027, 3, 1, tzinfo=dt.UTC)
needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler-utils")
NORTH = (60.1234, 10.7654, "2027-03-20", "Europe/Oslo")
TROPICS = (-3.1, -60.0, "2027-03-20", "America/Manaus")
POLAR_DAY = (70.0, 25.0, "2027-06-20", "Europe/Oslo")
SOUTH = (-54.8, -68.3, "2027-06-20", "America/Argentina/Ushuaia")


@functools.cache
def planned(latitude, longitude, date, zone, names=(SPHERE, PLANE)):
    models = [(get_model(name), {}) for name in names]
    law = rotation_law(DEFAULT_LAW)
    days = [dt.date.fromisoformat(date)]
    return make_plan(Site(latitude, longitude), days, zone_named(zone), models, law=law)


@functools.cache
def found_for(plan_key):
    plan = planned(*plan_key)
    return quantities_of_day(plan, plan.days[0])


@functools.cache
def sheet(where=NORTH, names=(SPHERE, PLANE), **options):
    key = (*where, names)
    plan = planned(*key)
    return field_sheet_pdf(plan, plan.days[0], found_for(key), made=MADE, **options)


def text_of(data, tmp_path, *arguments):
    file = tmp_path / "sheet.pdf"
    file.write_bytes(data)
    run = subprocess.run(["pdftotext", *arguments, file, "-"], capture_output=True, text=True, check=True)
    return run.stdout


def words(text):
    return " ".join(text.split())


@needs_poppler
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("where", [NORTH, TROPICS, SOUTH, POLAR_DAY])
@pytest.mark.parametrize("names", [(SPHERE,), tuple(model_names())])
def test_exactly_one_page_and_nothing_below_its_edge(paper, where, names, tmp_path):
    data = sheet(where, names, paper=paper, place="Place")
    assert data.count(b"/Type /Page\n") == 1
    boxes = text_of(data, tmp_path, "-bbox")
    (size,) = re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', boxes)
    # ISO 216 A4 210 x 297 mm; US Letter 8.5 x 11 in; points of 1/72 in
    wanted = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}[paper]
    assert [float(side) for side in size] == pytest.approx(wanted, abs=0.01)
    found = re.findall(r'xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', boxes)
    assert len(found) > 200
    least = 25.0  # 9 mm: most printers leave 5 mm white
    for left, top, right, bottom in ([float(v) for v in one] for one in found):
        assert left > least
        assert top > least
        assert right < wanted[0] - least
        assert bottom < wanted[1] - least


@needs_poppler
def test_words_do_not_run_into_each_other(tmp_path):
    # Of two words on a line, none may begin before the other ends.
    cases = ((NORTH, (SPHERE, PLANE)), (NORTH, tuple(model_names())), (POLAR_DAY, (SPHERE, PLANE)))
    for where, names in cases:
        boxes = text_of(sheet(where, names, place="A place with a name", paper="letter"), tmp_path, "-bbox")
        found = [
            tuple(float(v) for v in one)
            for one in re.findall(
                r'xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', boxes
            )
        ]
        for i, (left, top, right, bottom) in enumerate(found):
            for other in found[i + 1 :]:
                across = min(right, other[2]) - max(left, other[0])
                down = min(bottom, other[3]) - max(top, other[1])
                # a line's box is 1.16 of its type's size and may reach into the next line's by a hair
                assert not (across > 0.5 and down > 3.0), (left, top, other)


@needs_poppler
@pytest.mark.parametrize("predictions", [True, False])
def test_cautions_are_there_in_full(predictions, tmp_path):
    said = words(text_of(sheet(predictions=predictions), tmp_path))
    assert HEADING in said
    for number, caution in enumerate(CAUTIONS, 1):
        assert f"{number}. {caution}" in said


@needs_poppler
def test_no_text_is_smaller_than_8_points(tmp_path):
    boxes = text_of(sheet(), tmp_path, "-bbox")
    heights = [
        float(b) - float(a) for a, b in re.findall(r'yMin="([\d.]+)" xMax="[\d.]+" yMax="([\d.]+)"', boxes)
    ]
    # the box of a line of DejaVu Sans is 1.164 times its size high (ascender 0.928, descender 0.236)
    assert min(heights) > 8 * 1.16 - 0.05


@needs_poppler
def test_fonts_are_embedded(tmp_path):
    file = tmp_path / "sheet.pdf"
    file.write_bytes(sheet())
    listed = subprocess.run(["pdffonts", file], capture_output=True, text=True, check=True).stdout
    rows = listed.splitlines()[2:]
    assert rows
    assert all(re.search(r"\byes yes yes\b", one) for one in rows)


@needs_poppler
def test_numbers_are_the_plans(tmp_path):
    plan = planned(*NORTH, (SPHERE, PLANE))
    (day,) = plan.days
    said = words(text_of(sheet(), tmp_path, "-layout"))
    window = day.window("morning")
    assert f"MORNING PHOTOS {clock(window.start, plan.zone)}\N{EN DASH}{clock(window.end, plan.zone)}" in said
    assert f"Rise {clock(day.rise, plan.zone)} {clock(day.rise, zone_named('UTC'))}" in said
    # The columns' rise is not the almanac's to the second, so that another minute may stand there.
    assert "Rise and set under a model: as the score has them" in said
    found = found_for((*NORTH, (SPHERE, PLANE)))
    for one in found.rows:
        told = [foreseen_words(one, one.foreseen[name], plan.zone) for name in (SPHERE, PLANE)]
        assert f"{told[0]} {told[1]}" in said, one.kind
    assert "Turn of the spots (photos) 1.0\N{DEGREE SIGN} " + f"{day.turns[0].pattern_deg:.1f}" in said


@needs_poppler
def test_what_happens_under_no_model_has_no_box(tmp_path):
    table = text_of(sheet(POLAR_DAY), tmp_path, "-layout").split("also measure")[1]
    assert "Rise" not in table
    assert "Azimuth of set" not in table
    assert "Day length" in table
    assert "never sets" in table


@needs_poppler
def test_nobody_is_primed_without_predictions(tmp_path):
    said = text_of(sheet(predictions=False), tmp_path, "-layout")
    key = (*NORTH, (SPHERE, PLANE))
    noon = row(found_for(key), "noon-altitude").foreseen
    for name in (SPHERE, PLANE):
        assert f"{noon[name].value:.1f}" not in said
        assert name not in said.split("also measure")[1].split("At home")[0]
    assert (
        f"{noon[SPHERE].value:.0f}\N{DEGREE SIGN}"
        not in said.split("EVENING PHOTOS")[0].split("Sun highest")[1]
    )


@needs_poppler
def test_the_site_is_rounded_unless_asked_for(tmp_path):
    rounded = text_of(sheet(), tmp_path)
    exact = text_of(sheet(exact_site=True), tmp_path)
    assert "60.1\N{DEGREE SIGN} N, 10.8\N{DEGREE SIGN} E" in rounded
    assert "60.12" not in rounded
    assert "10.76" not in rounded
    assert "60.12340\N{DEGREE SIGN} N, 10.76540\N{DEGREE SIGN} E" in exact


@needs_poppler
@pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")  # fonts that are not here
@pytest.mark.parametrize(
    "place",
    [
        "Ελληνικό",
        "Площадь",
        "広場",
        "ساحة",
        "\u202etxt.exe",
        "a\x00b\nc",
        "x" * 500,
        "<b>&amp;",
        "\ud800",
        "",
    ],
)
def test_any_name_of_a_place_makes_one_page(place, tmp_path):
    data = sheet(place=place)
    assert data.count(b"/Type /Page\n") == 1
    said = text_of(data, tmp_path)
    assert "60.1\N{DEGREE SIGN} N" in said
    assert "Clock: Europe/Oslo" in said
    assert "\u202e" not in said
    if place in ("Ελληνικό", "Площадь", "<b>&amp;"):
        assert f"{place}, 60.1" in said


@needs_poppler
def test_signs_without_a_font_are_told(tmp_path, monkeypatch):
    from whichsun.sim.report import pdf_fonts

    monkeypatch.setattr(pdf_fonts.shutil, "which", lambda name: None)
    with pytest.warns(WhichsunWarning, match="fonts-noto-cjk"):
        data = sheet.__wrapped__(place="広場")
    monkeypatch.undo()
    assert "[U+5E83 U+5834], 60.1" in text_of(data, tmp_path)


@needs_poppler
def test_black_and_grey_only(tmp_path):
    # every colour operator of the page's own drawing is grey
    import zlib

    data = sheet()
    streams = re.findall(rb"stream\r?\n(.*?)endstream", data, re.DOTALL)
    drawn = [zlib.decompress(one) for one in streams if one[:1] == b"x"]
    page = next(one for one in drawn if b" re" in one and b" Tj" in one)
    colours = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)\b", page)
    assert all(r == g == b for r, g, b in colours)
    assert re.search(rb"[\d.]+ (?:g|G)\b", page)


def test_the_same_input_gives_the_same_file():
    assert sheet.__wrapped__() == sheet.__wrapped__()


def test_a_day_without_windows_is_refused():
    with pytest.raises(InputError, match="window"):
        sheet((75.0, 20.0, "2026-12-21", "Europe/Oslo"))


def test_bad_paper_and_too_many_models_are_refused():
    with pytest.raises(UnknownNameError, match="a4, letter"):
        sheet(paper="a5")
    plan = planned(*NORTH, (SPHERE, PLANE))
    from dataclasses import replace

    many = replace(plan, models=plan.models * 3)
    with pytest.raises(InputError, match="four at most"):
        field_sheet_pdf(many, plan.days[0], found_for((*NORTH, (SPHERE, PLANE))), made=MADE)


def test_values_read_as_a_person_would_say_them():
    assert value_words("day-length", "h", 11.999, None) == "12 h 00 min"
    assert value_words("azimuth", "deg", 101.62, None) == "101.6\N{DEGREE SIGN}"
    assert value_words("noon-altitude", "deg", 45.0, None) == "45.0\N{DEGREE SIGN}; 1.00"
    assert value_words("angular-diameter-ratio", "", 1.3199, None) == "1.320"
    assert value_words("azimuth", "deg", float("nan"), None) == "none"
    assert value_words("rise", "", float("nan"), dt.datetime(2027, 3, 20, 6, 18, 31)) == "06:19"


def test_another_day_in_utc_is_told():
    zone = zone_named("Pacific/Auckland")
    days = 9939.9  # 2027-03-20 09:36 UTC
    assert clock(days, zone) == "22:36"
    assert clock(days, zone_named("UTC"), dt.date(2027, 3, 20)) == "09:36"
    assert clock(days, zone_named("UTC"), dt.date(2027, 3, 21)) == "<09:36"
    assert clock(days, zone_named("UTC+14"), dt.date(2027, 3, 20)) == "23:36"
    assert clock(days + 0.1, zone_named("UTC+14"), dt.date(2027, 3, 20)) == "02:00>"

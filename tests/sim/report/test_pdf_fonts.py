"""Signs that the report's own font lacks, in the PDF: a font of the machine, or numbers and a warning."""

import datetime as dt
import shutil
import subprocess

import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from whichsun.models.errors import WhichsunWarning
from whichsun.render.spelling import written
from whichsun.sim.report import pdf_fonts
from whichsun.sim.report.document import Document, Points, Section, Table, Verdict, Words
from whichsun.sim.report.pdf import pdf_of

SUN, RISE, KANA, HANGUL = "\u65e5", "\u51fa", "\u3042", "\ud55c"
GREEK, CYRILLIC = "\u039a\u03b1\u03bb\u03b7\u03bc\u03ad\u03c1\u03b1", "\u0423\u0442\u0440\u043e"
HEBREW = "\u05e9\u05dc\u05d5\u05dd"


def document(name):
    table = Table(("photo", "spots"), [[name, "3"]], name)
    return Document(
        name, [name], [Section("a", name, [Words(name), table, Points([name]), Verdict(name, "#12345C")])]
    )


def text_of(name, tmp_path):
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here (Debian: apt install poppler-utils)")
    path = tmp_path / "names.pdf"
    path.write_bytes(pdf_of(document(name), dt.datetime(2027, 4, 19, tzinfo=dt.UTC)))
    done = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, text=True, check=True)
    return done.stdout


@pytest.fixture
def listed(tmp_path, monkeypatch):
    """Makes `fc-list` of the PATH tell of the fonts given, and of nothing else."""

    def make(*lines):
        program = tmp_path / "bin" / "fc-list"
        program.parent.mkdir(exist_ok=True)
        program.write_text("#!/bin/sh\n" + "".join(f"echo '{line}'\n" for line in lines))
        program.chmod(0o755)
        which = shutil.which
        monkeypatch.setattr(
            pdf_fonts.shutil,
            "which",
            lambda name, **more: str(program) if name == "fc-list" else which(name, **more),
        )

    return make


def tiny_font(path, signs):
    """A font with a box for each sign."""
    names = [".notdef", *(f"sign{ord(sign):04X}" for sign in signs)]
    pen = TTGlyphPen(None)
    for k, place in enumerate([(100, 0), (900, 0), (900, 800), (100, 800)]):
        (pen.lineTo if k else pen.moveTo)(place)
    pen.closePath()
    box = pen.glyph()
    font = FontBuilder(1000, isTTF=True)
    font.setupGlyphOrder(names)
    font.setupCharacterMap(dict(zip(map(ord, signs), names[1:], strict=True)))
    font.setupGlyf(dict.fromkeys(names, box))
    font.setupHorizontalMetrics(dict.fromkeys(names, (1000, 100)))
    font.setupHorizontalHeader(ascent=800, descent=-200)
    font.setupNameTable({"familyName": "Tiny", "styleName": "Regular"})
    font.setupOS2(sTypoAscender=800, sTypoDescender=-200, usWinAscent=800, usWinDescent=200)
    font.setupPost()
    font.save(path)
    return path


def test_greek_and_cyrillic_need_nothing(tmp_path, listed):
    listed()
    told = text_of(f"{GREEK} {CYRILLIC}", tmp_path)
    assert told.count(GREEK) >= 6
    assert told.count(CYRILLIC) >= 6


def test_a_font_of_the_machine_is_taken(tmp_path, listed):
    font = tiny_font(tmp_path / "tiny.ttf", SUN + RISE)
    listed(f"{tmp_path / 'gone.ttf'}\t0", f"{tmp_path / 'x.pcf'}\t0", f"{font}\t0")
    told = text_of(f"{SUN}{RISE}.jpg", tmp_path)
    assert told.count(f"{SUN}{RISE}.jpg") >= 6
    assert "U+" not in told


def test_without_a_font_signs_become_numbers_and_a_warning_names_the_package(tmp_path, listed):
    listed()
    with pytest.warns(WhichsunWarning, match="2 signs as numbers.*apt install fonts-noto-cjk, then") as told:
        words = text_of(f"{SUN}{RISE}.jpg", tmp_path)
    assert len(told) == 1
    assert words.count("[U+65E5 U+51FA].jpg") >= 6
    assert SUN not in words


def test_a_machine_without_fontconfig_is_warned_too(tmp_path, monkeypatch):
    which = shutil.which
    monkeypatch.setattr(
        pdf_fonts.shutil, "which", lambda name, **more: None if name == "fc-list" else which(name, **more)
    )
    with pytest.warns(WhichsunWarning, match="fonts-noto-cjk"):
        text_of(HANGUL, tmp_path)


def test_letters_from_right_to_left_are_shaped_or_a_warning_says_what_helps(tmp_path, listed, monkeypatch):
    listed()
    monkeypatch.setattr(pdf_fonts.importlib.util, "find_spec", lambda name: None)
    with pytest.warns(WhichsunWarning, match="pip install uharfbuzz"):
        assert HEBREW[0] in text_of(HEBREW, tmp_path)


def test_numbers_in_the_place_of_signs():
    known = set(map(ord, "ab."))
    assert written("ab.a", known) == "ab.a"
    assert written(f"a{SUN}b{RISE}{KANA}", known) == "a[U+65E5]b[U+51FA U+3042]"
    assert written(4 * SUN, known) == "[U+65E5 and 3 more signs]"


def test_other_scripts_get_another_package():
    with pytest.warns(WhichsunWarning, match="apt install fonts-noto-core,"):
        pdf_fonts.warn_of_missing([0x10300])  # Old Italic
    with pytest.warns(WhichsunWarning, match="apt install fonts-noto-cjk fonts-noto-core,"):
        pdf_fonts.warn_of_missing([0x10300, ord(KANA)])
    pdf_fonts.warn_of_missing([])

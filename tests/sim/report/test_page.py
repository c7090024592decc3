"""The HTML: whole by itself, every text escaped, nothing of the very site, pictures without metadata."""

import base64
import datetime as dt
import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from PIL import ExifTags, Image
from whichsun.sim.outing import Shot, Spot
from whichsun.sim.report import contents as contents_module
from whichsun.sim.report.contents import Source
from whichsun.sim.report.document import Document, Pictures, Section, Table, Words, plain
from whichsun.sim.report.html import html_of
from whichsun.sim.safety import CAUTIONS
from whichsun.sim.telling import SIMULATED_CAMERA

VOID = {"meta", "link", "img", "source", "wbr", "br"}


class Tree(HTMLParser):
    """Checks that tags are closed in their order; collects tags and texts."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.texts = [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.texts.append(data)

    def of(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]


@pytest.fixture(scope="module")
def tree(page):
    return Tree(page)


def test_nothing_runs_and_nothing_is_fetched(tree):
    assert not {"script", "iframe", "object", "embed", "form", "base", "svg"} & {tag for tag, _ in tree.tags}
    for tag, attrs in tree.tags:
        assert not [name for name in attrs if name.startswith("on")]
        for name in ("src", "href", "srcset"):
            if name in attrs:
                assert attrs[name].startswith(("data:", "#")), (tag, attrs[name][:80])
    (style,) = re.findall(r"<style>(.*?)</style>", html_of(Document("", [], [])), re.DOTALL)
    assert "url(" not in style
    assert "@import" not in style


def test_untrusted_texts_are_escaped_everywhere():
    evil = "</td><script>alert(1)</script><img src=x onerror=alert(1)>\" onload='x"
    blocks = [
        Words(evil),
        Table([evil, "b"], [[evil, evil]], evil, [evil]),
        Table(["a"], [[evil]], evil, folded=True),
    ]
    tree = Tree(html_of(Document(evil, [evil], [Section(evil, evil, blocks)])))
    assert not {"script", "img"} & {tag for tag, _ in tree.tags}
    assert not [name for _, attrs in tree.tags for name in attrs if name.startswith("on")]
    assert "".join(tree.texts).count("alert(1)") == 2 * 12  # two in each of the twelve places, as text


def test_the_persons_words_and_camera_names_stand_as_text(tree):
    said = "".join(tree.texts)
    assert said.count("<script>alert('x')</script>") >= 2  # the note, and the camera in the table


def test_plain_takes_control_and_direction_marks_away():
    assert plain("a\tb\n  c") == "a b c"
    assert plain("photo\u202egnp.exe") == "photo\ufffdgnp.exe"
    assert plain("a\x00b\x1b[31m") == "a\ufffdb\ufffd[31m"
    assert plain("Größe 30 µm, 太陽") == "Größe 30 µm, 太陽"


def test_pictures_have_words_and_sizes(tree):
    pictures = tree.of("img")
    assert len(pictures) >= 8  # two per photo, two of the turn, the curves, the residuals
    for picture in pictures:
        assert len(picture["alt"]) > 20
        image = Image.open(io.BytesIO(base64.b64decode(picture["src"].split(",")[1])))
        assert image.size == (int(picture["width"]), int(picture["height"]))


def test_pictures_are_coded_from_their_pixels_alone(outing_file, tree):
    # The photos know the place: the test would mean nothing otherwise.
    with Image.open(outing_file.parent / "sub" / "sunrise.jpg") as first:
        assert first.getexif().get_ifd(ExifTags.IFD.GPSInfo)
    for attrs in (*tree.of("img"), *tree.of("source")):
        data = base64.b64decode((attrs.get("src") or attrs["srcset"]).split(",")[1])
        image = Image.open(io.BytesIO(data))
        assert not dict(image.getexif())
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density", "dpi"}
        assert b"Exif" not in data
        assert b"GPS" not in data


def test_the_very_site_is_told_only_when_asked(document_of, page):
    exact = html_of(document_of(exact_site=True)[0])
    texts = {name: "".join(Tree(text).texts) for name, text in (("rounded", page), ("exact", exact))}
    assert "46.5\N{DEGREE SIGN} N, 30.3\N{DEGREE SIGN} W" in texts["rounded"]
    assert "46.52319\N{DEGREE SIGN} N, 30.29569\N{DEGREE SIGN} W, 17 m" in texts["exact"]
    for digits in ("46.52", "30.29", "-30.2"):
        assert digits not in texts["rounded"]


def test_folders_are_not_told(outing_file, page):
    assert str(outing_file.parent) not in page
    assert "sub/" not in "".join(Tree(page).texts)


def test_every_part_is_there(tree):
    said = " ".join("".join(tree.texts).split())
    for caution in CAUTIONS:
        assert caution in said
    for words in ("The photos favour", "Turn of the disc from sunrise.jpg", "Rule of thumb", "ln evidence",
                  "left out", "What to keep in mind", "SHA-256", "numpy"):  # fmt: skip
        assert words in said, words
    anchors = {attrs["href"][1:] for attrs in tree.of("a")}
    assert anchors == {attrs["id"] for attrs in tree.of("section")}


def test_a_lost_photo_is_told_and_the_rest_stays(document_of, outing_file):
    photos = [outing_file.parent / "sub" / "sunrise.jpg", outing_file.parent / "gone.jpg"]
    document, problems = document_of(photos=photos)
    assert problems == ["sunset.jpg: is not there"]
    said = "".join(Tree(html_of(document)).texts)
    assert "Photo 2 cannot be shown: sunset.jpg: is not there" in said
    assert "The turn cannot be drawn without sunset.jpg." in said
    sections = [section for section in document.sections if section.key != "space"]
    shown = [block for section in sections for block in section.blocks if isinstance(block, Pictures)]
    assert len(shown) == 3  # the first photo, curves, residuals


def test_another_picture_under_the_same_name_is_told(document_of, outing_file, tmp_path):
    small = tmp_path / "small.png"
    Image.new("RGB", (64, 64)).save(small)
    _, problems = document_of(photos=[small, outing_file.parent / "sub" / "sunset.jpg"])
    assert problems == ["sunrise.jpg: is no longer the picture that was measured"]


def test_what_a_turn_leaves_over():
    from whichsun.sim.report.contents import left_over

    def spot(number, x, y):
        return Spot(number, x, y, 0.01, 0.01)

    # A quarter turn anticlockwise carries (0.5, 0) to (0, 0.5); the second spot ends 0.1 off: rms 0.1 / sqrt 2.
    shots = [
        Shot("a", spots=(spot(1, 0.5, 0), spot(2, 0, 0.4))),
        Shot("b", spots=(spot(7, 0, 0.5), spot(3, -0.5, 0))),
    ]
    numbers = ({1: "1", 2: "2"}, {7: "1", 3: "2"})
    assert left_over(shots, numbers, 90.0) == pytest.approx(0.1 / 2**0.5)
    assert left_over(shots, numbers, None) is None
    assert left_over(shots, ({}, {}), 90.0) is None


def test_spots_are_followed_through_the_photos_between():
    from whichsun.sim.report.contents import paired

    def match(a, i, b, j, probability=0.9):
        return {"shot_a": a, "id_a": i, "shot_b": b, "id_b": j, "probability": probability}

    chain = [match("x", 1, "y", 5), match("y", 5, "z", 2), match("x", 3, "z", 4), match("x", 6, "z", 7, 0.3)]
    assert paired([*chain, match("y", 8, "z", 9)], "x", "z") == ({1: "1", 3: "3"}, {2: "1", 4: "3"})


def test_many_photos_are_spread_and_counted():
    from whichsun.sim.report.contents import MOST_PHOTOS, _chosen

    chosen = _chosen(40)
    assert len(chosen) == MOST_PHOTOS
    assert (chosen[0], chosen[-1]) == (0, 39)
    assert _chosen(2) == [0, 1]


def test_lines_of_the_command_are_set_as_print():
    lines = ["  Turn: 89.0 deg clockwise (+- 0.1).", "date -2.3, latitude 46.5 N, 90 - turn / 2, file-2.jpg"]
    assert contents_module._said(lines) == [
        "Turn: 89.0° clockwise (± 0.1).",
        "date \N{MINUS SIGN}2.3, latitude 46.5° N, 90 - turn / 2, file-2.jpg",
    ]


def test_a_drawn_outing_says_so(document_of, scored, outing_file):
    assert not any("Invented" in line for line in document_of()[0].lead)
    drawn = tuple(replace(shot, camera=SIMULATED_CAMERA) for shot in scored.outing.shots)
    scores = replace(scored, outing=replace(scored.outing, shots=drawn))
    source = Source(outing_file, (), False, "", (), dt.datetime(2027, 4, 19, tzinfo=dt.UTC))
    assert any("Invented" in line for line in contents_module._lead(scores, source))

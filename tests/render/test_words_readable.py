"""Words in figures: contrast by WCAG 2.1, criterion 1.4.3 (AA, 4.5 to 1 for text), and size on a phone."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from matplotlib.patheffects import Stroke
from matplotlib.text import Text
from whichsun.models.errors import MissingLibraryError
from whichsun.render import scene_viewer, style

_spec = importlib.util.spec_from_file_location("cases_of_words", Path(__file__).with_name("figure_cases.py"))
assert _spec is not None
assert _spec.loader is not None
cases = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(cases)

AA = 4.5
WHITE = "#FFFFFF"  # the face of an empty disc
# Pictures made to be shown to a class or on a phone; a figure 10.5 inches wide is some 390 CSS px there, so that
# 12 points come to 6.2 px, which a hand's breadth from the eye is still read (tried, no source).
LESSON = (
    "sweep",
    "sweep_of_dates",
    "pool",
    "measured_pair",
    "measured_photo",
    "tracks_of_a_day",
    "sheet_of_a_day",
    "space",
)
LEAST_PT = 12.0


def hexed(colour):
    return "#" + "".join(f"{round(255 * c):02X}" for c in colour[:3])


def over(colour, alpha, below):
    """A colour laid over another, hex."""
    return hexed(alpha * np.array(to_rgba(colour)[:3]) + (1 - alpha) * np.array(to_rgba(below)[:3]))


def grounds(text, figure):
    """Colours that may lie behind a text."""
    box = text.get_bbox_patch()
    casing = [effect for effect in text.get_path_effects() if isinstance(effect, Stroke)]
    photo = text.axes is not None and bool(text.axes.images)
    below = ["#000000", WHITE] if photo else [style.PAPER, WHITE]
    if box is not None:
        colour = box.get_facecolor()
        return [over(colour, colour[3], one) for one in below]
    if casing:
        gc = casing[0]._gc
        return [over(gc["foreground"], gc.get("alpha", 1.0), one) for one in below]
    if photo:
        return below
    return [hexed(to_rgba(figure.get_facecolor())), WHITE] if text.axes is not None else [style.PAPER]


def shown_texts(name):
    """The figure of a case and its visible texts; skipped where it is no figure."""
    try:
        figure = cases.CASES[name]()
    except MissingLibraryError as error:
        pytest.skip(str(error))
    if not isinstance(figure, Figure):
        pytest.skip("a picture without separate words")
    figure.canvas.draw()
    return figure, [t for t in figure.findobj(Text) if t.get_text().strip() and t.get_visible()]


@pytest.mark.parametrize("name", cases.CASES)
def test_words_stand_out(name, contrast):
    figure, texts = shown_texts(name)
    for text in texts:
        colour = hexed(to_rgba(text.get_color()))
        least = min(contrast(colour, ground) for ground in grounds(text, figure))
        assert least >= AA, (text.get_text(), colour, least)


@pytest.mark.parametrize("name", LESSON)
def test_lesson_pictures_have_no_small_type(name):
    figure, texts = shown_texts(name)
    assert figure.get_size_inches()[0] == pytest.approx(10.5, abs=0.01)
    assert {t.get_text(): t.get_fontsize() for t in texts if t.get_fontsize() < LEAST_PT} == {}


@pytest.mark.parametrize("name", [*style.MODEL_COLOURS, "own", "another"])
@pytest.mark.parametrize("ground", [style.PAPER, WHITE])
def test_names_of_models_stand_out(name, ground, contrast):
    assert contrast(style.model_styles(["own", "another", name])[name].words, ground) >= AA


def test_the_check_sees_pale_words(contrast):
    figure = style.new_figure(800, 500)
    text = figure.text(0.5, 0.5, "pale", color="#B28C36")
    assert contrast("#B28C36", grounds(text, figure)[0]) < AA


def test_words_of_the_scene_page_stand_out(contrast):
    colours = {"PAPER": style.PAPER, "INK": style.INK, "FAINT": style.FAINT}
    texts = set(re.findall(r"(?<![-\w])color: (\w+);", scene_viewer.STYLE))
    grounds = set(re.findall(r"background: (#\w{3}|PAPER)", scene_viewer.STYLE))
    assert texts
    assert texts <= set(colours)
    assert grounds <= {"PAPER", "#FFF"}
    for text in texts:
        assert min(contrast(colours[text], ground) for ground in (style.PAPER, WHITE)) >= AA
    # Labels lie on a veil over the scene, at worst over black.
    red, green, blue, veil = re.findall(
        r"background: rgb\((\d+) (\d+) (\d+) / ([.\d]+)\)", scene_viewer.STYLE
    )[0]
    label = hexed(float(veil) * np.array([int(red), int(green), int(blue)]) / 255)
    assert contrast(style.INK, label) >= AA

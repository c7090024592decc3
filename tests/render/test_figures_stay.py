"""Every figure looks as it did: a small invented example of each against a stored picture.

The baselines (tests/data/render/figures, drawn by this program from invented numbers) are made anew by
``python tests/render/figure_cases.py [NAME...]`` after a change that is meant; look at them first.

Measure: the root mean square of the difference over all pixels and colours, in steps of 255. Tolerance 0.5: the
fonts come with matplotlib and the lines are drawn in double precision, so that on one machine two runs differ by
nothing; another processor may round a pixel to the next step here and there, and one step in a quarter of all
pixels makes 0.5. A label moved by 2 px of 504, another colour of one curve or a missing mark make more, and the
tests below hold that. Scenes in space are drawn by the system's OpenGL: 2, because two drivers of Mesa, llvmpipe and
softpipe, are 0.9 apart.

Another minor version of matplotlib sets type and shrinks photos differently: 3.10 is up to 25 away from 3.11. Under
any but that of the baseline 30 is allowed, which a lost panel still exceeds but a moved label does not.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import pkgutil
import sys
from functools import cache
from pathlib import Path

import matplotlib
import numpy as np
import pytest
import whichsun.render
from PIL import Image
from whichsun.models.errors import MissingLibraryError
from whichsun.render import style

_spec = importlib.util.spec_from_file_location("figure_cases", Path(__file__).with_name("figure_cases.py"))
assert _spec is not None
assert _spec.loader is not None
cases = importlib.util.module_from_spec(_spec)
sys.modules["figure_cases"] = cases
_spec.loader.exec_module(cases)

TOLERANCE, OPENGL, OTHER_VERSION = 0.5, 2.0, 30.0


def rms(first, second):
    """Root mean square of the difference, steps of 255; infinite for other shapes."""
    if first.shape != second.shape:
        return np.inf
    return float(np.sqrt(np.mean((first.astype(float) - second.astype(float)) ** 2)))


def stored(name):
    """The baseline, and the tolerance that goes with the matplotlib that drew it."""
    with Image.open(cases.STORED / f"{name}.png") as image:
        same = image.info["matplotlib"] == cases.matplotlib_version()
        tolerance = OPENGL if name.startswith("space") else TOLERANCE
        return np.asarray(image.convert("RGB")), tolerance if same else OTHER_VERSION


@cache
def drawn(name):
    """The case's picture, and the names of the drawing functions of render/ that made it."""
    called = set()

    def notice(frame, event, _):
        if event == "call" and frame.f_globals.get("__name__", "").startswith("whichsun.render."):
            called.add((frame.f_globals["__name__"], frame.f_code.co_name))

    sys.setprofile(notice)
    try:
        return cases.drawn(name), called
    except MissingLibraryError as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(str(error))
    finally:
        sys.setprofile(None)


@pytest.mark.parametrize("name", cases.CASES)
def test_it_looks_as_it_did(name, tmp_path):
    picture, _ = drawn(name)
    baseline, tolerance = stored(name)
    found = rms(picture, baseline)
    if not found <= tolerance:
        path = tmp_path / f"{name}.png"
        Image.fromarray(picture).save(path)
        pytest.fail(
            f"rms {found:.2f}, allowed {tolerance}; see {path}, drawn now, and {cases.STORED / name}.png"
        )


def test_every_baseline_has_its_case():
    assert {path.stem for path in cases.STORED.glob("*.png")} == set(cases.CASES)


def test_every_drawing_function_is_in_a_case():
    """Every public function of render/ whose name begins with draw or paint is called by one of them."""
    there = set()
    for module in pkgutil.iter_modules(whichsun.render.__path__, "whichsun.render."):
        if module.name != "whichsun.render.scene_viewer":
            loaded = importlib.import_module(module.name)
            there |= {
                (module.name, name)
                for name, value in vars(loaded).items()
                if name.startswith(("draw_", "paint_")) and getattr(value, "__module__", "") == module.name
            }
    assert len(there) > 20
    missing = there - set().union(*(drawn(name)[1] for name in cases.CASES))
    assert not missing


def changed(name, change):
    figure = cases.CASES[name]()
    change(figure)
    return cases.as_picture(figure)


def move_words(figure, words, across_px):
    """Move a text by so many pixels of the baseline's."""
    text = next(t for t in figure.findobj(matplotlib.text.Text) if t.get_text().startswith(words))
    points = 72 * across_px * figure.get_size_inches()[0] / cases.WIDTH_PX
    shift = matplotlib.transforms.ScaledTranslation(points / 72, 0, figure.dpi_scale_trans)
    if not isinstance(text, matplotlib.text.Annotation):
        text.set_transform(text.get_transform() + shift)
    elif text.anncoords == "offset points":
        text.xyann = (text.xyann[0] + points, text.xyann[1])
    else:  # beside the end of a curve, in its coordinates
        width = text.axes.get_position().width * figure.get_size_inches()[0] * 72
        text.xyann = (text.xyann[0] + np.ptp(text.axes.get_xlim()) * points / width, text.xyann[1])


CHANGES = {
    "a name moved by 2 px": ("sweep", lambda figure: move_words(figure, "nearby-plane", 2)),
    "a small label moved by 2 px": ("curves_of_a_day", lambda figure: move_words(figure, "horizon", 2)),
    "a number moved by 2 px": ("tracks_of_a_day", lambda figure: move_words(figure, "1", 2)),
    "a curve in another model's colour": (
        "curves_of_a_day",
        lambda figure: figure.axes[0].get_lines()[1].set_color(style.MODEL_COLOURS["nearby-sphere"]),
    ),
    "a curve in another line style": (
        "turn_rate_over_a_day",
        lambda figure: figure.axes[0].get_lines()[1].set_linestyle("-"),
    ),
    "a measured point lost": (
        "sweep_of_dates",
        lambda figure: [
            line.remove() for line in figure.axes[0].get_lines() if list(line.get_xdata()) == [46.0]
        ],
    ),
    "a word of another letter": (
        "measured_pair",
        lambda figure: figure.texts[0].set_text(figure.texts[0].get_text().replace("e", "c", 1)),
    ),
    "hatching lost": (
        "map_of_the_year",
        lambda figure: [one.remove() for one in figure.axes[0].collections if one.get_hatch() == "//"],
    ),
    "type a point larger": (
        "tracks_of_one_model",
        lambda figure: figure.texts[0].set_fontsize(figure.texts[0].get_fontsize() + 1),
    ),
}


@pytest.mark.parametrize("what", CHANGES)
def test_the_tolerance_bites(what):
    """Against the picture as it is now, whatever drew the baseline."""
    name, change = CHANGES[what]
    found = rms(changed(name, change), drawn(name)[0])
    assert found > 1.5 * TOLERANCE


def test_another_version_still_notices_a_lost_panel():
    figure = cases.CASES["curves_of_a_day"]()
    assert rms(np.full_like(cases.as_picture(figure), 252), drawn("curves_of_a_day")[0]) > OTHER_VERSION

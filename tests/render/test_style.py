"""Palette, exact sizes of PNG files, and no trace left in matplotlib's global state."""

from __future__ import annotations

import io
import itertools
import subprocess
import sys

import matplotlib
import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import InputError
from whichsun.render import style

# Machado, Oliveira & Fernandes 2009, IEEE Trans. Vis. Comput. Graph. 15(6), 1291-1298, severity 1.0, applied
# to linear RGB: what dichromats see.
DICHROMACY = {
    "normal": np.eye(3),
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
# sRGB to XYZ, D65 (IEC 61966-2-1).
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def linear(colour):
    coded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIE 1976 L*a*b* (CIE 15)."""
    t = (TO_XYZ @ rgb) / (TO_XYZ @ np.ones(3))
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("sight", DICHROMACY)
def test_models_keep_apart_for_every_sight(sight):
    """At least 18 units of CIELAB between any two (a difference of 10 is plain at a glance: common practice,
    no source)."""
    seen = {
        name: lab(np.clip(np.array(DICHROMACY[sight]) @ linear(colour), 0, 1))
        for name, colour in style.MODEL_COLOURS.items()
    }
    for one, other in itertools.combinations(seen, 2):
        assert np.linalg.norm(seen[one] - seen[other]) > 18, (one, other)


def test_models_keep_apart_in_grey():
    """Lightness apart by 10 or more, and line style and marker differ as well."""
    lightness = sorted(lab(linear(colour))[0] for colour in style.MODEL_COLOURS.values())
    assert min(np.diff(lightness)) > 10
    assert len({str(line) for line in style.MODEL_LINES.values()}) == len(style.MODEL_LINES)
    assert len(set(style.MODEL_MARKERS.values())) == len(style.MODEL_MARKERS)


def test_lines_and_text_stand_out_from_the_paper():
    """WCAG 2.1: contrast of 3:1 for graphics (1.4.11), 4.5:1 for text (1.4.3)."""

    def contrast(colour):
        first, second = sorted((TO_XYZ[1] @ linear(c) + 0.05 for c in (colour, style.PAPER)), reverse=True)
        return first / second

    styles = style.model_styles([*style.MODEL_COLOURS, "mine", "yours"])
    assert min(contrast(one.colour) for one in styles.values()) >= 3
    assert min(contrast(colour) for colour in (style.INK, style.FAINT)) >= 4.5


def test_other_models_get_their_own_look():
    styles = style.model_styles(["distant-sphere", "mine", "yours", "theirs"])
    assert styles["distant-sphere"].colour == style.MODEL_COLOURS["distant-sphere"]
    looks = {(one.colour, str(one.line), one.marker) for one in styles.values()}
    assert len(looks) == 4


@pytest.mark.parametrize("size", [(1200, 800), (1601, 997), (333, 777), (64, 64), (2048, 1365)])
def test_png_is_exactly_the_size_asked_for(size, tmp_path):
    figure = style.new_figure(1600, 1000)
    with style.styled():
        figure.subplots()
    path = tmp_path / "figure.png"
    data = style.save_png(figure, *size, path=path)
    assert Image.open(io.BytesIO(data)).size == size
    assert path.read_bytes() == data
    assert data == style.save_png(figure, *size)  # the same figure gives the same file


def test_bad_size():
    with pytest.raises(InputError, match="'width_px' must be a whole number"):
        style.new_figure(10, 500)
    with pytest.raises(InputError, match="'height_px' must be a whole number"):
        style.save_png(style.new_figure(), 800, 99999)


def test_turn_in_words():
    assert style.turn_words(-61.42) == "61.4\N{DEGREE SIGN} clockwise"
    assert style.turn_words(12.0) == "12.0\N{DEGREE SIGN} anticlockwise"


def test_settings_of_matplotlib_stay_as_they_were():
    before = dict(matplotlib.rcParams)
    with style.styled():
        style.new_figure().subplots()
    assert dict(matplotlib.rcParams) == before


def test_pyplot_is_never_loaded():
    code = (
        "import sys, numpy as np\n"
        "from whichsun.render import curves, overlay, residuals, style, tracks\n"
        "rows = {'distant-sphere': [{'latitude_deg': 0., 'pattern_turn_deg': 1., 'pattern_visible_fraction': 1.}]}\n"
        "figure = curves.draw_sweep(rows)[0].figure\n"
        "style.save_png(figure, 400, 300)\n"
        "residuals.draw_residuals([{'model': 'm', 'measured': [[0, 0]], 'predicted': [[0, 0.1]]}])\n"
        "tracks.draw_tracks([{'x': [0, 0.1], 'y': [0, 0.1]}])\n"
        "overlay.draw_overlay(np.zeros((9, 9), np.uint8), {'centre_px': (4, 4), 'semi_axes_px': (3, 3)})\n"
        "sys.exit('matplotlib.pyplot' in sys.modules)\n"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

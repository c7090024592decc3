"""Words in figures whose font lacks a sign: another font of matplotlib's own, or numbers and a warning."""

import warnings

import pytest
from matplotlib.text import Text
from whichsun.models.errors import WhichsunWarning
from whichsun.render import style
from whichsun.render.figure_file import figure_bytes

SUN, RISE, ARABIC, CYRILLIC = "\u65e5", "\u51fa", "\u0634\u0645\u0633", "\u0421\u043e\u043b\u043d\u0446\u0435"


def words_after_saving(words, family, path="x.png"):
    figure = style.new_figure(400, 200)
    figure.text(0.1, 0.5, words, fontfamily=family)
    assert figure_bytes(figure, path, 400)
    return figure.findobj(Text)[0]


@pytest.mark.parametrize("path", ["x.png", "x.svg", "x.pdf"])
def test_unknown_signs_become_numbers(path):
    with pytest.warns(WhichsunWarning, match=r"2 signs as numbers.*U\+51FA, U\+65E5") as told:
        text = words_after_saving(f"{SUN}{RISE}.jpg\nmorning", "DejaVu Sans", path)
    assert len(told) == 1
    assert text.get_text() == "[U+65E5 U+51FA].jpg\nmorning"


def test_scripts_of_the_font_stay_without_a_warning():
    for words in (CYRILLIC, f"{ARABIC}.jpg", "12.5° ± 3 → ○"):
        text = words_after_saving(words, "DejaVu Sans")
        assert text.get_text() == words


def test_what_only_the_sans_has_is_set_in_it():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        text = words_after_saving(ARABIC, "DejaVu Serif")
    assert text.get_text() == ARABIC
    assert text.get_fontname() == "DejaVu Sans"
    assert words_after_saving(CYRILLIC, "DejaVu Serif").get_fontname() == "DejaVu Serif"

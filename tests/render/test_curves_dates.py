"""Curves over latitude for several dates: a line style for each, points with their dates."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.text import Text
from whichsun.models.errors import InputError
from whichsun.render import curves, style

LATITUDES = np.arange(-60.0, 61.0, 2.0)
DATES = ("2027-03-20", "2027-06-21", "2027-12-21")


def rows(offset):
    return [
        {"latitude_deg": one, "pattern_turn_deg": offset - one, "pattern_visible_fraction": 0.8}
        for one in LATITUDES
    ]


def by_date(names=("distant-sphere", "nearby-plane")):
    return {
        date: {name: rows(20 * k + 5 * i) for i, name in enumerate(names)} for k, date in enumerate(DATES)
    }


def long_lines(ax):
    return [line for line in ax.get_lines() if len(line.get_xdata()) == len(LATITUDES)]


def test_a_colour_per_model_and_a_line_style_per_date():
    points = [
        {"latitude_deg": 40.0, "turn_deg": -30.0, "sigma_deg": 3.0, "date": DATES[0]},
        {"latitude_deg": -20.0, "turn_deg": 30.0, "sigma_deg": 2.0},
    ]
    artists = curves.draw_sweep_dates(by_date(), points, subtitle="invented")
    figure = artists[0].figure
    for ax in figure.axes:
        lines = long_lines(ax)
        assert len(lines) == 6
        looks = {(line.get_color(), str(line._unscaled_dash_pattern)) for line in lines}
        assert len(looks) == 6
        assert {line.get_color() for line in lines} == {
            style.MODEL_COLOURS[name] for name in ("distant-sphere", "nearby-plane")
        }
    # The key: every date once, in the line style of its curves.
    key = figure.axes[0].get_legend()
    assert [text.get_text() for text in key.get_texts()] == list(DATES)
    drawn = [line._unscaled_dash_pattern for line in long_lines(figure.axes[0])[::2]]
    assert [line._unscaled_dash_pattern for line in key.get_lines()] == drawn
    words = [text.get_text() for text in figure.findobj(Text)]
    assert words.count(DATES[0]) == 2, "once in the key, once beside its point"
    assert words.count(DATES[1]) == 1
    places = [line.get_xydata() for line in figure.axes[0].get_lines() if len(line.get_xdata()) == 1]
    for point in points:
        assert any(np.allclose(place, [[point["latitude_deg"], point["turn_deg"]]]) for place in places)


def test_the_key_stands_above_the_words_and_below_the_title():
    point = {"latitude_deg": 40.0, "turn_deg": -30.0, "sigma_deg": 3.0}
    artists = curves.draw_sweep_dates(by_date(), point, subtitle="invented")
    figure = artists[0].figure
    style.save_png(figure, 1200, 825)
    renderer = figure.canvas.get_renderer()
    key = figure.axes[0].get_legend().get_window_extent(renderer)
    boxes = {text.get_text(): Text.get_window_extent(text, renderer) for text in figure.findobj(Text)}
    measured = next(box for words, box in boxes.items() if words.startswith("measured"))
    assert measured.y1 < key.y0
    assert key.y1 < boxes["invented"].y0
    assert key.x1 < figure.bbox.x1


def test_one_date_is_a_line_style_of_the_date_too_and_the_names_stay_once():
    artists = curves.draw_sweep_dates({DATES[0]: by_date()[DATES[0]]})
    words = [text.get_text() for text in artists[0].figure.findobj(Text)]
    assert words.count("nearby-plane") == 1
    assert DATES[0] not in words, "nothing to tell apart"


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({}, "1 to 5 dates"),
        ({str(k): {"distant-sphere": rows(k)} for k in range(6)}, "1 to 5 dates"),
        ({"a": {"distant-sphere": rows(0)}, "b": {"nearby-plane": rows(0)}}, "the same models"),
        ({"a": {"distant-sphere": []}}, "each with rows"),
        ({"a": {}}, "the same models"),
    ],
)
def test_bad_input(given, words):
    with pytest.raises(InputError, match=words):
        curves.draw_sweep_dates(given)

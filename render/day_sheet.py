"""Contact sheet of a day: a row of pictures for each model, taken at the same moments."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from ..models.errors import InputError
from .day_tile import PALE, DayTile
from .style import FAINT, INK, model_styles, new_figure, styled

_WIDTH_PX = 1600
_MARGIN, _GAP = 0.018, 0.006  # shares of the width
_HEAD_IN, _COLUMN_IN, _ROW_IN, _CAPTION_IN = 0.8, 0.28, 0.72, 0.32
_LINE_IN, _LINE_LETTERS = 0.24, 106  # of small words
_NOTE = (
    "Short line at the limb: towards the largest spot. Hatched line: which way the horizon lies; the altitude says "
    "how far. Within a row sizes are true to one another. Left over: how far spots end up from a turn as a whole, "
    "in radii of the disc. The air reddens and flattens a low Sun."
)


@dataclass(frozen=True)
class DayRow:
    """A model's row: its pictures and what is said of them."""

    model: str
    words: str
    tiles: Sequence[DayTile]


def draw_day_sheet(
    rows: Sequence[DayRow], columns: Sequence[str], *, title: str, subtitle: str = "", note: str = ""
) -> list[Artist]:
    """The sheet.

    Parameters
    ----------
    rows : sequence of DayRow
    columns : sequence of str
        The moment above each column.
    title, subtitle : str
    note : str
        Instead of the words below that explain the marks.

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.

    Raises
    ------
    InputError
        No row, or a row with another number of pictures than there are columns.
    """
    if not rows or any(len(row.tiles) != len(columns) for row in rows):
        raise InputError("rows", "must be one or more, each with one picture per column")
    wide = 10.5
    tile = wide * (1 - 2 * _MARGIN - _GAP * (len(columns) - 1)) / len(columns)
    row_height = _ROW_IN + tile + _CAPTION_IN
    below = textwrap.wrap(note or _NOTE, _LINE_LETTERS)
    tall = _HEAD_IN + _COLUMN_IN + len(rows) * row_height + 0.3 + _LINE_IN * len(below)
    with styled():
        figure = new_figure(_WIDTH_PX, round(_WIDTH_PX * tall / wide))
        artists: list[Artist] = [
            figure.text(_MARGIN, 1 - 0.14 / tall, title, fontsize=18, va="top", fontfamily="DejaVu Serif"),
            figure.text(_MARGIN, 1 - 0.52 / tall, subtitle, fontsize=13, va="top", color=FAINT),
        ]
        styles = model_styles([row.model for row in rows])
        lefts = [_MARGIN + k * (tile / wide + _GAP) for k in range(len(columns))]
        for left, words in zip(lefts, columns, strict=True):
            middle = left + tile / wide / 2
            y = 1 - (_HEAD_IN + 0.16) / tall
            artists.append(
                figure.text(
                    middle, y, words, ha="center", fontsize=_fitting(words, tile, 13, 0.7), fontweight="bold"
                )
            )
        for number, row in enumerate(rows):
            top = 1 - (_HEAD_IN + _COLUMN_IN + number * row_height) / tall
            colour = styles[row.model].words
            artists += _draw_heading(figure, row, colour, top - 0.29 / tall, top - 0.56 / tall)
            for left, one in zip(lefts, row.tiles, strict=True):
                bottom = top - (_ROW_IN + tile) / tall
                ax = figure.add_axes((left, bottom, tile / wide, tile / tall))
                artists += draw_day_tile(one, ax=ax)
                x, size = left + tile / wide / 2, _fitting(one.caption, tile, 12.5, 0.63)
                artists.append(
                    figure.text(x, bottom - 0.06 / tall, one.caption, ha="center", va="top", fontsize=size)
                )
        foot = 0.13 / tall
        artists.append(
            figure.text(
                _MARGIN, foot, "\n".join(below), fontsize=12, color=FAINT, va="bottom", linespacing=1.3
            )
        )
    return artists


def _fitting(words: str, width_in: float, largest: float, letter: float) -> float:
    """Type size, points, at which words fit a width; `letter`: a letter's usual width over the size."""
    return min(largest, 72 * width_in / (letter * max(len(words), 1)))


def _draw_heading(figure: Figure, row: DayRow, colour: str, y: float, below: float) -> list[Artist]:
    name = figure.text(_MARGIN, y, row.model, fontsize=15, fontweight="bold", color=colour)
    return [name, figure.text(_MARGIN, below, row.words, fontsize=13, color=INK)]


def draw_day_tile(tile: DayTile, *, ax: Axes) -> list[Artist]:
    """A picture with its marks; the axes lose their frame and span -1 to 1 both ways."""
    artists: list[Artist] = [
        ax.imshow(tile.picture, extent=(-1, 1, -1, 1), interpolation="antialiased", aspect="auto")
    ]
    lines = tile.level()
    artists.append(ax.add_collection(LineCollection(lines, colors=PALE, linewidths=1.1)))
    tick = tile.tick()
    if tick is not None:
        artists.append(ax.add_collection(LineCollection([tick], colors=PALE, linewidths=2.4)))
    ax.set_xlim(-1, 1)
    ax.set_ylim(-1, 1)
    ax.set_axis_off()
    return artists

"""Frames of a day's film: what stays is drawn once, what moves is laid over it."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from PIL import Image, ImageDraw, ImageFont

from .day_tile import PALE, DayTile, Segment
from .style import FAINT, INK, PAPER, RULE, ModelStyle, figure_of, model_styles, new_figure, save_png, styled

Array = npt.NDArray[np.float64]
Frame = npt.NDArray[np.uint8]

_SUN = "#E8B43C"


@dataclass(frozen=True)
class SkyPath:
    """The Sun's way through the sky of one model over the day, degrees, arrays of one shape (n,)."""

    model: str
    azimuth_deg: Array
    altitude_deg: Array


class DayFilm:
    """The standing part of the film and where the moving parts go.

    Parameters
    ----------
    paths : sequence of SkyPath
        One panel for each, from left to right; azimuths without a jump at north.
    size_px : int
        Side of a disc's picture.
    title, subtitle : str
    """

    def __init__(self, paths: Sequence[SkyPath], size_px: int, title: str, subtitle: str) -> None:
        unit = size_px / 512
        self._size, self._unit, gap = size_px, unit, round(18 * unit)
        self._lefts = [gap + k * (size_px + gap) for k in range(len(paths))]
        width = _even(gap + len(paths) * (size_px + gap))
        lines = textwrap.wrap(subtitle, max(30, round(width / (9.2 * unit))))
        self._top = round((90 + 22 * len(lines)) * unit)
        self._words_top = self._top + size_px + round(10 * unit)
        strip = self._words_top + round(34 * unit), round(170 * unit)
        self._clock_top = sum(strip) + round(12 * unit)
        height = _even(self._clock_top + round(50 * unit))
        self._width = width
        styles = model_styles([path.model for path in paths])
        with styled():
            figure = new_figure(width, height)
            self._text(figure, gap, 12, title, 24, height, family="DejaVu Serif")
            self._text(figure, gap, 50, "\n".join(lines), 18, height, color=FAINT)
            limits = _limits(paths)
            axes = []
            for left, path in zip(self._lefts, paths, strict=True):
                style = styles[path.model]
                name_top = self._top / unit - 34
                self._text(figure, left, name_top, path.model, 21, height, color=style.words, weight="bold")
                box = left / width, 1 - sum(strip) / height, size_px / width, strip[1] / height
                ax = figure.add_axes(box)
                self._draw_sky(ax, path, style, limits)
                axes.append(ax)
            data = save_png(figure, width, height)
        self._background = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
        self._dots = [
            ax.transData.transform(np.stack([path.azimuth_deg, path.altitude_deg], axis=-1))
            * np.array([1.0, -1.0])
            + np.array([0.0, height])
            for ax, path in zip(axes, paths, strict=True)
        ]
        fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        self._font = ImageFont.truetype(fonts / "DejaVuSans.ttf", round(18 * unit))
        self._clock_font = ImageFont.truetype(fonts / "DejaVuSans-Bold.ttf", round(27 * unit))

    def frame(self, index: int, tiles: Sequence[DayTile], words: Sequence[str], clock: str) -> Frame:
        """One frame, (height, width, 3) uint8 with even sides.

        Parameters
        ----------
        index : int
            Which of the paths' instants.
        tiles : sequence of DayTile
            One per panel, their pictures of `size_px` a side; the caption stands in the strip of sky.
        words : sequence of str
            Below each disc.
        clock : str
        """
        whole = self._background.copy()
        for left, tile in zip(self._lefts, tiles, strict=True):
            whole[self._top : self._top + self._size, left : left + self._size] = tile.picture
        image = Image.fromarray(whole)
        draw = ImageDraw.Draw(image)
        radius = 8 * self._unit
        for left, tile, text, dots in zip(self._lefts, tiles, words, self._dots, strict=True):
            self._draw_marks(draw, left, tile)
            draw.text((left, self._words_top), text, INK, self._font)
            x, y = dots[index]
            box = (x - radius, y - radius, x + radius, y + radius)
            draw.ellipse(box, fill=_SUN, outline=INK, width=max(1, round(1.5 * self._unit)))
            at = (left + self._size, self._words_top)
            draw.text(at, tile.caption, FAINT, self._font, anchor="ra")
        draw.text((self._width / 2, self._clock_top), clock, INK, self._clock_font, anchor="ma")
        return np.asarray(image)

    def _draw_marks(self, draw: ImageDraw.ImageDraw, left: int, tile: DayTile) -> None:
        half = self._size / 2

        def line(segment: Segment, width: float) -> None:
            ends = [(left + (x + 1) * half, self._top + (1 - y) * half) for x, y in segment]
            draw.line(ends, PALE, max(1, round(width * self._unit)))

        for segment in tile.level():
            line(segment, 2)
        tick = tile.tick()
        if tick is not None:
            line(tick, 5)

    def _text(
        self, figure: Figure, x: float, y_unit: float, text: str, size: float, height: int, **look: Any
    ) -> None:
        """Words whose top left stands at x px and `y_unit` px of a 512 px film, of that many such px."""
        points = size * self._unit * 0.78 * figure.get_size_inches()[0] * 72 / self._width
        place = x / self._width, 1 - y_unit * self._unit / height
        figure.text(*place, text, fontsize=points, va="top", linespacing=1.35, **look)

    def _draw_sky(
        self, ax: Axes, path: SkyPath, style: ModelStyle, limits: tuple[float, float, float]
    ) -> None:
        low, high, top = limits
        points = self._unit * _points_per_px(ax, self._width)
        ax.set_xlim(low, high)
        ax.set_ylim(-0.22 * top, top)
        ax.axhspan(-0.22 * top, 0, color=RULE, lw=0, zorder=0)
        ax.axhline(0, color=INK, lw=1.4 * points, zorder=1)
        ax.plot(path.azimuth_deg, path.altitude_deg, color=style.colour, lw=2.2 * points, zorder=2)
        for azimuth in np.arange(np.ceil(low / 90) * 90, high + 1e-9, 90):
            name = "NESW"[round(azimuth / 90) % 4]
            where = min(max(azimuth, low + 0.02 * (high - low)), high - 0.02 * (high - low))
            ax.text(where, -0.11 * top, name, ha="center", va="center", fontsize=14.5 * points, color=INK)
        # Under the highest part of the path, where it leaves room.
        place = (low + high) / 2, 0.03 * top
        ax.text(*place, "horizon", fontsize=12.5 * points, color=FAINT, ha="center", va="bottom")
        ax.set_facecolor(PAPER)
        ax.set_xticks([])
        ax.set_yticks([])
        for side in ax.spines.values():
            side.set_visible(False)


def _points_per_px(ax: Axes, width: int) -> float:
    """Points of the figure per pixel of the film, a little more: line widths and type of the strip of sky."""
    return 1.15 * figure_of(ax).get_size_inches()[0] * 72 / width


def _limits(paths: Sequence[SkyPath]) -> tuple[float, float, float]:
    """Least and greatest azimuth and the top of the strips, the same for all, degrees."""
    around = np.concatenate([path.azimuth_deg for path in paths])
    high = np.concatenate([path.altitude_deg for path in paths])
    margin = max(4.0, 0.04 * float(np.ptp(around)))
    return float(around.min() - margin), float(around.max() + margin), max(10.0, 1.12 * float(high.max()))


def _even(value: float) -> int:
    """The next even whole number: MP4 needs even sides."""
    return 2 * round(np.ceil(value / 2))

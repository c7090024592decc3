"""The paper of the field sheet: type, tables, frames and two small drawings; black and grey only."""

from __future__ import annotations

import logging
import math
from collections.abc import Sequence
from pathlib import Path

import matplotlib
from fpdf import FPDF

from ...render.spelling import written
from ..report import pdf_fonts
from ..report.document import plain

SMALL_PT = 8.0  # nothing is set smaller
LINE_MM = SMALL_PT * 25.4 / 72 * 1.2
BLACK, DARK, PALE, WHITE = 0, 120, 236, 255
_MARGIN_MM = 11.0
_FONT = "sans"
_FILES = {"": "DejaVuSans.ttf", "B": "DejaVuSans-Bold.ttf"}
_NUMBER_MM = 5.0
_LEAST_WEDGE_DEG = 5.0
_WEDGES = ((BLACK, "morning"), (DARK, "evening"))

Wedge = tuple[float, float] | None


class Paper(FPDF):
    """One page, filled from the top by whoever writes it; nothing breaks it."""

    def __init__(self, paper: str, texts: Sequence[str]) -> None:
        """`texts` come from outside: fonts of the machine are added for signs that ours lack."""
        super().__init__(format=paper, unit="mm")
        self.set_margins(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
        self.set_auto_page_break(False)
        folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        for style, file in _FILES.items():
            self.add_font(_FONT, style, folder / file)
        self._signs = pdf_fonts.add_fallbacks(self, _FONT, pdf_fonts.signs_of(list(texts)))

    @property
    def bottom(self) -> float:
        """Where the page ends, mm from the top."""
        return self.h - _MARGIN_MM

    def whole(self) -> bytes:
        """The file; the fonts' maker, who tells of every table that it leaves out, is kept quiet."""
        logger = logging.getLogger("fontTools")
        before = logger.level
        logger.setLevel(logging.ERROR)
        try:
            return bytes(self.output())
        finally:
            logger.setLevel(before)

    # Type.

    def _type(self, points: float = SMALL_PT, bold: bool = False) -> None:
        self.set_font(_FONT, "B" if bold else "", points)
        self.set_text_color(BLACK)

    def known(self, text: object) -> str:
        """A text from outside in one line, numbers for signs that no font here has."""
        return written(plain(text), self._signs)

    def fitting(self, text: str, width: float, *, bold: bool = False) -> str:
        """The text cut to a width, with dots where something was cut."""
        self._type(bold=bold)
        while len(text) > 1 and self.get_string_width(text) > width:
            text = text.removesuffix("...")[:-1].rstrip() + "..."
        return text

    def line_of(
        self,
        text: str,
        left: float,
        width: float,
        *,
        points: float = SMALL_PT,
        bold: bool = False,
        align: str = "L",
    ) -> None:
        """One line at the present height, which stays."""
        self._type(points, bold)
        top = self.y
        self.set_xy(left, top)
        self.cell(width, points * 25.4 / 72 * 1.2, text, align=align)
        self.set_xy(self.l_margin, top)

    def height_of(self, text: str, width: float) -> float:
        """Height of a text broken to a width, mm."""
        self._type()
        high = self.multi_cell(width, LINE_MM, text, align="L", padding=0, dry_run=True, output="HEIGHT")
        return float(high)  # pyright: ignore[reportArgumentType]

    def paragraph(self, text: str, left: float, width: float) -> None:
        """A text broken to a width; goes on below it."""
        high = self.height_of(text, width)
        top = self.y
        self.set_xy(left, top)
        self.multi_cell(width, LINE_MM, text, align="L")
        self.set_xy(self.l_margin, top + high)

    def numbered(self, items: Sequence[str], left: float, width: float, *, first: int = 1) -> None:
        """Numbered sentences."""
        for number, text in enumerate(items, first):
            self.line_of(f"{number}.", left, _NUMBER_MM)
            self.paragraph(text, left + _NUMBER_MM, width - _NUMBER_MM)

    # Frames and tables.

    def framed(self, left: float, top: float, width: float, height: float) -> None:
        """A thick frame on pale ground."""
        self.set_draw_color(BLACK)
        self.set_fill_color(PALE)
        self.set_line_width(0.7)
        self.rect(left, top, width, height, "DF")
        self.set_line_width(0.2)

    def row(
        self,
        cells: Sequence[str],
        widths: Sequence[float],
        height: float,
        *,
        bold: bool = False,
        ruled: bool = False,
        boxed: bool = False,
        shaded: Sequence[int] = (),
    ) -> None:
        """One row from the left margin on: a rule below it, or a box round every cell."""
        top, left = self.y, self.l_margin
        self.set_draw_color(BLACK)
        self.set_fill_color(PALE)
        for place, (text, width) in enumerate(zip(cells, widths, strict=True)):
            if boxed:
                self.rect(left, top, width, height, "DF" if place in shaded else "D")
            self._type(bold=bold)
            self.set_xy(left, top)
            self.cell(width, height, text)
            left += width
        self.set_xy(self.l_margin, top + height)
        if ruled:
            self.line(self.l_margin, self.y, left, self.y)

    # Drawings.

    def rose(self, x: float, y: float, radius: float, wedges: Sequence[Wedge]) -> None:
        """Horizon from above, north at the top, with the stretch of it in which the Sun stands in each window.

        `wedges` are azimuths from and to in degrees, morning and evening.
        """
        self.set_draw_color(BLACK)
        for (grey, _), wedge in zip(_WEDGES, wedges, strict=True):
            if wedge is None:
                continue
            first, last = wedge
            span = (last - first + 180) % 360 - 180
            if (
                abs(span) < _LEAST_WEDGE_DEG
            ):  # the Sun rises straight up: a stroke has to be seen all the same
                first, span = first + (span - _LEAST_WEDGE_DEG) / 2, _LEAST_WEDGE_DEG
            steps = [first + span * i / 12 for i in range(13)]
            self.set_fill_color(grey)
            self.polygon([(x, y), *(_on_rose(x, y, radius, azimuth) for azimuth in steps)], style="DF")
        self.ellipse(x - radius, y - radius, 2 * radius, 2 * radius, "D")
        for azimuth in range(0, 360, 10):
            inner = radius - (1.6 if azimuth % 30 == 0 else 0.9)
            self.line(*_on_rose(x, y, inner, azimuth), *_on_rose(x, y, radius, azimuth))
        for azimuth, letter in ((0, "N"), (90, "E"), (180, "S"), (270, "W")):
            there = _on_rose(x, y, radius + 2.3, azimuth)
            self.set_y(there[1] - LINE_MM / 2)
            self.line_of(letter, there[0] - 3, 6, bold=True, align="C")

    def sketch_disc(self, x: float, y: float, radius: float, name: str) -> None:
        """An empty disc over its horizon, with the way up."""
        self.set_draw_color(BLACK)
        self.ellipse(x - radius, y - radius, 2 * radius, 2 * radius, "D")
        self.set_draw_color(DARK)
        self.line(x - 1.2, y, x + 1.2, y)
        self.line(x, y - 1.2, x, y + 1.2)
        self.set_draw_color(BLACK)
        tip = y - radius - 3.6
        self.line(x, y - radius, x, tip)
        self.set_fill_color(BLACK)
        self.polygon([(x, tip - 0.4), (x - 0.8, tip + 1.4), (x + 0.8, tip + 1.4)], style="F")
        self.set_y(tip - 0.6)
        self.line_of("up", x + 1.2, 8)
        ground = y + radius + 1.0
        self.line(x - radius, ground, x + radius, ground)
        self.set_y(ground)
        self.line_of(name, x - radius, 2 * radius, align="C")


def _on_rose(x: float, y: float, radius: float, azimuth_deg: float) -> tuple[float, float]:
    """Point of a circle at an azimuth, north up and east to the right."""
    angle = math.radians(azimuth_deg)
    return x + radius * math.sin(angle), y - radius * math.cos(angle)

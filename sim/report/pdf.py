"""A document as PDF on A4: text that can be selected, pictures with alternative text, a bookmark per section."""

from __future__ import annotations

import datetime as dt
import io
import logging
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path

import matplotlib
from fpdf import FPDF, FontFace
from fpdf.enums import XPos, YPos

from ...render.spelling import written
from ...render.style import FAINT, INK, RULE
from . import pdf_fonts
from .document import (
    Block,
    Cautions,
    Document,
    Heading,
    Picture,
    Pictures,
    Points,
    Section,
    Table,
    Verdict,
    Words,
    plain,
)
from .look import CAUTION_EDGE, CAUTION_PAPER, PANEL, WHITE

_MARGIN_MM, _FOOT_MM, _GAP_MM = 17.0, 18.0, 5.0
_LINE = 1.45  # of the type's size
_PT_MM = 25.4 / 72
_BODY_PT, _SMALL_PT = 9.5, 8.0
_SANS, _SERIF = "sans", "serif"
_FONTS = {
    (_SANS, ""): "DejaVuSans.ttf",
    (_SANS, "B"): "DejaVuSans-Bold.ttf",
    (_SERIF, ""): "DejaVuSerif.ttf",
}


def pdf_of(document: Document, made: dt.datetime) -> bytes:
    """The whole file."""
    with _quiet_fonts():
        paper = _Paper(document, made)
        paper.write(document)
        return bytes(paper.output())


@contextmanager
def _quiet_fonts() -> Iterator[None]:
    """The fonts' makers tell of every table they leave out: no news for a person."""
    logger = logging.getLogger("fontTools")
    before = logger.level
    logger.setLevel(logging.ERROR)
    try:
        yield
    finally:
        logger.setLevel(before)


class _Paper(FPDF):
    """Our page: margins, fonts, page numbers, and one method per block."""

    def __init__(self, document: Document, made: dt.datetime) -> None:
        super().__init__(format="A4", unit="mm")
        self._name = plain(document.title)
        self.set_margins(_MARGIN_MM, _MARGIN_MM, _MARGIN_MM)
        self.set_auto_page_break(True, _FOOT_MM)
        folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
        for (family, style), file in _FONTS.items():
            self.add_font(family, style, folder / file)
        signs = pdf_fonts.signs_of(document)
        self._signs = pdf_fonts.add_fallbacks(self, _SANS, signs, "the HTML is right")
        self.set_title(self._name)
        self.set_lang("en")
        self.set_creator(f"whichsun {version('whichsun')}")
        self.set_creation_date(made)
        self.add_page()

    def footer(self) -> None:
        """Title and page number."""
        self.set_y(-_FOOT_MM + 6)
        self._type(_SANS, "", _SMALL_PT, FAINT)
        self.cell(self.epw - 15, 5, self._fitting(self._name))
        self.cell(15, 5, f"{self.page_no()} / {{nb}}", align="R")

    def write(self, document: Document) -> None:  # pyright: ignore[reportIncompatibleMethodOverride]
        """Lay out the whole document."""
        self._paragraph(document.title, _SERIF, 19)
        for line in document.lead:
            self._paragraph(line, _SANS, _SMALL_PT, colour=FAINT, after=0.2)
        for section in document.sections:
            self._section(section)

    def _section(self, section: Section) -> None:
        first = section.blocks[0] if section.blocks else None
        below = 12.0
        if isinstance(first, Cautions):  # a heading stands on the page of its box or picture
            below = self._cautions_height(first.items)
        elif isinstance(first, Pictures):
            columns = min(first.columns, len(first.items))
            below = self._row_size(first.items[:columns], columns)[2]
        self._room(22 + below)
        self.ln(4)
        self.set_draw_color(RULE)
        self.line(self.l_margin, self.y, self.l_margin + self.epw, self.y)
        self.ln(3)
        title = self._known(section.title)
        self.start_section(title)
        self._paragraph(title, _SERIF, 14)
        for block in section.blocks:
            self._block(block)

    def _block(self, block: Block) -> None:
        match block:
            case Words(text, faint):
                self._paragraph(text, _SANS, _SMALL_PT if faint else _BODY_PT, colour=FAINT if faint else INK)
            case Heading(text):
                self._room(22)
                self.ln(1.5)
                self._paragraph(text, _SERIF, 11.5)
            case Points(items, numbered):
                self._points(items, numbered)
            case Verdict(text, colour):
                self._verdict(text, colour)
            case Cautions(items):
                self._cautions(items)
            case Table(folded=False):
                self._table(block)
            case Table():
                pass  # long lists stay on the screen
            case Pictures(items, columns):
                self._pictures(items, min(columns, len(items)))

    # Type.

    def _type(self, family: str, style: str, points: float, colour: str = INK) -> None:
        self.set_font(family, style, points)
        self.set_text_color(colour)

    def _known(self, text: object) -> str:
        """The text in one line, numbers for signs that no font here has."""
        return written(plain(text), self._signs)

    def _fitting(self, text: str) -> str:
        """The text cut to the footer's width."""
        text = self._known(text)
        while len(text) > 4 and self.get_string_width(text) > self.epw - 20:
            text = text[:-4].rstrip() + "..."
        return text

    def _paragraph(
        self,
        text: object,
        family: str,
        points: float,
        *,
        style: str = "",
        colour: str = INK,
        after: float = 1.6,
        indent: float = 0.0,
        width: float | None = None,
    ) -> None:
        self._type(family, style, points, colour)
        self.set_x(self.l_margin + indent)
        self.multi_cell(
            self.epw - indent if width is None else width,
            points * _PT_MM * _LINE,
            self._known(text),
            align="L",
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
        )
        self.ln(after)

    def _height(self, text: object, points: float, width: float, style: str = "") -> float:
        """Height in mm of a text broken to a width."""
        self._type(_SANS, style, points)
        words = self._known(text)
        high = self.multi_cell(
            width, points * _PT_MM * _LINE, words, align="L", dry_run=True, output="HEIGHT"
        )
        return float(high)  # pyright: ignore[reportArgumentType]

    def _room(self, height: float) -> None:
        """Start a new page where less than `height` mm is left."""
        if self.will_page_break(height):
            self.add_page()

    # Blocks.

    def _points(
        self, items: Iterable[str], numbered: bool, indent: float = 0.0, width: float | None = None
    ) -> None:
        room = (self.epw if width is None else width) - 6
        for number, item in enumerate(items, 1):
            self._room(self._height(item, _BODY_PT, room))
            self._type(_SANS, "", _BODY_PT)
            self.set_x(self.l_margin + indent)
            self.cell(6, _BODY_PT * _PT_MM * _LINE, f"{number}." if numbered else "\N{EN DASH}")
            self._paragraph(item, _SANS, _BODY_PT, after=0.9, indent=indent + 6, width=room)
        self.ln(0.8)

    def _verdict(self, text: str, colour: str) -> None:
        height = self._height(text, 12, self.epw - 12, "B") + 7
        self._room(height)
        top = self.y
        self.set_fill_color(PANEL)
        self.rect(self.l_margin, top, self.epw, height, "F")
        self.set_fill_color(colour)
        self.rect(self.l_margin, top, 2.2, height, "F")
        self.set_y(top + 3.5)
        self._paragraph(text, _SANS, 12, style="B", indent=7, width=self.epw - 12)
        self.set_y(top + height + 3)

    def _cautions_height(self, items: Sequence[str]) -> float:
        return 7 + sum(self._height(item, _BODY_PT, self.epw - 16) + 0.9 for item in items)

    def _cautions(self, items: Sequence[str]) -> None:
        height = self._cautions_height(items)
        self._room(height)
        top = self.y
        self.set_fill_color(CAUTION_PAPER)
        self.set_draw_color(CAUTION_EDGE)
        self.set_line_width(0.5)
        self.rect(self.l_margin, top, self.epw, height, "DF")
        self.set_line_width(0.2)
        self.set_y(top + 3)
        self._points(items, True, 5, self.epw - 10)
        self.set_y(top + height + 3)

    def _table(self, table: Table) -> None:
        self._room(28)
        if table.title:
            self._paragraph(table.title, _SANS, _BODY_PT, style="B", after=0.6)
        cells = [[self._known(cell) for cell in row] for row in (table.columns, *table.rows)]
        widths = self._widths(cells)
        self._type(_SANS, "", _SMALL_PT)
        self.set_draw_color(RULE)
        self.set_fill_color(WHITE)
        with self.table(
            col_widths=widths,
            line_height=_SMALL_PT * _PT_MM * 1.35,
            borders_layout="HORIZONTAL_LINES",
            headings_style=FontFace(emphasis="BOLD", color=INK),
            text_align="LEFT",
            padding=0.9,
        ) as grid:
            for texts in cells:
                grid.row(texts)
        self.ln(2.5)

    def _widths(self, cells: Sequence[Sequence[str]]) -> tuple[float, ...]:
        """Widths of the columns: the longest text's, long ones held back so that short ones keep to a line."""
        self._type(_SANS, "B", _SMALL_PT)
        longest = [
            max(self.get_string_width(words) for words in column) for column in zip(*cells, strict=True)
        ]
        wanted = [min(width + 3, self.epw * 0.45) for width in longest]
        spare = self.epw - sum(wanted)
        if spare > 0:
            wanted[-1] += spare
            return tuple(wanted)
        even = self.epw / len(wanted)
        short = [min(width, even) for width in wanted]
        long = [max(width - even, 0.0) for width in wanted]
        left = self.epw - sum(short)
        return tuple(s + left * x / sum(long) for s, x in zip(short, long, strict=True))

    def _pictures(self, items: Sequence[Picture], columns: int) -> None:
        for start in range(0, len(items), columns):
            self._pictures_row(items[start : start + columns], columns)

    def _row_size(self, items: Sequence[Picture], columns: int) -> tuple[float, list[float], float]:
        """Width of a picture, heights of the pictures, height of the row with its captions; mm."""
        width = (self.epw - _GAP_MM * (columns - 1)) / columns
        heights = [width * one.size_px[1] / one.size_px[0] for one in items]
        captions = [self._height(one.caption, _SMALL_PT, width) if one.caption else 0.0 for one in items]
        return width, heights, max(h + c for h, c in zip(heights, captions, strict=True)) + 2

    def _pictures_row(self, items: Sequence[Picture], columns: int) -> None:
        width, heights, total = self._row_size(items, columns)
        self._room(total)
        top = self.y
        for place, (one, height) in enumerate(zip(items, heights, strict=True)):
            indent = place * (width + _GAP_MM)
            left = self.l_margin + indent
            self.image(io.BytesIO(one.data), left, top, width, height, alt_text=self._known(one.alt))
            self.set_y(top + height + 1)
            if one.caption:
                self._paragraph(one.caption, _SANS, _SMALL_PT, colour=FAINT, indent=indent, width=width)
        self.set_y(top + total + 3)

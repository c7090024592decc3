"""A document as one HTML file: nothing from elsewhere, no script, every text escaped."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from html import escape

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
from .look import NARROW_PX, STYLE

CARDS_FROM = 3  # columns from which on a table becomes cards on a narrow screen
_LONGEST, _PIECE = 22, 11  # letters of a word in a table's cell
_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"


def html_of(document: Document) -> str:
    """The whole file."""
    links = "".join(f'<li><a href="#{_text(s.key)}">{_text(s.title)}</a></li>' for s in document.sections)
    lead = "".join(f'<p class="lead">{_text(line)}</p>\n' for line in document.lead)
    body = "".join(_section(section) for section in document.sections)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{_text(document.title)}</title>
<link rel="icon" href="data:,">
<style>{STYLE}</style>
</head>
<body>
<header>
<h1>{_text(document.title)}</h1>
{lead}<nav aria-label="Contents"><ul>{links}</ul></nav>
</header>
<main>
{body}</main>
</body>
</html>
"""


def _text(text: object) -> str:
    return escape(plain(text), quote=True)


def _breakable(text: object) -> str:
    """The same, with places at which words of overlong length may break, so that no cell is wider than a screen."""
    words = (
        "<wbr>".join(escape(word[i : i + _PIECE], quote=True) for i in range(0, len(word), _PIECE))
        if len(word) > _LONGEST
        else escape(word, quote=True)
        for word in plain(text).split(" ")
    )
    return " ".join(words)


def _section(section: Section) -> str:
    blocks = "".join(_block(block) for block in section.blocks)
    return f'<section id="{_text(section.key)}">\n<h2>{_text(section.title)}</h2>\n{blocks}</section>\n'


def _block(block: Block) -> str:
    match block:
        case Words(text, faint):
            return f'<p class="faint">{_text(text)}</p>\n' if faint else f"<p>{_text(text)}</p>\n"
        case Heading(text):
            return f"<h3>{_text(text)}</h3>\n"
        case Points(items, numbered):
            return _list(items, numbered)
        case Verdict(text, colour):
            return f'<p class="verdict" style="border-color: {_text(colour)}">{_text(text)}</p>\n'
        case Cautions(items):
            return f'<div class="cautions">{_list(items, True)}</div>\n'
        case Table():
            return _table(block)
        case Pictures(items, columns):
            inside = "".join(_figure(item) for item in items)
            return f'<div class="pictures" style="--columns: {min(columns, len(items))}">\n{inside}</div>\n'


def _list(items: Iterable[str], numbered: bool) -> str:
    tag = "ol" if numbered else "ul"
    inside = "".join(f"<li>{_text(item)}</li>" for item in items)
    return f"<{tag}>{inside}</{tag}>\n"


def _source(picture: Picture) -> str:
    return f"data:image/{picture.kind};base64,{base64.b64encode(picture.data).decode('ascii')}"


def _figure(picture: Picture) -> str:
    width, height = picture.size_px
    image = f'<img src="{_source(picture)}" width="{width}" height="{height}" alt="{_text(picture.alt)}">'
    if picture.narrow is not None:
        wide, tall = picture.narrow.size_px
        image = (
            f'<picture><source media="screen and (max-width: {NARROW_PX}px)" srcset="{_source(picture.narrow)}" '
            f'width="{wide}" height="{tall}">{image}</picture>'
        )
    caption = f"<figcaption>{_text(picture.caption)}</figcaption>" if picture.caption else ""
    return f"<figure>{image}{caption}</figure>\n"


def _table(table: Table) -> str:
    head = "".join(f'<th scope="col" role="columnheader">{_text(name)}</th>' for name in table.columns)
    colours = list(table.colours) or [None] * len(table.rows)
    rows = "".join(_row(table, row, colour) for row, colour in zip(table.rows, colours, strict=True))
    cards = ' class="cards"' if len(table.columns) > CARDS_FROM else ""
    title = f"<caption>{_text(table.title)}</caption>" if table.title and not table.folded else ""
    # The roles stay when a narrow screen shows the rows as cards.
    text = (
        f'<table role="table"{cards}>{title}<thead role="rowgroup"><tr role="row">{head}</tr></thead>\n'
        f'<tbody role="rowgroup">{rows}</tbody></table>\n'
    )
    if table.folded:
        return f"<details><summary>{_text(table.title)}</summary>\n{text}</details>\n"
    return text


def _row(table: Table, row: Iterable[str], colour: str | None) -> str:
    cells = []
    for number, (name, cell) in enumerate(zip(table.columns, row, strict=True)):
        swatch = ""
        if number == 0 and colour:
            swatch = f'<span class="swatch" style="background: {_text(colour)}"></span>'
        empty = "" if plain(cell) else ' class="empty"'
        inside = f"<span>{swatch}{_breakable(cell)}</span>"
        cells.append(f'<td role="cell" data-label="{_text(name)}"{empty}>{inside}</td>')
    return f'<tr role="row">{"".join(cells)}</tr>\n'

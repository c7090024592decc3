"""A report as plain data, which the writers of HTML and PDF lay out; all texts are plain, escaped only there."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Picture:
    """One picture with its words.

    Attributes
    ----------
    data : bytes
    kind : str
        ``"png"`` or ``"jpeg"``.
    size_px : (int, int)
        Width, height.
    alt : str
        What it shows, for those who do not see it.
    caption : str
    narrow : Picture or None
        The same drawn for a narrow screen.
    """

    data: bytes
    kind: str
    size_px: tuple[int, int]
    alt: str
    caption: str = ""
    narrow: Picture | None = None


@dataclass(frozen=True)
class Words:
    """A paragraph; `faint` for what stands below a table."""

    text: str
    faint: bool = False


@dataclass(frozen=True)
class Heading:
    """A heading below the section's own."""

    text: str


@dataclass(frozen=True)
class Points:
    """A list of sentences, numbered or not."""

    items: Sequence[str]
    numbered: bool = False


@dataclass(frozen=True)
class Verdict:
    """The headline; `colour` (hex) is that of the model it speaks for."""

    text: str
    colour: str


@dataclass(frozen=True)
class Cautions:
    """The box of cautions, numbered."""

    items: Sequence[str]


@dataclass(frozen=True)
class Table:
    """Columns and rows of texts.

    `colours` has a hex colour or None per row, shown as a swatch before the first cell. `folded` tables may be
    closed on a screen and are left out in print.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    title: str = ""
    colours: Sequence[str | None] = ()
    folded: bool = False


@dataclass(frozen=True)
class Pictures:
    """Pictures side by side, `columns` at most, or one below the other on a narrow screen."""

    items: Sequence[Picture]
    columns: int = 2


Block = Words | Heading | Points | Verdict | Cautions | Table | Pictures


@dataclass(frozen=True)
class Section:
    """A heading and what stands below it."""

    key: str
    title: str
    blocks: Sequence[Block]


@dataclass(frozen=True)
class Document:
    """The whole report; `lead` are short lines below the title."""

    title: str
    lead: Sequence[str]
    sections: Sequence[Section]


def plain(text: object) -> str:
    """A text from outside in one line, without control characters and without marks that turn its direction."""
    unsafe = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
    spaced = "".join(
        " " if c in "\t\r\n" else "\N{REPLACEMENT CHARACTER}" if unicodedata.category(c) in unsafe else c
        for c in str(text)
    )
    return " ".join(spaced.split())

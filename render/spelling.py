"""Signs that a font lacks, as their numbers in Unicode: no figure and no page shows empty boxes unasked."""

from __future__ import annotations

import warnings
from collections.abc import Collection
from functools import cache

from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.text import Text

from ..models.errors import WhichsunWarning

_LISTED = 3  # signs that are told one by one
_SANS = "DejaVu Sans"  # comes with matplotlib and has more scripts than the serif


def written(text: str, known: Collection[int]) -> str:
    """The text with every run of unknown signs as its numbers, ``[U+65E5 U+51FA]``; long runs are counted."""
    pieces: list[str] = []
    run: list[str] = []
    for letter in [*text, ""]:
        if letter and ord(letter) not in known:
            run.append(letter)
            continue
        if run:
            told = " ".join(f"U+{ord(one):04X}" for one in (run if len(run) <= _LISTED else run[:1]))
            more = f" and {len(run) - 1} more signs" if len(run) > _LISTED else ""
            pieces.append(f"[{told}{more}]")
            run = []
        pieces.append(letter)
    return "".join(pieces)


def listed(signs: Collection[int]) -> str:
    """The first few of some code points, for a warning: ``U+51FA, U+65E5 ...``."""
    first = ", ".join(f"U+{sign:04X}" for sign in sorted(signs)[:_LISTED])
    return first + (" ..." if len(signs) > _LISTED else "")


def spell_out(figure: Figure) -> None:
    """Give texts with unusual signs a font that has them, or write the signs as numbers, with one warning."""
    missing: set[int] = set()
    for text in figure.findobj(Text):
        words = text.get_text()
        if words.isascii() or not _lacking(words, _known(findfont(text.get_fontproperties()))):
            continue
        text.set_fontfamily(_SANS)
        known = _known(findfont(FontProperties(family=_SANS)))
        missing |= _lacking(words, known)
        text.set_text(written(words, known | {ord("\n")}))
    if missing:
        warnings.warn(
            f"a figure shows {len(missing)} signs as numbers because its font lacks them ({listed(missing)}); a name "
            "in Latin, Greek, Cyrillic or Arabic letters is shown",
            WhichsunWarning,
            stacklevel=3,
        )


@cache
def _known(font: str) -> frozenset[int]:
    return frozenset(get_font(font).get_charmap())


def _lacking(words: str, known: Collection[int]) -> set[int]:
    return {ord(sign) for sign in words if ord(sign) not in known and sign != "\n"}

"""Fonts of this machine for signs that the report's own font lacks; a PDF must never show empty boxes unasked.

Nothing is fetched: fontconfig's list is asked, and where it has no font the signs are written as their numbers in
Unicode and a warning names the Debian package that would help.
"""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import unicodedata
import warnings
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fontTools.ttLib import TTCollection, TTFont, TTLibError

from ...models.errors import WhichsunWarning
from ...render.spelling import listed
from .document import plain

if TYPE_CHECKING:
    from fpdf import FPDF

_MOST_FONTS = 6
_ASKED_PER_SIGN = 8  # fonts of fontconfig's list that are opened for one sign
_PATIENCE_S = 20
_CJK = ("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "BOPOMOFO", "IDEOGRAPHIC", "FULLWIDTH", "HALFWIDTH", "YI ")


@dataclass(frozen=True)
class FontFile:
    """A font to embed: its file, its number in a collection, and the signs (code points) that it has."""

    path: Path
    number: int
    signs: frozenset[int]


def signs_of(thing: Any) -> set[int]:
    """Code points of every text in a document."""
    return {ord(letter) for text in _texts(thing) for letter in plain(text)}


def _texts(thing: Any) -> Iterator[str]:
    if isinstance(thing, str):
        yield thing
    elif is_dataclass(thing):
        for field in fields(thing):
            yield from _texts(getattr(thing, field.name))
    elif isinstance(thing, (list, tuple)):
        for one in thing:
            yield from _texts(one)


def fonts_with(missing: Collection[int]) -> list[FontFile]:
    """Fonts of this machine that have as many of the missing signs as can be had, the one with most first."""
    left, chosen = set(missing), []
    while left and len(chosen) < _MOST_FONTS:
        sign = min(left)
        best = max(_having(sign), key=lambda font: len(left & font.signs), default=None)
        if best is None:
            left.discard(sign)
            continue
        chosen.append(best)
        left -= best.signs
    return chosen


def _having(sign: int) -> list[FontFile]:
    """Upright fonts of usual weight that have a sign, as fontconfig lists them; none without fontconfig."""
    program = shutil.which("fc-list")
    if program is None:
        return []
    command = [program, "--format", "%{file}\t%{index}\n", f":charset={sign:x}:slant=0:weight=80:color=false"]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=_PATIENCE_S, check=True)
    except (OSError, subprocess.SubprocessError):
        return []
    fonts = []
    for line in sorted(set(done.stdout.splitlines()))[:_ASKED_PER_SIGN]:
        name, _, number = line.partition("\t")
        font = _opened(Path(name), int(number or 0) & 0xFFFF)
        if font is not None and sign in font.signs:
            fonts.append(font)
    return fonts


def _opened(path: Path, number: int) -> FontFile | None:
    """The font with its signs; None where it cannot be read or embedded."""
    if path.suffix.lower() not in (".ttf", ".otf", ".ttc", ".otc"):
        return None
    try:
        if path.suffix.lower() in (".ttc", ".otc"):
            with TTCollection(path, lazy=True) as many:
                return FontFile(path, number, frozenset(many.fonts[number].getBestCmap() or ()))
        with TTFont(path, lazy=True) as font:
            return FontFile(path, 0, frozenset(font.getBestCmap() or ()))
    except (OSError, TTLibError, IndexError):
        return None


def add_fallbacks(pdf: FPDF, family: str, signs: set[int], elsewhere: str = "") -> set[int]:
    """Give a PDF fonts of this machine for signs that its family lacks; returns all signs that can be written.

    `elsewhere` tells in the warnings where the text stands as it is, such as ``"the HTML is right"``.
    """
    known = set(pdf.fonts[family].cmap)  # pyright: ignore[reportAttributeAccessIssue]
    others = []
    for k, font in enumerate(fonts_with(signs - known)):
        others.append(f"other{k}")
        pdf.add_font(others[-1], "", font.path, collection_font_number=font.number)
        known |= font.signs
    warn_of_missing(signs - known, elsewhere)
    pdf.set_fallback_fonts([family, *others], exact_match=False)
    if needs_shaping(signs) and can_shape(elsewhere):
        pdf.set_text_shaping(True)
    return known


def warn_of_missing(missing: Iterable[int], elsewhere: str = "") -> None:
    """One warning that says which package would help, if any sign has no font."""
    left = sorted(missing)
    if not left:
        return
    names = [unicodedata.name(chr(sign), "") for sign in left]
    cjk = [name.startswith(_CJK) for name in names]
    packages = ["fonts-noto-cjk"] * any(cjk) + ["fonts-noto-core"] * (not all(cjk))
    warnings.warn(
        f"the PDF shows {len(left)} signs as numbers because no font here has them ({listed(left)})"
        f"{_aside(elsewhere)}. Debian: apt install {' '.join(packages)}, then write the PDF again",
        WhichsunWarning,
        stacklevel=2,
    )


def needs_shaping(signs: Iterable[int]) -> bool:
    """Whether some signs run from right to left, so that the shaping library is wanted."""
    return any(unicodedata.bidirectional(chr(sign)) in ("R", "AL") for sign in signs)


def _aside(elsewhere: str) -> str:
    return f"; {elsewhere}" if elsewhere else ""


def can_shape(elsewhere: str = "") -> bool:
    """Whether the shaping library is here; warns if not."""
    if importlib.util.find_spec("uharfbuzz") is not None:
        return True
    warnings.warn(
        "letters that join or run from right to left stand one by one from left to right in the PDF"
        f"{_aside(elsewhere)}. pip install uharfbuzz, then write the PDF again",
        WhichsunWarning,
        stacklevel=2,
    )
    return False

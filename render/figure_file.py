"""A figure as the bytes of a PNG, SVG or PDF file, chosen by the file's name."""

from __future__ import annotations

import io
from pathlib import Path

import matplotlib
from matplotlib.figure import Figure

from ..models.errors import InputError
from .spelling import spell_out
from .style import save_png, styled

FIGURE_KINDS = (".png", ".svg", ".pdf")


def check_figure_name(name: str, path: Path | str) -> None:
    """Refuse a file name, called `name` by the person, that does not end in one of `FIGURE_KINDS`."""
    if Path(path).suffix.lower() not in FIGURE_KINDS:
        raise InputError(name, "must be a name that ends in .png, .svg or .pdf", str(path))


def figure_bytes(figure: Figure, path: Path | str, width_px: int = 1600) -> bytes:
    """What the file `path` is to hold: the figure in the kind that its ending says; nothing is written.

    Parameters
    ----------
    figure : Figure
        Made by :func:`whichsun.render.style.new_figure`.
    path : path
    width_px : int
        Width of a PNG; SVG and PDF are as large as the figure says and scale.

    Raises
    ------
    InputError
        Another ending, or a width outside 64 to 16384.
    """
    check_figure_name("figure", path)
    kind = Path(path).suffix.lower()[1:]
    if kind == "png":
        return save_png(figure, width_px)
    buffer = io.BytesIO()
    # Without dates and with a fixed salt the same figure gives the same bytes.
    metadata = {"Date": None} if kind == "svg" else {"CreationDate": None}
    with styled(), matplotlib.rc_context({"svg.hashsalt": "whichsun", "pdf.fonttype": 42}):
        spell_out(figure)
        figure.savefig(buffer, format=kind, metadata=metadata)
    return buffer.getvalue()

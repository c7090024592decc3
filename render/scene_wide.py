"""Scenes in the shape of a projector's picture, 16:9: discs beside each scene, what is not to scale at the foot."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from matplotlib.figure import Figure

from ..models.errors import InputError
from .scene import Panel, Scene
from .scene_figure import draw_camera_disc, draw_scene, numbers_under
from .style import FAINT, INK, model_styles, new_figure, styled

_MOST = 2  # scenes that have room beside each other, and moments of each of two
_SHAPE = 9 / 16
_WIDE, _TALL = 756.0, 756.0 * _SHAPE  # points of every figure of ours
_EDGE, _GAP = 16.0, 5.0
# Type, points; of the smallest 14 are left on a slide 13.3 inches wide.
_TITLE, _NAME, _WORDS, _SMALL = 18.0, 15.0, 12.0, 11.0
_LINE = 1.21  # matplotlib's own distance of lines, in sizes of the type
_SLOT = 132.0  # width of a disc with its words


def draw_wide_scenes(panels: Sequence[Panel], title: str, subtitle: str, *, width_px: int = 1920) -> Figure:
    """A figure of one scene or two side by side, 16:9.

    Raises
    ------
    InputError
        See :func:`check_wide`.
    MissingLibraryError
        See :func:`whichsun.render.scene_picture.draw_space`.
    """
    check_wide(len(panels), max((len(panel.words) for panel in panels), default=0))
    share = _WIDE / len(panels)
    notes = textwrap.wrap(_foot(panels), _letters(_WIDE - 2 * _EDGE, _SMALL))
    summaries = [textwrap.wrap(panel.summary, _letters(share - 2 * _EDGE, _WORDS)) for panel in panels]
    told = 12 + _LINE * _SMALL * len(notes)
    summed = told + _GAP + _LINE * _WORDS * max(map(len, summaries))
    top = _TALL - 12 - _LINE * (_TITLE + _WORDS) - 2 * _GAP
    with styled():
        figure = new_figure(width_px, round(width_px * _SHAPE))
        _write(figure, title, _EDGE, _TALL - 12, _TITLE, family="DejaVu Serif")
        _write(figure, subtitle, _EDGE, _TALL - 12 - _LINE * _TITLE, _WORDS, color=FAINT)
        _write(figure, "\n".join(notes), _EDGE, told, _SMALL, color=FAINT)
        for k, (panel, summary) in enumerate(zip(panels, summaries, strict=True)):
            left = k * share + _EDGE
            _write(figure, "\n".join(summary), left, summed, _WORDS, color=INK)
            _draw_panel(figure, panel, (left, summed + _GAP, share - 2 * _EDGE, top), width_px)
    return figure


def check_wide(scenes: int, moments: int) -> None:
    """Refuse what does not fit into a wide picture.

    Raises
    ------
    InputError
        There is no scene or more than two, or there are two with more than two moments.
    """
    if not 1 <= scenes <= _MOST:
        raise InputError("model", "must be one or two in a wide picture", scenes)
    if scenes == _MOST and moments > _MOST:
        raise InputError("at", "must be one moment or two where a wide picture shows two models", moments)


def _foot(panels: Sequence[Panel]) -> str:
    """The notes of all scenes, one that they share only once."""
    shared = [note for note in panels[0].scene.notes if all(note in panel.scene.notes for panel in panels)]
    own = [
        (f"{panel.scene.model}: " if len(panels) > 1 else "")
        + " ".join(note for note in panel.scene.notes if note not in shared)
        for panel in panels
        if set(panel.scene.notes) - set(shared)
    ]
    return " ".join([*shared, *own])


def _draw_panel(figure: Figure, panel: Panel, box: tuple[float, float, float, float], width_px: int) -> None:
    """Names, scene and discs within (left, bottom, width, top), points."""
    left, bottom, wide, top = box
    scene, style = panel.scene, model_styles([panel.scene.model])[panel.scene.model]
    count = len(panel.words)
    columns = min(count, 2) if wide > _WIDE / 2 else 1
    _write(figure, scene.model, left, top, _NAME, color=style.words, fontweight="bold")
    _write(figure, scene.title, left, top - _LINE * _NAME, _SMALL, color=INK)
    names = _LINE * (_NAME + _SMALL)
    size = wide - columns * _SLOT - _GAP, top - names - _GAP - bottom
    ax = figure.add_axes((left / _WIDE, bottom / _TALL, size[0] / _WIDE, size[1] / _TALL))
    pixels = [round(width_px * length / _WIDE) for length in size]
    draw_scene(_short_labels(scene), ax=ax, width_px=pixels[0], height_px=pixels[1], scale=_SMALL / 10.5)
    letters = _letters(_SLOT, 1.16 * _WORDS)  # bold is wider
    above = ["\n".join(textwrap.wrap(word, letters)) for word in panel.words]
    below = [numbers_under(panel, i, letters) for i in range(count)]
    over, under = (_LINE * _WORDS * (1 + max(text.count("\n") for text in texts)) for texts in (above, below))
    rows = -(-count // columns)
    step = (top - bottom) / rows
    disc = min(step - over - under - _GAP, 0.95 * _SLOT)
    for i in range(count):
        row, column = divmod(i, columns)
        middle = left + wide - (columns - column - 0.5) * _SLOT
        upper = top - row * step
        _write(figure, above[i], middle, upper, _WORDS, ha="center", fontweight="bold")
        low = upper - over - disc
        face = figure.add_axes(
            ((middle - disc / 2) / _WIDE, low / _TALL, disc / _WIDE, disc / _TALL), zorder=1
        )
        draw_camera_disc(panel.views[i], panel.spots[i], ax=face, colour=style.colour)
        _write(figure, below[i], middle, low, _WORDS, ha="center", color=FAINT)


def _short_labels(scene: Scene) -> Scene:
    """The scene with short words for its moments, which stand in full above the discs."""
    return replace(scene, labels=tuple(replace(label, text=_short(label.text)) for label in scene.labels))


def _short(words: str) -> str:
    """``sunrise`` for ``sunrise 07:08 UTC``, ``07:08`` for ``07:08 UTC``."""
    first = words.split(" ")[0]
    return first if first in ("sunrise", "sunset") else words.removesuffix(" UTC")


def _letters(points: float, size: float) -> int:
    """How many letters of that size a line holds."""
    return int(points / (0.53 * size))


def _write(figure: Figure, text: str, left: float, top: float, size: float, **look: Any) -> None:
    """Words whose top is at a place in points."""
    figure.text(left / _WIDE, top / _TALL, text, va="top", fontsize=size, **look)

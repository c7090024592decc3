"""Scenes with words, and under each the Sun's disc as the site's level camera takes it at every moment."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon

from ..models.errors import InputError
from ..models.geometry import Array, SunView
from ..models.observables import project
from .scene import Panel, Scene, on_screen
from .scene_parts import SPOT, SUN_FACE, SUN_LINES, disc_lines
from .scene_picture import draw_space
from .style import FAINT, INK, PAPER, figure_of, model_styles, new_figure, styled

_POINTS_WIDE = 10.5 * 72  # points over the width of every figure of ours


def draw_scenes(
    panels: Sequence[Panel], title: str, subtitle: str, *, width_px: int = 1800, tall: bool = False
) -> Figure:
    """A figure of one or more scenes, two in a row or, `tall`, one below the other (for a phone).

    Raises
    ------
    InputError
        There is no panel.
    MissingLibraryError
        See :func:`whichsun.render.scene_picture.draw_space`.
    """
    if not panels:
        raise InputError("panels", "must hold a scene")
    scale = 1.9 if tall else 1.28  # on a phone a figure of ours is some 390 px wide
    columns = 1 if tall else min(len(panels), 2)
    share = 1 / columns
    large = 16 * scale**0.5
    headline = textwrap.wrap(title, int(0.94 * _POINTS_WIDE / (0.62 * large)))
    subline = textwrap.wrap(subtitle, _letters(1.0, scale))
    above = 0.02 + len(headline) * 1.35 * large / _POINTS_WIDE
    head = above + (len(subline) * 14 + 14) * scale / _POINTS_WIDE
    line = 0.0195 * scale
    rooms = [_room(panel.scene, share) for panel in panels]
    under = max(
        _under(panel, i, share, scale).count("\n") for panel in panels for i in range(len(panel.words))
    )
    discs = 0.30 * min(share, 0.7) + 0.06 * scale + line * under
    texts = [_lines(panel, share, scale) for panel in panels]
    rooms = [max(rooms[k - k % columns :][:columns]) for k in range(len(panels))]
    heights = [
        room + discs + 0.065 * scale + line * (len(words[0]) + len(words[1]))
        for room, words in zip(rooms, texts, strict=True)
    ]
    rows = [max(heights[k : k + columns]) for k in range(0, len(panels), columns)]
    height = head + sum(rows)
    with styled():
        figure = new_figure(width_px, round(width_px * height))
        words = "\n".join(headline)
        figure.text(0.03, 1 - 0.02 / height, words, va="top", fontsize=large, family="DejaVu Serif")
        words = "\n".join(subline)
        figure.text(0.03, 1 - above / height, words, va="top", fontsize=10 * scale, color=FAINT)
        for k, (panel, words) in enumerate(zip(panels, texts, strict=True)):
            left, top = (k % columns) * share, height - head - sum(rows[: k // columns])
            below = _draw_panel(
                figure, panel, left, share, top, height, (rooms[k], discs, line * under), scale, width_px
            )
            for n, text in enumerate([*words[0], *words[1]]):
                strong = n < len(words[0])
                size, colour = (10, INK) if strong else (9.5, FAINT)
                figure.text(
                    left + 0.03,
                    (below - line * n) / height,
                    text,
                    va="top",
                    fontsize=size * scale,
                    color=colour,
                )
    return figure


def _room(scene: Scene, share: float) -> float:
    """Height of a scene's picture, by its own shape but neither flat nor higher than the page bears."""
    shape = scene.viewpoint.half_height / scene.viewpoint.half_width
    return min(min(max(shape, 0.6), 1.0) * (share - 0.04), 0.8)


def _letters(share: float, scale: float) -> int:
    """How many letters a line holds over that share of the width."""
    return int((share - 0.06) * _POINTS_WIDE / (0.54 * 10 * scale))


def _under(panel: Panel, index: int, share: float, scale: float) -> str:
    """The numbers under one disc, in lines that do not reach the next disc's."""
    letters = int((share - 0.04) / len(panel.words) * _POINTS_WIDE / (0.6 * 10 * scale))
    return numbers_under(panel, index, max(10, letters))


def numbers_under(panel: Panel, index: int, letters: int) -> str:
    """The numbers under one disc, in lines of that many letters."""
    parts = [panel.below[index]] if len(panel.below[index]) <= letters else panel.below[index].split(", ")
    return ",\n".join("\n".join(textwrap.wrap(part, letters)) for part in parts)


def _lines(panel: Panel, share: float, scale: float) -> tuple[list[str], list[str]]:
    """The lines below the discs: what follows, and what is not to scale."""
    letters = _letters(share, scale)
    return textwrap.wrap(panel.summary, letters), textwrap.wrap(" ".join(panel.scene.notes), letters)


def _draw_panel(
    figure: Figure,
    panel: Panel,
    left: float,
    share: float,
    top: float,
    height: float,
    sizes: tuple[float, float, float],
    scale: float,
    width_px: int,
) -> float:
    """One panel without the lines below it; lengths in widths of the figure, `top` from its lower edge.

    Returns where the lines below begin.
    """
    room, discs, under = sizes
    scene = panel.scene
    style = model_styles([scene.model])[scene.model]
    inner, margin = share - 0.04, left + 0.02
    figure.text(
        margin + 0.01,
        top / height,
        scene.model,
        va="top",
        fontsize=13 * scale,
        fontweight="bold",
        color=style.words,
    )
    figure.text(
        margin + 0.01, (top - 0.025 * scale) / height, scene.title, va="top", fontsize=11 * scale, color=INK
    )
    below = top - 0.045 * scale
    ax = figure.add_axes((margin, (below - room) / height, inner, room / height))
    draw_scene(scene, ax=ax, width_px=round(width_px * inner), height_px=round(width_px * room), scale=scale)
    count = len(panel.words)
    size = min(discs - under - 0.06 * scale, 0.9 * inner / count)
    for i in range(count):
        middle = margin + inner * (i + 0.5) / count
        bottom = below - room - size - 0.026 * scale
        disc = figure.add_axes((middle - size / 2, bottom / height, size, size / height))
        draw_camera_disc(panel.views[i], panel.spots[i], ax=disc, colour=style.colour)
        looks: tuple[tuple[str, float, dict[str, Any]], ...] = (
            (panel.words[i], bottom + size + 0.003, {"va": "bottom", "fontweight": "bold"}),
            (_under(panel, i, share, scale), bottom - 0.002, {"va": "top", "color": FAINT}),
        )
        for text, y, look in looks:
            figure.text(middle, y / height, text, ha="center", fontsize=10 * scale, **look)
    return below - room - discs - 0.004


def draw_scene(
    scene: Scene, *, ax: Axes | None = None, width_px: int = 1200, height_px: int = 1000, scale: float = 1.0
) -> list[Artist]:
    """The scene and its words; the drawing functions' usual contract. See :func:`scene_picture.draw_space`."""
    with styled():
        if ax is None:
            ax = new_figure(width_px, height_px).add_axes((0, 0, 1, 1))
        picture = draw_space(scene, width_px, height_px)
        aspect = width_px / height_px
        artists: list[Artist] = [
            ax.imshow(picture, extent=(0, 1, 0, 1), aspect="auto", interpolation="antialiased")
        ]
        ax.set_axis_off()
        places = on_screen(scene.viewpoint, np.array([label.place for label in scene.labels]), aspect)
        points_wide = figure_of(ax).get_size_inches()[0] * 72 * ax.get_position().width
        for label, (x, y) in zip(scene.labels, places, strict=True):
            size = (10.5 if label.strong else 9.5) * scale
            half = min(0.5, 0.33 * size * len(label.text) / points_wide)
            artists.append(
                ax.text(
                    np.clip(x, half, 1 - half),
                    np.clip(y, 0.02, 0.98),
                    label.text,
                    ha="center",
                    va="center",
                    fontsize=size,
                    fontweight="bold" if label.strong else "normal",
                    color=INK,
                    bbox={"boxstyle": "round,pad=0.18", "fc": PAPER, "ec": "none", "alpha": 0.82},
                )
            )
        return artists


def draw_camera_disc(
    view: SunView, spots: Array, *, ax: Axes | None = None, colour: str = INK, weight: float = 1.0
) -> list[Artist]:
    """The Sun as a level camera takes it, the zenith above: grid, spots, the north pole where it is in sight.

    Parameters
    ----------
    view : SunView without leading axes
    spots : ndarray, shape (k, 3)
        Body frame.
    ax : Axes, optional
    colour : str
        Of the mark for up.
    weight : float
        Of the lines; more for a small picture.
    """
    with styled():
        if ax is None:
            ax = new_figure(800, 800).add_axes((0.02, 0.02, 0.96, 0.96))
        artists: list[Artist] = [ax.add_patch(Circle((0, 0), 1, fc=SUN_FACE, ec=INK, lw=1.2 * weight))]
        for x, y, strong in disc_lines(view):
            artists += ax.plot(x, y, color=SUN_LINES, lw=weight * (2.2 if strong else 0.9))
        if np.all(np.isfinite(view.attitude)):
            seen = project(view, spots)
            for k in np.flatnonzero(seen.visible):
                artists.append(ax.add_patch(Circle((seen.x[k], seen.y[k]), 0.07, fc=SPOT, ec="none")))
        else:
            artists.append(
                ax.text(0, 0, "face left open", ha="center", va="center", fontsize=10 * weight, color=INK)
            )
        artists.append(ax.add_patch(Polygon([(-0.08, 1.04), (0.08, 1.04), (0, 1.2)], fc=colour, ec="none")))
        ax.set_aspect("equal")
        ax.set_xlim(-1.22, 1.22)
        ax.set_ylim(-1.22, 1.22)
        ax.set_axis_off()
        return artists

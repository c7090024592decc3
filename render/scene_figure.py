"""Scenes with words, and under each the Sun's disc as the site's level camera takes it at every moment."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

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
from .style import FAINT, INK, PAPER, model_styles, new_figure, styled

_POINTS_WIDE = 10.5 * 72  # points over the width of every figure of ours


def draw_scenes(
    panels: Sequence[Panel], title: str, subtitle: str, *, width_px: int = 1800, tall: bool = False
) -> Figure:
    """A figure of one or more scenes, side by side or, `tall`, one below the other (for a phone).

    Raises
    ------
    InputError
        There is no panel.
    MissingLibraryError
        See :func:`whichsun.render.scene_picture.draw_space`.
    """
    if not panels:
        raise InputError("panels", "must hold a scene")
    columns = 1 if tall else len(panels)
    scale = 1.45 if tall else 1.0
    share = 1 / columns
    head = 0.09 * scale
    line = 0.0195 * scale
    room, discs = 0.92 * min(share, 0.62), 0.30 * min(share, 0.7) + 0.06 * scale
    texts = [_lines(panel, share, scale) for panel in panels]
    each = room + discs + 0.06 * scale + line * max(len(strong) + len(faint) for strong, faint in texts)
    height = head + each * (len(panels) if tall else 1)
    with styled():
        figure = new_figure(width_px, round(width_px * height))
        figure.text(0.03, 1 - 0.02 / height, title, va="top", fontsize=17 * scale**0.5, family="DejaVu Serif")
        figure.text(
            0.03, 1 - (0.03 + 0.031 * scale) / height, subtitle, va="top", fontsize=10.5 * scale, color=FAINT
        )
        for k, (panel, words) in enumerate(zip(panels, texts, strict=True)):
            left, top = (k % columns) * share, height - head - (k // columns) * each
            below = _draw_panel(figure, panel, left, share, top, height, (room, discs), scale, width_px)
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


def _lines(panel: Panel, share: float, scale: float) -> tuple[list[str], list[str]]:
    """The lines below the discs: what follows, and what is not to scale."""
    letters = int((share - 0.06) * _POINTS_WIDE / (0.56 * 10 * scale))
    return textwrap.wrap(panel.summary, letters), textwrap.wrap(" ".join(panel.scene.notes), letters)


def _draw_panel(
    figure: Figure,
    panel: Panel,
    left: float,
    share: float,
    top: float,
    height: float,
    sizes: tuple[float, float],
    scale: float,
    width_px: int,
) -> float:
    """One panel without the lines below it; lengths in widths of the figure, `top` from its lower edge.

    Returns where the lines below begin.
    """
    room, discs = sizes
    scene = panel.scene
    colour = model_styles([scene.model])[scene.model].colour
    inner, margin = share - 0.04, left + 0.02
    figure.text(
        margin + 0.01,
        top / height,
        scene.model,
        va="top",
        fontsize=13 * scale,
        fontweight="bold",
        color=colour,
    )
    figure.text(
        margin + 0.01, (top - 0.025 * scale) / height, scene.title, va="top", fontsize=11 * scale, color=INK
    )
    below = top - 0.045 * scale
    ax = figure.add_axes((margin, (below - room) / height, inner, room / height))
    draw_scene(scene, ax=ax, width_px=round(width_px * inner), height_px=round(width_px * room), scale=scale)
    count = len(panel.words)
    size = min(discs - 0.06 * scale, 0.9 * inner / count)
    for i in range(count):
        middle = margin + inner * (i + 0.5) / count
        bottom = below - room - size - 0.026 * scale
        disc = figure.add_axes((middle - size / 2, bottom / height, size, size / height))
        draw_camera_disc(panel.views[i], panel.spots[i], ax=disc, colour=colour)
        for text, y, look in (
            (panel.words[i], bottom + size + 0.003, {"va": "bottom", "fontweight": "bold"}),
            (panel.below[i], bottom - 0.002, {"va": "top", "color": FAINT}),
        ):
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
        for label, (x, y) in zip(scene.labels, places, strict=True):
            artists.append(
                ax.text(
                    x,
                    y,
                    label.text,
                    ha="center",
                    va="center",
                    fontsize=(10.5 if label.strong else 9.5) * scale,
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

"""Tracks of spots over a day on one disc."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from ..models.errors import InputError
from .blank_disc import draw_blank_disc
from .style import FAINT, INK, PAPER, model_styles, new_figure, styled

Array = npt.NDArray[np.float64]

_KEY = "○ first   ● last   small dots one step of time apart; gaps: hidden behind the limb"


def draw_tracks(
    tracks: Sequence[Mapping[str, Any]],
    *,
    model: str = "distant-sphere",
    ax: Axes | None = None,
    title: str = "",
    subtitle: str = "",
) -> list[Artist]:
    """Paths of spots across the disc in the picture of a camera, whatever its mount.

    Parameters
    ----------
    tracks : sequence of mappings
        ``x``, ``y`` (n,) in the picture, limb radii, y to its top, in the order of time; ``visible`` (n,) bool
        (default: all); ``label``; ``dots``: indices of the places that get a dot (default: all); ``times``:
        texts for the places ``time_indices``.
    model : str
        Chooses the colour.
    ax : Axes, optional
    title, subtitle : str

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.

    Raises
    ------
    InputError
        The arrays of a track differ in length.
    """
    if ax is None:
        panel = {"model": model, "tracks": tracks}
        title = title or f"Spots over the day: {model}"
        return draw_track_panels([panel], title=title, subtitle=subtitle)
    with styled():
        return _draw_panel(ax, tracks, model_styles([model])[model].colour, "zenith")


def draw_track_panels(
    panels: Sequence[Mapping[str, Any]],
    *,
    title: str,
    subtitle: str = "",
    top: str = "zenith",
    key: str = _KEY,
) -> list[Artist]:
    """One disc per model side by side, its name and ``words`` above.

    Parameters
    ----------
    panels : sequence of mappings
        ``model``; ``tracks`` as for :func:`draw_tracks`; ``words``, if any.
    title, subtitle : str
    top, key : str
        What the top of the picture is, and what the signs mean.

    Raises
    ------
    InputError
        No panel, or see :func:`draw_tracks`.
    """
    if not panels:
        raise InputError("panels", "must be one or more")
    wide, columns = 10.5, min(len(panels), 2)
    rows = -(-len(panels) // columns)
    side = wide / max(columns, 1.4)
    said = [textwrap.wrap(panel.get("words", ""), 46 if columns > 1 else 92) for panel in panels]
    under = [line for text in (subtitle, key) for line in textwrap.wrap(text, 94)]
    head = 0.66 + 0.26 * len(under)
    name = 0.44 + 0.25 * max(len(lines) for lines in said)
    tall = head + rows * (name + side)
    with styled():
        figure = new_figure(1600, round(1600 * tall / wide))
        look: dict[str, Any] = {"va": "top"}
        figure.text(0.03, 1 - 0.16 / tall, title, fontsize=18, fontfamily="DejaVu Serif", **look)
        words = "\n".join(under)
        figure.text(0.03, 1 - 0.55 / tall, words, fontsize=13, color=FAINT, linespacing=1.3, **look)
        styles = model_styles([panel["model"] for panel in panels])
        artists: list[Artist] = []
        for k, panel in enumerate(panels):
            left = (k % columns) * side / wide + (wide - columns * side) / (2 * wide)
            edge = 1 - (head + (k // columns) * (name + side)) / tall
            look_of = styles[panel["model"]]
            name_look = {"fontsize": 17, "fontweight": "bold", "color": look_of.words}
            x = left + 0.03
            figure.text(x, edge, panel["model"], **name_look, **look)
            figure.text(x, edge - 0.34 / tall, "\n".join(said[k]), fontsize=13, linespacing=1.25, **look)
            ax = figure.add_axes((left, edge - (name + side) / tall, side / wide, side / tall))
            artists += _draw_panel(ax, panel["tracks"], look_of.colour, top)
    return artists


def _draw_panel(ax: Axes, tracks: Sequence[Mapping[str, Any]], colour: str, top: str) -> list[Artist]:
    artists = draw_blank_disc(ax, words=False)
    artists.append(ax.text(0, 1.075, top, ha="center", va="bottom", fontsize=13, color=FAINT))
    for track in tracks:
        artists += _draw_track(ax, track, colour)
    return artists


def _draw_track(ax: Axes, track: Mapping[str, Any], colour: str) -> list[Artist]:
    x, y = np.asarray(track["x"], float), np.asarray(track["y"], float)
    visible = np.asarray(track.get("visible", np.ones(x.shape, bool)), bool)
    if x.ndim != 1 or x.shape != y.shape or x.shape != visible.shape:
        raise InputError(
            "tracks", "must have x, y and visible of one length", (x.shape, y.shape, visible.shape)
        )
    shown = np.flatnonzero(visible & np.isfinite(x) & np.isfinite(y))
    if not shown.size:
        return []
    x, y = np.where(visible, x, np.nan), np.where(visible, y, np.nan)
    artists: list[Artist] = list(ax.plot(x, y, "-", color=colour, lw=1.6, zorder=2))
    dots = list(track.get("dots", range(len(x))))
    artists += ax.plot(x[dots], y[dots], "o", color=colour, ms=3.6, zorder=2.5)
    first, last = shown[0], shown[-1]
    artists += ax.plot(x[first], y[first], "o", ms=9, mfc=PAPER, mec=colour, mew=2, zorder=3)
    artists += ax.plot(x[last], y[last], "o", ms=9, mfc=colour, mec=PAPER, mew=1, zorder=3)
    if track.get("label"):
        # On the side away from where the track goes on.
        later = shown[min(len(shown) - 1, max(1, len(shown) // 12))]
        back = np.array([x[first] - x[later], y[first] - y[later]])
        back *= 19 / max(float(np.hypot(*back)), 1e-9)
        artists.append(
            ax.annotate(
                str(track["label"]),
                (x[first], y[first]),
                (float(back[0]), float(back[1])),
                textcoords="offset points",
                ha="center",
                va="center",
                fontsize=15,
                fontweight="bold",
                color=INK,
                zorder=4,
            )
        )
    return artists + _draw_times(ax, track, x, y)


def _draw_times(ax: Axes, track: Mapping[str, Any], x: Array, y: Array) -> list[Artist]:
    """Times outwards of their places, left out where they would cover one another or the label."""
    artists: list[Artist] = []
    shown = np.flatnonzero(np.isfinite(x))
    taken = [(x[shown[0]], y[shown[0]])]
    for index, words in zip(track.get("time_indices", ()), track.get("times", ()), strict=False):
        place = (x[index], y[index])
        near = min((math.hypot(place[0] - a, place[1] - b) for a, b in taken))
        if not math.isfinite(place[0]) or near < 0.17:
            continue
        taken.append(place)
        radius = max(math.hypot(*place), 1e-9)
        outwards = (24 * place[0] / radius, 16 * place[1] / radius)
        artists.append(
            ax.annotate(
                words,
                place,
                outwards,
                textcoords="offset points",
                fontsize=12.5,
                color=FAINT,
                ha="center",
                va="center",
            )
        )
    return artists

"""Tracks of spots over a day on one disc."""

from __future__ import annotations

import math
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


def draw_tracks(
    tracks: Sequence[Mapping[str, Any]],
    *,
    model: str = "distant-sphere",
    ax: Axes | None = None,
    title: str = "",
    subtitle: str = "",
) -> list[Artist]:
    """Paths of spots across the disc of a camera on a level tripod, or of whatever mount was used.

    Parameters
    ----------
    tracks : sequence of mappings
        ``x``, ``y`` (n,) in the disc frame, limb radii, in the order of time; ``visible`` (n,) bool
        (default: all); ``label``; ``times``: texts for the places ``time_indices``.
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
    with styled():
        if ax is None:
            figure = new_figure(1200, 1300)
            ax = figure.add_axes((0.02, 0.005, 0.96, 0.9))
            figure.text(
                0.04,
                0.965,
                title or f"Spots over the day: {model}",
                fontsize=16,
                va="top",
                fontfamily="DejaVu Serif",
            )
            words = (
                subtitle or "○ first photo   ● last photo   each dot one step of time; hidden parts left out"
            )
            figure.text(0.04, 0.918, words, fontsize=11, va="top", color=FAINT)
        artists = draw_blank_disc(ax)
        style = model_styles([model])[model]
        for track in tracks:
            artists += _draw_track(ax, track, style.colour)
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
    artists += ax.plot(x, y, "o", color=colour, ms=3.2, zorder=2.5)
    first, last = shown[0], shown[-1]
    artists += ax.plot(x[first], y[first], "o", ms=9, mfc=PAPER, mec=colour, mew=2, zorder=3)
    artists += ax.plot(x[last], y[last], "o", ms=9, mfc=colour, mec=PAPER, mew=1, zorder=3)
    if track.get("label"):
        artists.append(
            ax.annotate(
                str(track["label"]),
                (x[first], y[first]),
                (8, 7),
                textcoords="offset points",
                fontsize=12,
                fontweight="bold",
                color=INK,
                zorder=4,
            )
        )
    return artists + _draw_times(ax, track, x, y)


def _draw_times(ax: Axes, track: Mapping[str, Any], x: Array, y: Array) -> list[Artist]:
    """Times outwards of their places, left out where they would cover one another or the label."""
    artists: list[Artist] = []
    taken = [(x[0], y[0])]
    for index, words in zip(track.get("time_indices", ()), track.get("times", ()), strict=False):
        place = (x[index], y[index])
        near = min(
            (math.hypot(place[0] - a, place[1] - b) for a, b in taken if math.isfinite(a)), default=9.0
        )
        if not math.isfinite(place[0]) or near < 0.14:
            continue
        taken.append(place)
        radius = max(math.hypot(*place), 1e-9)
        outwards = (20 * place[0] / radius, 13 * place[1] / radius)
        artists.append(
            ax.annotate(
                words,
                place,
                outwards,
                textcoords="offset points",
                fontsize=9.5,
                color=FAINT,
                ha="center",
                va="center",
            )
        )
    return artists

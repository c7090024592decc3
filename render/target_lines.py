"""A target as a teacher draws it: the line from the centre through the spot to the limb, and its angles."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.text import Text

from .style import turn_words

_ANGLE_RADIUS, _TURN_RADIUS = 0.24, 0.5  # limb radii of the arcs from the vertical and from the line before
_CLEAR = 0.1  # limb radii between words and spots that are enough
SHORTEST_ARROW_DEG = 6.0  # an arc below this is all arrowhead

ToPhoto = Callable[[npt.ArrayLike, npt.ArrayLike], npt.NDArray[np.float64]]


def ray(to_photo: ToPhoto, vertex_deg: float, r: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Columns and rows (n, 2) at the radii `r` in the direction of a vertex angle."""
    v = math.radians(vertex_deg)
    return to_photo(-np.asarray(r, float) * math.sin(v), np.asarray(r, float) * math.cos(v))


def draw_line(
    ax: Axes,
    to_photo: ToPhoto,
    vertex_deg: float,
    free: Sequence[tuple[npt.ArrayLike, float]],
    *,
    colour: str,
    effects: Any,
) -> list[Artist]:
    """The line from the centre to the limb, broken where it would cover the `free` circles (centre, radius)."""
    line = ray(to_photo, vertex_deg, np.linspace(0, 1, 301))
    for centre, radius in free:
        line[np.hypot(*(line - np.asarray(centre, float)).T) < radius] = np.nan
    return list(ax.plot(line[:, 0], line[:, 1], color=colour, lw=2.2, path_effects=effects))


def draw_before(ax: Axes, to_photo: ToPhoto, vertex_deg: float, *, colour: str, effects: Any) -> list[Artist]:
    """The dashed line where the target was in the other photo."""
    line = ray(to_photo, vertex_deg, [0, 1])
    return list(ax.plot(line[:, 0], line[:, 1], color=colour, lw=1.8, dashes=(3, 3), path_effects=effects))


def _clearest(
    to_photo: ToPhoto,
    places: npt.NDArray[np.float64],
    half_width: float,
    avoid: Sequence[npt.ArrayLike],
) -> int:
    """Of text centres (n, 2), best first, the one that keeps clear of the places to avoid.

    `half_width`: of the text, limb radii; its height is taken for a third of its width.
    """
    if len(avoid) == 0:
        return 0
    radius = float(np.hypot(*(to_photo([0], [1])[0] - to_photo([0], [0])[0])))
    away = np.abs(places[:, None] - np.asarray(avoid, float)) / radius
    gaps = np.max((away - [half_width, half_width / 3]), axis=2).min(axis=1)
    return int(np.argmax(np.minimum(gaps, _CLEAR)))


def draw_vertical_angle(
    ax: Axes,
    to_photo: ToPhoto,
    vertex_deg: float,
    *,
    colour: str,
    effects: Any,
    casing: str,
    short: bool = False,
    avoid: Sequence[npt.ArrayLike] = (),
) -> list[Artist]:
    """The arc from the top of the disc to the line, with the angle in words, or its size when `short`.

    `avoid`: columns and rows of spots that the words should leave free.
    """
    steps = np.linspace(0, vertex_deg, max(8, int(abs(vertex_deg)) + 2))
    arc = np.vstack([ray(to_photo, angle, _ANGLE_RADIUS) for angle in steps])
    artists: list[Artist] = list(
        ax.plot(arc[:, 0], arc[:, 1], color=colour, lw=1.6, path_effects=effects, zorder=4)
    )
    half = 0.1 if short else 0.2
    centre, edge = to_photo([0, 0], [0, 1])
    beside = -math.copysign(1.0, vertex_deg)  # the other side of the vertical
    angles = [*(vertex_deg * k for k in (0.5, 0.35, 0.65, 0.2, 0.8)), 15 * beside, 40 * beside, 75 * beside]
    places = np.vstack([ray(to_photo, angle, _ANGLE_RADIUS + 0.04) for angle in angles])
    sides = np.where(places[:, 0] >= centre[0], 1.0, -1.0)
    middles = places + np.stack([sides * half * np.hypot(*(edge - centre)), 0 * sides], axis=1)
    pick = _clearest(to_photo, middles, half, avoid)
    middle, to_right = places[pick], sides[pick] > 0
    words = ax.text(
        float(middle[0]),
        float(middle[1]),
        f"{abs(vertex_deg):.1f}\N{DEGREE SIGN}" if short else f"{turn_words(vertex_deg)}\nfrom up",
        fontsize=13.5,
        fontweight="bold",
        color=colour,
        ha="left" if to_right else "right",
        va="center",
        linespacing=1.1,
        bbox={"boxstyle": "round,pad=0.15", "facecolor": casing, "edgecolor": "none", "alpha": 0.82},
        zorder=7,
    )
    return [*artists, words]


def ends_of(words: Artist) -> list[npt.NDArray[np.float64]]:
    """Columns and rows at the ends and in the middle of words on axes, for others to avoid."""
    assert isinstance(words, Text)
    assert words.axes is not None
    box = words.get_window_extent().transformed(words.axes.transData.inverted())
    middle = (box.y0 + box.y1) / 2
    return [np.array([x, middle]) for x in (box.x0, (box.x0 + box.x1) / 2, box.x1)]


def draw_turn_arc(
    ax: Axes,
    to_photo: ToPhoto,
    from_deg: float,
    turn_deg: float,
    *,
    colour: str,
    effects: Any,
    casing: str,
    avoid: Sequence[npt.ArrayLike] = (),
    radius: float = _TURN_RADIUS,
) -> list[Artist]:
    """The arc with a head from the line before to the line now, and the turn's size beside it, clear of spots."""
    count = max(8, int(abs(turn_deg)) + 2)
    arc = np.vstack([ray(to_photo, from_deg + turn_deg * step, radius) for step in np.linspace(0, 1, count)])
    artists: list[Artist] = list(ax.plot(arc[:, 0], arc[:, 1], color=colour, lw=2.2, path_effects=effects))
    if abs(turn_deg) > SHORTEST_ARROW_DEG:
        back = min(max(2, len(arc) // 12), len(arc))
        artists.append(
            ax.annotate(
                "",
                arc[-1],
                arc[-back],
                zorder=5,
                arrowprops={"arrowstyle": "-|>,head_width=0.45,head_length=0.8", "color": colour, "lw": 0},
            )
        )
    angles = [from_deg + turn_deg * k for k in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)]
    places = np.vstack([ray(to_photo, angle, radius + off) for off in (0.13, -0.13, 0.3) for angle in angles])
    middle = places[_clearest(to_photo, places, 0.24, avoid)]
    words = ax.text(
        float(middle[0]),
        float(middle[1]),
        f"{abs(turn_deg):.1f}\N{DEGREE SIGN}",
        fontsize=18,
        fontweight="bold",
        color=colour,
        ha="center",
        va="center",
        path_effects=effects,
        bbox={"boxstyle": "round,pad=0.12", "facecolor": casing, "edgecolor": "none", "alpha": 0.82},
        zorder=7,
    )
    return [*artists, words]

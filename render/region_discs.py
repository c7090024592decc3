"""Sunspot regions on the disc as a level camera will see it at two shots, models below one another."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Ellipse

from ..models.errors import InputError
from .blank_disc import draw_blank_disc
from .style import FAINT, INK, PAPER, RULE, model_styles, new_figure, styled

Array = npt.NDArray[np.float64]

_HOLDS_68 = math.sqrt(-2 * math.log(1 - 0.683))
"""Scale of an ellipse of one sigma an axis that makes it hold 68 % of a plane Gaussian."""
_LEAST_DOT = 0.012  # limb radii
_LABEL_HALF = 0.17, 0.05  # half width and height of a label
_INSIDE = 0.98  # limb radii within which a label's corners should lie
_GROUND, _TOP, _MARGIN = -1.22, 1.2, 0.1
_WAYS = np.deg2rad(np.arange(0, 360, 30))


def draw_regions(
    regions: Sequence[Mapping[str, Any]],
    *,
    model: str = "distant-sphere",
    horizon: str = "",
    ax: Axes | None = None,
    title: str = "",
) -> list[Artist]:
    """Regions on one disc, zenith up.

    Parameters
    ----------
    regions : sequence of mappings
        ``label``; ``x``, ``y`` (limb radii; regions with nan or None are left out); ``area_msh``; ``usable`` (bool);
        optional ``covariance`` (2, 2) of x, y, drawn as an ellipse that holds 68 %; optional ``from`` (x, y), where the
        region stood before.
    model : str
        Chooses the colour.
    horizon : str
        Words on the level line below the disc.
    ax : Axes, optional
    title : str

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.
    """
    if ax is None:
        with styled():
            figure = new_figure(1000, 1080)
            ax = figure.add_axes((0.04, 0.03, 0.92, 0.88))
    with styled():
        artists = draw_blank_disc(ax, margin=_MARGIN)
        ax.set_ylim(_GROUND - 0.16, _TOP)
        if title:
            artists.append(ax.set_title(title, fontsize=12.5, color=INK))
        artists += _draw_level(ax, horizon)
        return artists + _draw_marks(ax, regions, model_styles([model])[model].colour)


def draw_region_discs(
    panels: Sequence[Mapping[str, Any]], *, title: str = "", subtitle: str = "", note: str = ""
) -> list[Artist]:
    """One row per model with a disc for each shot.

    Parameters
    ----------
    panels : sequence of mappings
        ``model``; ``words`` (a line beside the model's name); ``shots``: mappings with ``title``, ``regions`` (see
        :func:`draw_regions`), ``horizon``, ``words`` (a line below, which regions are not in sight).
    title, subtitle, note : str
        Two lines at the top and one at the bottom.

    Returns
    -------
    list of artists; ``artists[0].get_figure(root=True)`` is the figure, 10.5 inches wide.

    Raises
    ------
    InputError
        No panel, or panels with different numbers of shots.
    """
    columns = {len(panel["shots"]) for panel in panels}
    if len(columns) != 1:
        raise InputError("panels", "must be one or more, each with the same number of shots")
    count, rows = columns.pop(), len(panels)
    wide, head, name, below, foot = 10.5, 1.15, 0.95, 0.4, 0.85
    side = 0.97 * wide / max(count, 2)
    high = side * (_TOP - _GROUND + 0.16) / (2 + 2 * _MARGIN)
    row_tall = name + high + below
    tall = head + rows * row_tall + foot
    with styled():
        figure = new_figure(1600, round(1600 * tall / wide))
        # File and region names are not ours: a dollar sign in them is no formula.
        look: dict[str, Any] = {"va": "top", "parse_math": False}
        figure.text(0.03, 1 - 0.16 / tall, title, fontsize=16, fontfamily="DejaVu Serif", **look)
        figure.text(0.03, 1 - 0.56 / tall, subtitle, fontsize=10.5, color=FAINT, linespacing=1.4, **look)
        styles = model_styles([panel["model"] for panel in panels])
        artists: list[Artist] = []
        for row, panel in enumerate(panels):
            top = 1 - (head + row * row_tall) / tall
            colour = styles[panel["model"]].words
            figure.text(0.03, top, panel["model"], fontsize=14, color=colour, fontweight="bold", **look)
            figure.text(0.03, top - 0.29 / tall, panel.get("words", ""), fontsize=10.5, **look)
            for column, shot in enumerate(panel["shots"]):
                left = (column + 0.5) / count - side / wide / 2
                ax = figure.add_axes((left, top - (name + high) / tall, side / wide, high / tall))
                artists += draw_regions(
                    shot["regions"],
                    model=panel["model"],
                    horizon=shot.get("horizon", ""),
                    ax=ax,
                    title=shot.get("title", ""),
                )
                figure.text(
                    (column + 0.5) / count,
                    top - (name + high + 0.02) / tall,
                    shot.get("words", ""),
                    ha="center",
                    fontsize=9.5,
                    color=FAINT,
                    **look,
                )
        figure.text(0.03, (foot - 0.1) / tall, note, fontsize=9.5, color=FAINT, linespacing=1.4, **look)
    return artists


def _draw_level(ax: Axes, words: str) -> list[Artist]:
    """The direction of the level below the disc."""
    artists: list[Artist] = list(ax.plot([-1.02, 1.02], [_GROUND, _GROUND], color=INK, lw=1.2, zorder=1))
    for x in np.arange(-0.95, 1.0, 0.1):
        artists += ax.plot([x, x - 0.05], [_GROUND, _GROUND - 0.05], color=RULE, lw=1.0, zorder=0.9)
    if words:
        artists.append(ax.text(0, _GROUND + 0.025, words, ha="center", va="bottom", fontsize=9, color=FAINT))
    return artists


def _draw_marks(ax: Axes, regions: Sequence[Mapping[str, Any]], colour: str) -> list[Artist]:
    seen = [one for one in regions if _finite(one["x"]) and _finite(one["y"])]
    places = np.array([(one["x"], one["y"]) for one in seen], float).reshape(-1, 2)
    artists: list[Artist] = []
    before = [one["from"] for one in seen if one.get("from") is not None and _finite(one["from"][0])]
    taken = [*places, *np.array(before, float).reshape(-1, 2)]
    for one, (x, y) in zip(seen, places, strict=True):
        tone = colour if one.get("usable", True) else FAINT
        start = one.get("from")
        if start is not None and _finite(start[0]):
            artists += ax.plot([start[0], x], [start[1], y], ":", color=RULE, lw=1.3, zorder=1.2)
            artists += ax.plot(*start, "o", ms=4.5, mfc=PAPER, mec=FAINT, mew=1, zorder=1.3)
        covariance = np.array(one.get("covariance", np.full((2, 2), np.nan)), float)
        if np.all(np.isfinite(covariance)):
            artists.append(ax.add_patch(_ellipse(x, y, covariance, tone)))
        artists.append(ax.add_patch(_spot(x, y, _radius(one), tone)))
        at = _label_place(np.array([x, y]), _radius(one) + 0.03, taken)
        taken += [at + np.array([shift, 0.0]) for shift in (-0.1, 0.0, 0.1)]
        artists.append(
            ax.text(
                float(at[0]),
                float(at[1]),
                str(one["label"]),
                parse_math=False,
                ha="center",
                va="center",
                fontsize=10,
                color=INK if one.get("usable", True) else FAINT,
                fontweight="bold" if one.get("usable", True) else "normal",
                zorder=5,
            )
        )
    return artists


def _finite(value: Any) -> bool:
    return value is not None and math.isfinite(value)


def _ellipse(x: float, y: float, covariance: Array, colour: str) -> Ellipse:
    size, axes = np.linalg.eigh(covariance)
    widths = 2 * _HOLDS_68 * np.sqrt(np.maximum(size, 0))
    angle = math.degrees(math.atan2(axes[1, 1], axes[0, 1]))
    return Ellipse(
        (x, y), widths[1], widths[0], angle=angle, facecolor=colour, alpha=0.22, edgecolor="none", zorder=2
    )


def _radius(region: Mapping[str, Any]) -> float:
    """Of a round spot of the region's area, limb radii; a dot where that would not be seen."""
    return max(math.sqrt(2 * float(region.get("area_msh") or 0.0) / 1e6), _LEAST_DOT)


def _spot(x: float, y: float, long: float, colour: str) -> Ellipse:
    """A round spot, foreshortened towards the limb."""
    out = math.hypot(x, y)
    short = max(long * math.sqrt(max(1 - out**2, 0.0)), _LEAST_DOT / 2)
    return Ellipse(
        (x, y),
        2 * short,
        2 * long,
        angle=math.degrees(math.atan2(y, x)),
        facecolor=colour,
        edgecolor=PAPER,
        lw=0.5,
        zorder=3,
    )


def _label_place(place: Array, gap: float, taken: Sequence[Array]) -> Array:
    """Middle of a label beside `place`, where there is most room inside of the frame and, if it can be, of the limb."""
    half = np.array(_LABEL_HALF)
    way = np.stack([np.cos(_WAYS), np.sin(_WAYS)], axis=-1)
    ways = place + way * (gap + half)
    others = np.array([one for one in taken if not np.array_equal(one, place)]).reshape(-1, 2)
    gaps = np.max(np.abs(ways[:, None] - others) / half, axis=-1)
    room = np.min(gaps, axis=1, initial=3.0)
    outside = np.maximum(np.abs(ways[:, 0]) + half[0] - (1 + _MARGIN), 0)
    # A label across the limb is hard to read, though not as hard as one on another mark.
    crossing = np.maximum(np.hypot(*(np.abs(ways) + half).T) - _INSIDE, 0)
    room -= 20 * outside + np.minimum(10 * crossing, 2.0)
    return ways[int(np.argmax(room))]

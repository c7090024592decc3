"""Everyone's turns on every model's curve over latitude."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.colors import to_rgb

from ..models.errors import InputError
from .curves import draw_sweep
from .style import FAINT, INK, PAPER, model_styles, new_figure, styled

_WIDTH_PX, _PANEL_PX, _FOOT_PX = 1600, 520, 110
_TITLE_PX, _LINE_PX, _WORDS_PX = 84, 38, 84  # at a width of 1600
_SUSPECT = "#8A62B0"
MANY = 3000
"""More submissions than this are shaded by their number instead of drawn one by one."""
_CELL_DEG = (1.0, 3.0)  # of latitude, of turn


def draw_pool(
    panels: Sequence[Mapping[str, Any]],
    *,
    title: str = "Everyone's turn on every model's curve",
    subtitle: str = "",
) -> list[Artist]:
    """One panel per model: its turn against latitude, and every submission beside it.

    A submission of another date or hour stands off the curve by what it differs from the model's turn for its
    own place and times, the common offset taken off. So all lie on the curve of a model that is right.

    Parameters
    ----------
    panels : sequence of mappings
        ``model``; ``rows`` of a sweep (see :func:`whichsun.render.curves.draw_sweep`); ``words`` under the
        name; and arrays ``latitude_deg``, ``residual_deg`` (nan: the model gives no turn), ``suspect``
        (bool: a blunder is likelier under the leading model) and ``averaged`` (bool: nobody told where the
        spots stood; drawn hollow) of the submissions. More than :data:`MANY` are shaded by how many share a
        cell of latitude and turn, on a logarithmic scale, without that distinction.
    title, subtitle : str

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.

    Raises
    ------
    InputError
        No panel.
    """
    if not panels:
        raise InputError("panels", "must hold one or more models")
    under = textwrap.wrap(subtitle, 100)
    head = _TITLE_PX + _LINE_PX * len(under) + _WORDS_PX
    height = head + _FOOT_PX + _PANEL_PX * len(panels)
    artists: list[Artist] = []
    with styled():
        figure = new_figure(_WIDTH_PX, height)
        top, bottom = 1 - head / height, _FOOT_PX / height
        grid = figure.add_gridspec(
            len(panels), 1, left=0.125, right=0.81, top=top, bottom=bottom, hspace=0.42
        )
        figure.text(0.025, 1 - 24 / height, title, fontsize=18, va="top", fontfamily="DejaVu Serif")
        y = 1 - _TITLE_PX / height
        figure.text(0.025, y, "\n".join(under), fontsize=13, va="top", color=FAINT, linespacing=1.25)
        for number, panel in enumerate(panels):
            ax = figure.add_subplot(grid[number])
            name = str(panel["model"])
            artists += draw_sweep({name: panel["rows"]}, ax=ax)
            for words in ax.texts:
                # Small words belong into the panel: above it stands the model's name.
                if words.get_horizontalalignment() == "right":
                    words.set_position((-4, -16))
                    words.set_bbox({"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 1.5})
            for line in ax.get_lines():
                line.set_marker("")  # marks on the curve would look like submissions
            artists += _points(ax, panel, model_styles([name])[name].colour)
            ax.set_ylabel("turn (degrees)\n← clockwise   anticlockwise →", fontsize=13)
            if number < len(panels) - 1:
                ax.set_xlabel("")
            ax.annotate(
                "\n".join(textwrap.wrap(str(panel["words"]), 80)),
                (0, 1),
                (-58, 10),
                xycoords="axes fraction",
                textcoords="offset points",
                fontsize=13,
                color=INK,
                fontweight="bold",
                linespacing=1.2,
            )
    return artists


def _points(ax: Any, panel: Mapping[str, Any], colour: str) -> list[Artist]:
    latitude = np.asarray(panel["latitude_deg"], dtype=float)
    residual = np.asarray(panel["residual_deg"], dtype=float)
    suspect = np.asarray(panel["suspect"], dtype=bool)
    turn = _on_curve(panel["rows"], latitude) + residual
    turn = (turn + 180) % 360 - 180
    if len(latitude) > MANY:
        shade = ((~suspect, colour), (suspect, _SUSPECT))
        return [_shading(ax, latitude[where], turn[where], look) for where, look in shade]
    size = float(np.clip(48 - 9 * np.log10(max(len(latitude), 1)), 5, 48))
    hollow = np.asarray(panel["averaged"], dtype=bool) & ~suspect
    told = ~hollow & ~suspect
    looks = (
        (told, {"s": size, "color": colour, "alpha": 0.55, "lw": 0.5, "edgecolors": PAPER, "zorder": 4}),
        (hollow, {"s": size, "facecolors": "none", "edgecolors": colour, "lw": 0.9, "zorder": 4}),
        (suspect, {"s": size * 2.2, "marker": "x", "color": _SUSPECT, "lw": 1.4, "zorder": 5}),
    )
    return [ax.scatter(latitude[where], turn[where], **look) for where, look in looks]


def _shading(ax: Any, latitude: np.ndarray, turn: np.ndarray, colour: str) -> Artist:
    """Cells under the curve, the fuller the darker."""
    edges = [
        np.arange(-limit, limit + step / 2, step) for limit, step in zip((90, 180), _CELL_DEG, strict=True)
    ]
    count, _, _ = np.histogram2d(latitude, turn, bins=edges)
    picture = np.zeros((*count.T.shape, 4))
    picture[..., :3] = to_rgb(colour)
    depth = np.log1p(count.T) / np.log1p(max(count.max(), 1))
    picture[..., 3] = np.where(count.T > 0, 0.1 + 0.6 * depth, 0)
    limits = ax.get_xlim(), ax.get_ylim()
    image = ax.imshow(
        picture,
        extent=(-90, 90, -180, 180),
        origin="lower",
        aspect="auto",
        interpolation="nearest",
        zorder=1.2,
    )
    ax.set(xlim=limits[0], ylim=limits[1])
    return image


def _on_curve(rows: Sequence[Mapping[str, Any]], latitude: np.ndarray) -> np.ndarray:
    """The curve's turn at each latitude, interpolated the shorter way round."""
    known = [row for row in rows if row.get("pattern_turn_deg") is not None]
    place = np.array([row["latitude_deg"] for row in known], dtype=float)
    turn = np.deg2rad([row["pattern_turn_deg"] for row in known])
    good = np.isfinite(turn)
    if not good.any():
        return np.full(latitude.shape, np.nan)
    path = np.unwrap(turn[good])
    return np.rad2deg(np.interp(latitude, place[good], path))

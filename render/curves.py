"""Curves over latitude: what each model predicts, and the person's measurement among them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MultipleLocator

from ..models.errors import InputError
from .labels import spread_apart
from .style import (
    FAINT,
    INK,
    MEASURED,
    PAPER,
    figure_of,
    model_styles,
    new_figure,
    quiet_axes,
    styled,
    turn_words,
)

Array = npt.NDArray[np.float64]

_JUMP_DEG = 75.0
_INSIDE_OUT = 0.95  # residual scatter in radii above which the turn of the pattern means little


def draw_sweep(
    rows_by_model: Mapping[str, Sequence[Mapping[str, Any]]],
    measurement: Mapping[str, Any] | Sequence[Mapping[str, Any]] | None = None,
    *,
    ax: Axes | None = None,
    visible_ax: Axes | None = None,
    title: str = "How far the pattern of sunspots turns from the first photo to the second",
    subtitle: str = "",
    key: str = "pattern_turn_deg",
) -> list[Artist]:
    """Turn against latitude for every model, with the share of spots that stay visible.

    Parameters
    ----------
    rows_by_model : mapping of model name to rows
        Rows of a sweep: mappings with ``latitude_deg``, ``pattern_turn_deg`` and
        ``pattern_visible_fraction`` (0 to 1), and ``pattern_scatter`` (radii) if known; degrees,
        anticlockwise positive, None where the Sun does not rise or set. Where the scatter nears 1 the line
        is drawn pale.
    measurement : mapping or sequence of mappings, optional
        One measured turn, or several of that day: ``latitude_deg`` (None: unknown, drawn as a band),
        ``turn_deg``, ``sigma_deg``; and, if known,
        ``expected``: for each model the turn in degrees of the very spots that were measured, which under
        a near Sun may differ from that of an even pattern. Drawn as crosses beside a single measurement.
    ax : Axes, optional
        For the turns. Without it a figure with both panels is made.
    visible_ax : Axes, optional
        For the visible share, when `ax` is given.
    title, subtitle : str
        Words above the panels; only used when no `ax` is given.
    key : str
        Which turn of the rows to draw.

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.

    Raises
    ------
    InputError
        No model, or a model without any row.
    """
    if not rows_by_model or not all(len(rows) for rows in rows_by_model.values()):
        raise InputError("rows_by_model", "must hold one or more models, each with one or more rows")
    with styled():
        if ax is None:
            figure = new_figure(1600, 1100)
            grid = figure.add_gridspec(
                2, 1, height_ratios=(3.4, 1), left=0.105, right=0.83, top=0.855, bottom=0.075, hspace=0.1
            )
            ax = figure.add_subplot(grid[0])
            visible_ax = figure.add_subplot(grid[1], sharex=ax)
            figure.text(0.025, 0.962, title, fontsize=16, va="top", fontfamily="DejaVu Serif")
            if subtitle:
                figure.text(0.025, 0.922, subtitle, fontsize=11, va="top", color=FAINT)
        points = [measurement] if isinstance(measurement, Mapping) else list(measurement or ())
        return _draw(rows_by_model, points, ax, visible_ax, key)


def _draw(
    rows_by_model: Mapping[str, Sequence[Mapping[str, Any]]],
    points: Sequence[Mapping[str, Any]],
    ax: Axes,
    visible_ax: Axes | None,
    key: str,
) -> list[Artist]:
    artists: list[Artist] = []
    dim = False
    styles = model_styles(list(rows_by_model))
    ends: dict[str, tuple[float, float]] = {}
    latitudes = np.concatenate([_column(rows, "latitude_deg") for rows in rows_by_model.values()])
    for order, (name, rows) in enumerate(rows_by_model.items()):
        latitude, turn = _column(rows, "latitude_deg"), _column(rows, key)
        style = styles[name]
        width = 2.8 if style.line == "-" else 2.2
        clear = ~(_column(rows, "pattern_scatter") > _INSIDE_OUT)
        dim = dim or bool(np.any(~clear & np.isfinite(turn)))
        x, y = break_at_wraps(latitude, np.where(clear, turn, np.nan))
        look = {"color": style.colour, "ls": style.line, "zorder": 3 + 0.1 * order}
        artists += ax.plot(x, y, lw=width, label=name, **look)
        if not np.all(clear):
            x, y = break_at_wraps(latitude, np.where(~clear | _beside(~clear), turn, np.nan))
            artists += ax.plot(x, y, **{**look, "lw": 1.0, "ls": "-", "alpha": 0.45})
        finite = np.flatnonzero(np.isfinite(turn))
        if finite.size:
            ends[name] = float(latitude[finite[-1]]), float(turn[finite[-1]])
        finite = finite[clear[finite]]
        if finite.size:
            alone = finite[_alone(turn)[finite]]
            few = np.union1d(finite[:: max(1, finite.size // 9)], alone)
            artists += ax.plot(
                latitude[few],
                turn[few],
                style.marker,
                color=style.colour,
                ms=5.5,
                mec=PAPER,
                mew=0.7,
                zorder=3.6,
            )
        if visible_ax is not None:
            share = 100 * _column(rows, "pattern_visible_fraction")
            artists += visible_ax.plot(
                latitude, share, color=style.colour, ls=style.line, lw=width - 0.4, zorder=3 + 0.1 * order
            )
    words = [_measured_words(point) for point in points]
    if len(points) > 1:
        words = [f"measured: {len(points)} turns, each with its uncertainty"]
    artists += [_above(ax, text, 9) for text in words]
    for point in points:
        artists += _draw_measurement(ax, point)
    if len(points) == 1:
        artists += _draw_expected(ax, points[0], {name: style.colour for name, style in styles.items()})
    if dim:
        words = "pale: pattern turned inside out, its turn means little"
        artists.append(_above(ax, words, 9, right=True))
    _set_axes(ax, visible_ax, latitudes)
    artists += _label_ends(ax, ends, {name: style.colour for name, style in styles.items()})
    return artists


def break_at_wraps(x: Array, turn_deg: Array) -> tuple[Array, Array]:
    """Insert breaks where a line of turns in (-180, 180] must not run on.

    At a wrap the line goes on to the edge at 180 degrees and comes in again at the other, nan between. A
    jump of more than 75 degrees from one value to the next, the shorter way round, is a plain gap: the
    values do not tell what lies between them.
    """
    xs, ys = [x[:1]], [turn_deg[:1]]
    for i in range(1, len(x)):
        step = turn_deg[i] - turn_deg[i - 1]
        if min(abs(step), 360 - abs(step)) > _JUMP_DEG:
            xs.append((x[i - 1 : i] + x[i : i + 1]) / 2)
            ys.append(np.array([np.nan]))
        elif abs(step) > 180:
            edge = math.copysign(180.0, turn_deg[i - 1])
            whole = step + math.copysign(360.0, turn_deg[i - 1])
            part = (edge - turn_deg[i - 1]) / whole if whole else 0.5
            crossing = x[i - 1] + (x[i] - x[i - 1]) * part
            xs.append(np.array([crossing, crossing, crossing]))
            ys.append(np.array([edge, np.nan, -edge]))
        xs.append(x[i : i + 1])
        ys.append(turn_deg[i : i + 1])
    return np.concatenate(xs), np.concatenate(ys)


def _column(rows: Sequence[Mapping[str, Any]], key: str) -> Array:
    return np.array([np.nan if row.get(key) is None else row[key] for row in rows], dtype=float)


def _beside(flags: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Whether a neighbour is flagged."""
    padded = np.concatenate([[False], flags, [False]])
    return padded[:-2] | padded[2:]


def _alone(values: Array) -> npt.NDArray[np.bool_]:
    """Whether both neighbours of a value are missing, so that no line shows it."""
    missing = np.concatenate([[True], ~np.isfinite(values), [True]])
    return missing[:-2] & missing[2:]


def _measured_words(measurement: Mapping[str, Any]) -> str:
    turn, sigma, latitude = (measurement.get(k) for k in ("turn_deg", "sigma_deg", "latitude_deg"))
    if turn is None or sigma is None:
        raise InputError("measurement", "must hold 'turn_deg' and 'sigma_deg'")
    where = " (latitude not given)" if latitude is None else f" at {latitude_words(latitude)}"
    return f"measured: {turn_words(turn)}, ± {sigma:.1f}\N{DEGREE SIGN}{where}"


def _draw_measurement(ax: Axes, measurement: Mapping[str, Any]) -> list[Artist]:
    turn, sigma, latitude = measurement["turn_deg"], measurement["sigma_deg"], measurement.get("latitude_deg")
    artists: list[Artist] = []
    if latitude is None:
        artists.append(ax.axhspan(turn - sigma, turn + sigma, color=MEASURED, alpha=0.18, lw=0, zorder=2))
        artists.append(ax.axhline(turn, color=MEASURED, lw=1.2, zorder=2.5))
    else:
        halo = ax.plot(latitude, turn, "o", ms=12, color=PAPER, alpha=0.85, zorder=5)
        bar = ax.errorbar(
            latitude,
            turn,
            yerr=sigma,
            fmt="o",
            ms=6.5,
            mfc=PAPER,
            mec=MEASURED,
            mew=1.8,
            ecolor=MEASURED,
            elinewidth=1.8,
            capsize=6,
            capthick=1.8,
            zorder=6,
        )
        artists += [*halo, bar[0], *bar[1], *bar[2]]
    return artists


def _draw_expected(ax: Axes, measurement: Mapping[str, Any], colours: Mapping[str, str]) -> list[Artist]:
    """A cross for what each model expects of the very spots that were measured, with a key."""
    expected = measurement.get("expected") or {}
    latitude = measurement.get("latitude_deg")
    known = {name: turn for name, turn in expected.items() if turn is not None and math.isfinite(turn)}
    if latitude is None or not known:
        return []
    artists: list[Artist] = []
    for name, turn in known.items():
        artists += ax.plot(latitude, turn, "X", ms=13, mfc=colours[name], mec=PAPER, mew=1.0, zorder=5.5)
    words = "✖ in a model's colour: its turn for the very spots on these photos"
    artists.append(_above(ax, words, 22, right=True))
    return artists


def _above(ax: Axes, words: str, points: float, *, right: bool = False) -> Artist:
    """Words `points` above the panel: bold at its left edge, or small and faint at its right one."""
    look: dict[str, Any] = {"fontsize": 11, "color": INK, "fontweight": "bold"}
    if right:
        look = {"fontsize": 9.5, "color": FAINT, "ha": "right"}
    return ax.annotate(
        words,
        (1.0 if right else 0.0, 1),
        (0, points),
        xycoords="axes fraction",
        textcoords="offset points",
        annotation_clip=False,
        **look,
    )


def latitude_words(latitude_deg: float) -> str:
    """``51.5 N`` with the degree sign; the equator as 0."""
    text = f"{abs(latitude_deg):.1f}".removesuffix(".0") + "\N{DEGREE SIGN}"
    return text if latitude_deg == 0 else f"{text} {'N' if latitude_deg > 0 else 'S'}"


def _set_axes(ax: Axes, visible_ax: Axes | None, latitudes: Array) -> None:
    quiet_axes(ax)
    low, high = float(np.nanmin(latitudes)), float(np.nanmax(latitudes))
    margin = max(1.0, 0.02 * (high - low))
    ax.set_xlim(low - margin, high + margin)
    step = next(s for s in (1, 2, 5, 10, 15, 30) if (high - low) / s <= 13)
    ax.xaxis.set_major_locator(MultipleLocator(step))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: latitude_words(value)))
    ax.set_ylim(-183, 183)
    ax.yaxis.set_major_locator(MultipleLocator(45))
    ax.yaxis.set_major_formatter(
        FuncFormatter(lambda value, _: f"{value:.0f}\N{DEGREE SIGN}".replace("-", "−"))
    )
    ax.axhline(0, color=FAINT, lw=0.9, zorder=1)
    ax.set_ylabel("turn of the pattern (degrees)\n← clockwise      anticlockwise →")
    lowest = ax
    if visible_ax is not None:
        quiet_axes(visible_ax)
        visible_ax.set_ylim(-3, 103)
        visible_ax.yaxis.set_major_locator(MultipleLocator(50))
        visible_ax.set_ylabel("spots visible\nboth times (%)")
        ax.tick_params(labelbottom=False)
        lowest = visible_ax
    lowest.set_xlabel("latitude of the site (degrees)")


def _label_ends(
    ax: Axes, ends: Mapping[str, tuple[float, float]], colours: Mapping[str, str]
) -> list[Artist]:
    """Names in the right margin beside the ends of the lines, spread so that none covers another."""
    names = sorted(ends, key=lambda name: ends[name][1])
    low, high = ax.get_ylim()
    height = ax.get_position().height * figure_of(ax).get_size_inches()[1] * 72
    gap = 17 / height * (high - low)
    places = spread_apart([ends[name][1] for name in names], gap, low + gap / 2, high - gap / 2)
    right = ax.get_xlim()[1]
    offset = 0.03 * (right - ax.get_xlim()[0])
    artists: list[Artist] = []
    for name, place in zip(names, places, strict=True):
        x, y = ends[name]
        artists.append(
            ax.annotate(
                name,
                (x, y),
                (right + offset, place),
                va="center",
                ha="left",
                fontsize=11.5,
                color=colours[name],
                fontweight="bold",
                annotation_clip=False,
                arrowprops={
                    "arrowstyle": "-",
                    "color": colours[name],
                    "lw": 0.9,
                    "shrinkA": 2,
                    "shrinkB": 4,
                    "relpos": (0, 0.5),
                },
            )
        )
    return artists

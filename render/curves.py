"""Curves over latitude: what each model predicts, and the person's measurement among them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MultipleLocator

from ..models.errors import InputError
from .labels import spread_apart
from .measured_turns import above, draw_measurements, latitude_words
from .style import FAINT, INK, PAPER, ModelStyle, figure_of, model_styles, new_figure, quiet_axes, styled

Array = npt.NDArray[np.float64]

#: Line styles of the first, second, ... date of several.
DATE_LINES: tuple[Any, ...] = ("-", (0, (5, 1.8)), (0, (1.1, 1.3)), (0, (6, 1.6, 1.2, 1.6)), (0, (11, 2.5)))

_JUMP_DEG = 75.0
_WIDEST = 2.8  # points: the widest line of a model
_IN_PART = 0.25  # share of the latitudes on another line from which on it is said; a crossing has fewer
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
            ax, visible_ax = _new_panels(title, subtitle, top=0.79)
        return _draw({"": rows_by_model}, measurement, ax, visible_ax, key)


def draw_sweep_dates(
    rows_by_date: Mapping[str, Mapping[str, Sequence[Mapping[str, Any]]]],
    measurement: Mapping[str, Any] | Sequence[Mapping[str, Any]] | None = None,
    *,
    ax: Axes | None = None,
    visible_ax: Axes | None = None,
    title: str = "How far the pattern of sunspots turns from the first photo to the second",
    subtitle: str = "",
    key: str = "pattern_turn_deg",
) -> list[Artist]:
    """The curves of :func:`draw_sweep` for several dates: a colour and a marker per model, a line per date.

    Parameters
    ----------
    rows_by_date : mapping of date to mapping of model name to rows
        At most as many dates as :data:`DATE_LINES`, each with the same models.
    measurement :
        As for :func:`draw_sweep`; a ``date`` in it is written beside the point.
    ax, visible_ax, title, subtitle, key :
        As for :func:`draw_sweep`.

    Raises
    ------
    InputError
        No date or too many, other models at another date, or a model without any row.
    """
    if not 1 <= len(rows_by_date) <= len(DATE_LINES):
        raise InputError("rows_by_date", f"must hold 1 to {len(DATE_LINES)} dates", len(rows_by_date))
    names = list(next(iter(rows_by_date.values())))
    for rows_by_model in rows_by_date.values():
        if not names or list(rows_by_model) != names or not all(len(rows_by_model[name]) for name in names):
            raise InputError("rows_by_date", "must hold the same models at each date, each with rows")
    with styled():
        if ax is None:
            ax, visible_ax = _new_panels(title, subtitle, top=0.75)
        return _draw(rows_by_date, measurement, ax, visible_ax, key)


def _new_panels(title: str, subtitle: str, top: float) -> tuple[Axes, Axes]:
    """A figure with its title; the panels of the turns and of the visible share."""
    figure = new_figure(1600, 1100)
    grid = figure.add_gridspec(
        2, 1, height_ratios=(3.4, 1), left=0.125, right=0.8, top=top, bottom=0.085, hspace=0.1
    )
    ax = figure.add_subplot(grid[0])
    figure.text(0.025, 0.968, title, fontsize=18, va="top", fontfamily="DejaVu Serif")
    if subtitle:
        figure.text(0.025, 0.918, subtitle, fontsize=13, va="top", color=FAINT)
    return ax, figure.add_subplot(grid[1], sharex=ax)


def _draw(
    rows_by_date: Mapping[str, Mapping[str, Sequence[Mapping[str, Any]]]],
    measurement: Mapping[str, Any] | Sequence[Mapping[str, Any]] | None,
    ax: Axes,
    visible_ax: Axes | None,
    key: str,
) -> list[Artist]:
    points = [measurement] if isinstance(measurement, Mapping) else list(measurement or ())
    dates = list(rows_by_date)
    names = list(rows_by_date[dates[0]])
    styles = model_styles(names)
    colours = {name: style.colour for name, style in styles.items()}
    artists: list[Artist] = []
    dim = False
    ends: dict[str, tuple[float, float]] = {}
    for number, date in enumerate(dates):
        for order, (name, rows) in enumerate(rows_by_date[date].items()):
            look = _look(styles[name], order, number if len(dates) > 1 else None)
            start = number / len(dates)
            drawn, vague, end = _draw_turns(ax, rows, key, look, styles[name].marker, start)
            artists += drawn
            dim = dim or vague
            if end is not None and (name not in ends or end[0] > ends[name][0]):
                ends[name] = end
            if visible_ax is not None:
                share = 100 * _column(rows, "pattern_visible_fraction")
                thinner = {**look, "lw": look["lw"] - 0.4}
                artists += visible_ax.plot(_column(rows, "latitude_deg"), share, **thinner)
    artists += draw_measurements(ax, points, colours, dated=len(dates) > 1)
    if dim:
        words = "pale: pattern turned inside out, its turn means little"
        artists.append(above(ax, words, 28, right=True))
    if len(dates) > 1:
        artists.append(_key_of_dates(ax, dates))
    every = [rows for rows_by_model in rows_by_date.values() for rows in rows_by_model.values()]
    _set_axes(ax, visible_ax, np.concatenate([_column(rows, "latitude_deg") for rows in every]))
    words = {name: style.words for name, style in styles.items()}
    return artists + _label_ends(ax, ends, words, _lying_on(ax, rows_by_date, key))


def _look(style: ModelStyle, order: int, number: int | None) -> dict[str, Any]:
    """How a line is drawn: by its model alone, or in its model's colour and the style of the date `number`.

    The lines of later models are then thinner, so that one below another still shows at its sides.
    """
    if number is None:
        ls, width = style.line, _WIDEST if style.line == "-" else 2.2
    else:
        ls, width = DATE_LINES[number], max(1.4, 3.2 - 0.9 * order)
    return {"color": style.colour, "ls": ls, "lw": width, "zorder": 3 + 0.1 * order}


def _draw_turns(
    ax: Axes, rows: Sequence[Mapping[str, Any]], key: str, look: dict[str, Any], marker: str, start: float
) -> tuple[list[Artist], bool, tuple[float, float] | None]:
    """One line with a few markers, whether a part of it is pale, and its last point.

    `start`: where the first marker stands, as a share of the distance from one to the next.
    """
    latitude, turn = _column(rows, "latitude_deg"), _column(rows, key)
    clear = ~(_column(rows, "pattern_scatter") > _INSIDE_OUT)
    x, y = break_at_wraps(latitude, np.where(clear, turn, np.nan))
    artists: list[Artist] = list(ax.plot(x, y, **look))
    if not np.all(clear):
        x, y = break_at_wraps(latitude, np.where(~clear | _beside(~clear), turn, np.nan))
        artists += ax.plot(x, y, **{**look, "lw": 1.0, "ls": "-", "alpha": 0.45})
    finite = np.flatnonzero(np.isfinite(turn))
    if not finite.size:
        return artists, False, None
    end = float(latitude[finite[-1]]), float(turn[finite[-1]])
    vague = bool(np.any(~clear[finite]))
    finite = finite[clear[finite]]
    if finite.size:
        alone = finite[_alone(turn)[finite]]
        step = max(1, finite.size // 9)
        few = np.union1d(finite[int(start * step) :: step], alone)
        dots = {"ms": 5.5, "mec": PAPER, "mew": 0.7, "zorder": 3.6}
        artists += ax.plot(latitude[few], turn[few], marker, color=look["color"], **dots)
    return artists, vague, end


def _lying_on(
    ax: Axes, rows_by_date: Mapping[str, Mapping[str, Sequence[Mapping[str, Any]]]], key: str
) -> dict[str, tuple[str, str]]:
    """For a model whose line runs inside the drawn width of an earlier model's: two lines of words that say so.

    Over all dates; pale parts and latitudes where only one has a turn count for neither.
    """
    reach_deg = _WIDEST / 2 / _height_points(ax) * np.ptp(ax.get_ylim())
    turns: dict[str, Array] = {}
    told = {}
    for name in next(iter(rows_by_date.values())):
        parts = [rows_by_model[name] for rows_by_model in rows_by_date.values()]
        turns[name] = np.concatenate([_clear_turns(rows, key) for rows in parts])
        for earlier in turns:
            if earlier == name or earlier in told or turns[earlier].shape != turns[name].shape:
                continue
            apart = np.abs((turns[name] - turns[earlier] + 180) % 360 - 180)
            share = np.mean(apart[np.isfinite(apart)] < reach_deg) if np.any(np.isfinite(apart)) else 0.0
            if share >= _IN_PART:
                told[name] = ("lies on" if share == 1 else "in part on", earlier)
                break
    return told


def _clear_turns(rows: Sequence[Mapping[str, Any]], key: str) -> Array:
    """Turns of a line, nan where it is pale."""
    return np.where(_column(rows, "pattern_scatter") > _INSIDE_OUT, np.nan, _column(rows, key))


def _height_points(ax: Axes) -> float:
    return ax.get_position().height * figure_of(ax).get_size_inches()[1] * 72


def _key_of_dates(ax: Axes, dates: Sequence[str]) -> Artist:
    """The line style of each date, above the panel and above its small words."""
    lines = [Line2D([], [], color=INK, ls=DATE_LINES[k], lw=2.4) for k in range(len(dates))]
    return ax.legend(
        lines,
        dates,
        loc="lower left",
        bbox_to_anchor=(0.0, 1 + 48 / _height_points(ax)),
        borderaxespad=0.0,
        borderpad=0.0,
        ncols=len(dates),
        frameon=False,
        fontsize=13,
        handlelength=3.6,
        columnspacing=1.6,
    )


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
    ax.set_ylabel("turn of the pattern (degrees)\n← clockwise      anticlockwise →", fontsize=13)
    lowest = ax
    if visible_ax is not None:
        quiet_axes(visible_ax)
        visible_ax.set_ylim(-3, 103)
        visible_ax.yaxis.set_major_locator(MultipleLocator(50))
        visible_ax.set_ylabel("spots visible\nboth times (%)", fontsize=13)
        ax.tick_params(labelbottom=False)
        lowest = visible_ax
    lowest.set_xlabel("latitude of the site (degrees)", fontsize=13)
    for one in (ax, lowest):
        one.tick_params(labelsize=12)


def _label_ends(
    ax: Axes,
    ends: Mapping[str, tuple[float, float]],
    colours: Mapping[str, str],
    lying_on: Mapping[str, tuple[str, str]],
) -> list[Artist]:
    """Names in the right margin beside the ends of the lines, spread so that none covers another.

    Below a name of `lying_on` stands on which other line its own lies.
    """
    low, high = ax.get_ylim()
    gap = 19 / _height_points(ax) * (high - low)
    entries: list[tuple[str, str]] = []  # (name, line of small words or none), upwards
    for name in sorted(ends, key=lambda name: ends[name][1]):
        entries += [(name, words) for words in reversed(lying_on.get(name, ()))]
        entries.append((name, ""))
    wanted = [ends[name][1] for name, _ in entries]
    places = spread_apart(wanted, gap, low + gap / 2, high - gap / 2)
    right = ax.get_xlim()[1]
    offset = 0.03 * (right - ax.get_xlim()[0])
    artists: list[Artist] = []
    for (name, words), place in zip(entries, places, strict=True):
        look: dict[str, Any] = {
            "va": "center",
            "ha": "left",
            "color": colours[name],
            "annotation_clip": False,
        }
        at = (right + offset, place)
        if words:
            artists.append(ax.annotate(words, at, fontsize=12, **look))
            continue
        leader = {
            "arrowstyle": "-",
            "color": colours[name],
            "lw": 0.9,
            "shrinkA": 2,
            "shrinkB": 4,
            "relpos": (0, 0.5),
        }
        artists.append(
            ax.annotate(name, ends[name], at, fontsize=13, fontweight="bold", arrowprops=leader, **look)
        )
    return artists

"""Curves over a day: the Sun's altitude, azimuth and angular diameter, and how fast the disc turns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MultipleLocator

from ..models.errors import InputError, UnknownNameError
from .style import FAINT, ModelStyle, model_styles, new_figure, quiet_axes, styled

Array = npt.NDArray[np.float64]

#: What can be drawn, and the words at its axis.
QUANTITIES = {
    "altitude": "altitude of the Sun",
    "azimuth": "azimuth of the Sun",
    "diameter": "angular diameter (arcmin)",
    "turn-rate": "turn of the pattern per hour\n← clockwise   anticlockwise →",
}
_DEGREE = "\N{DEGREE SIGN}"
_SMALL = 12.0  # points
_WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")


@dataclass(frozen=True)
class DayCurve:
    """What one model says of a day, arrays of one shape (n,) but for the rate's.

    Parameters
    ----------
    model : str
    hours : ndarray
        UTC hours from the midnight before the first instant; above 24 on the next day.
    altitude_deg, azimuth_deg, diameter_arcmin : ndarray
        Of the Sun without refraction; azimuths without a jump at north.
    rate_hours, rate_deg_per_hour : ndarray, shape (m,)
        How fast the pattern turns in the picture, anticlockwise positive, and when.
    """

    model: str
    hours: Array
    altitude_deg: Array
    azimuth_deg: Array
    diameter_arcmin: Array
    rate_hours: Array
    rate_deg_per_hour: Array


def draw_day_curves(curves: Sequence[DayCurve], *, title: str, subtitle: str = "") -> list[Artist]:
    """All four quantities in one figure with a key of the models.

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.

    Raises
    ------
    InputError
        No curve.
    """
    _check(curves)
    with styled(large=True):
        figure = new_figure(1600, 1240)
        grid = figure.add_gridspec(
            2, 2, left=0.09, right=0.98, top=0.79, bottom=0.075, hspace=0.13, wspace=0.3
        )
        figure.text(0.025, 0.974, title, fontsize=18, va="top", fontfamily="DejaVu Serif")
        under = "\n".join(textwrap.wrap(subtitle, 112))
        figure.text(0.025, 0.93, under, fontsize=12.5, va="top", color=FAINT, linespacing=1.35)
        artists: list[Artist] = []
        for number, quantity in enumerate(QUANTITIES):
            ax = figure.add_subplot(grid[number // 2, number % 2])
            artists += draw_day_curve(curves, quantity, ax=ax)
            if number < 2:  # the same times stand below
                ax.set_xlabel("")
        names = [curve.model for curve in curves]
        styles = list(model_styles(names).values())
        lines = [_line(style) for style in styles]
        key = figure.legend(
            lines,
            names,
            loc="upper left",
            bbox_to_anchor=(0.012, 0.872),
            ncols=len(names),
            frameon=False,
            fontsize=13,
            handlelength=3.0,
            columnspacing=1.5,
        )
        for text, style in zip(key.get_texts(), styles, strict=True):
            text.set_color(style.words)
            text.set_fontweight("bold")
        return [*artists, key]


def draw_day_curve(curves: Sequence[DayCurve], quantity: str, *, ax: Axes | None = None) -> list[Artist]:
    """One quantity against the time of day, a line for each model.

    Parameters
    ----------
    curves : sequence of DayCurve
    quantity : str
        A key of :data:`QUANTITIES`.
    ax : Axes, optional
        Without it a figure is made.

    Raises
    ------
    InputError
        No curve.
    UnknownNameError
        No such quantity.
    """
    _check(curves)
    if quantity not in QUANTITIES:
        raise UnknownNameError("quantity", quantity, QUANTITIES)
    with styled(large=True):
        if ax is None:
            ax = new_figure(1200, 900).add_axes((0.13, 0.1, 0.84, 0.85))
        quiet_axes(ax)
        styles = model_styles([curve.model for curve in curves])
        artists: list[Artist] = []
        for order, curve in enumerate(curves):
            style, (x, y) = styles[curve.model], _values(curve, quantity)
            look = {"color": style.colour, "ls": style.line, "zorder": 3 + 0.1 * order}
            artists += ax.plot(x, y, lw=2.6 if style.line == "-" else 2.2, label=curve.model, **look)
        hours = np.concatenate([curve.hours for curve in curves])
        ax.set_xlim(float(hours.min()) - 0.2, float(hours.max()) + 0.2)
        ax.xaxis.set_major_locator(MultipleLocator(2 if np.ptp(hours) > 7 else 1))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{round(value) % 24:02d}h"))
        ax.set_xlabel("time, UTC")
        ax.set_ylabel(QUANTITIES[quantity])
        artists += _scale(ax, quantity, np.concatenate([_values(curve, quantity)[1] for curve in curves]))
    return artists


def _check(curves: Sequence[DayCurve]) -> None:
    if not curves:
        raise InputError("curves", "must be one or more")


def _line(style: ModelStyle) -> Line2D:
    return Line2D([], [], color=style.colour, ls=style.line, lw=2.6)


def _values(curve: DayCurve, quantity: str) -> tuple[Array, Array]:
    if quantity == "turn-rate":
        return curve.rate_hours, curve.rate_deg_per_hour
    values = {
        "altitude": curve.altitude_deg,
        "azimuth": curve.azimuth_deg,
        "diameter": curve.diameter_arcmin,
    }
    return curve.hours, values[quantity]


def _scale(ax: Axes, quantity: str, values: Array) -> list[Artist]:
    """Limits and labels of the quantity's axis; where a line leaves the panel, words that say so."""
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    if quantity == "altitude":
        ax.set_ylim(min(-5.0, low - 3), max(20.0, high * 1.08))
        ax.axhline(0, color=FAINT, lw=1.2, zorder=1)
        ax.yaxis.set_major_locator(MultipleLocator(15))
        ax.yaxis.set_major_formatter(FuncFormatter(_degrees))
        middle = sum(ax.get_xlim()) / 2
        return [ax.text(middle, 0.6, "horizon", fontsize=_SMALL, color=FAINT, ha="center", va="bottom")]
    if quantity == "azimuth":
        ax.yaxis.set_major_locator(MultipleLocator(45))
        ax.yaxis.set_major_formatter(FuncFormatter(_compass))
    elif quantity == "diameter":
        ax.set_ylim(0, 1.15 * high)
    else:
        ax.axhline(0, color=FAINT, lw=1.2, zorder=1)
        ax.yaxis.set_major_formatter(FuncFormatter(_degrees))
        # A Sun near the zenith turns the disc almost at once: the panel shows 97 of 100 values.
        reach = 1.25 * float(np.quantile(np.abs(known), 0.97)) if known.size else 1.0
        if max(-low, high) > 1.6 * reach:
            ax.set_ylim(-reach, reach)
            words = f"fastest: {max(-low, high):.0f}{_DEGREE} an hour"
            place = {
                "xycoords": "axes fraction",
                "ha": "right",
                "va": "top",
                "fontsize": _SMALL,
                "color": FAINT,
            }
            return [ax.annotate(words, (0.99, 0.98), **place)]
        ax.set_ylim(min(1.15 * low, -2.0), max(1.15 * high, 2.0))
    return []


def _degrees(value: float, _: object) -> str:
    return f"{value:g}{_DEGREE}".replace("-", "\N{MINUS SIGN}")


def _compass(value: float, _: object) -> str:
    around = round(value) % 360
    wind = f" {_WINDS[around // 45]}" if around % 45 == 0 else ""
    return f"{around}{_DEGREE}{wind}"

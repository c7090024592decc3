"""Measured turns among curves over latitude: points with their uncertainty, and the words above the panel."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from ..models.errors import InputError
from .style import FAINT, INK, MEASURED, PAPER, turn_words


def draw_measurements(
    ax: Axes, points: Sequence[Mapping[str, Any]], colours: Mapping[str, str], *, dated: bool = False
) -> list[Artist]:
    """Points with their uncertainty, and what is said of them above the panel.

    Parameters
    ----------
    points : sequence of mappings
        See :func:`~whichsun.render.curves.draw_sweep`.
    colours : mapping of model name to colour
        For what each model expects of the very spots of a single measurement.
    dated : bool
        Write a point's ``date``, if it has one, beside it.
    """
    words = [_measured_words(point) for point in points]
    if len(points) > 1:
        words = [f"measured: {len(points)} turns, each with its uncertainty"]
    artists = [above(ax, text, 9) for text in words]
    for point in points:
        artists += _draw_measurement(ax, point)
        if dated and point.get("date") and point.get("latitude_deg") is not None:
            artists.append(_draw_date(ax, point))
    if len(points) == 1:
        artists += _draw_expected(ax, points[0], colours)
    return artists


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


def _draw_date(ax: Axes, measurement: Mapping[str, Any]) -> Artist:
    """The date of a measurement, below its point to the right, where rising curves leave room."""
    return ax.annotate(
        str(measurement["date"]),
        (measurement["latitude_deg"], measurement["turn_deg"]),
        (9, -7),
        textcoords="offset points",
        va="top",
        fontsize=12,
        color=MEASURED,
        zorder=6.5,
        path_effects=[withStroke(linewidth=3, foreground=PAPER)],
    )


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
    artists.append(above(ax, words, 46, right=True))
    return artists


def above(ax: Axes, words: str, points: float, *, right: bool = False) -> Artist:
    """Words `points` above the panel: bold at its left edge, or small and faint at its right one."""
    look: dict[str, Any] = {"fontsize": 13, "color": INK, "fontweight": "bold"}
    if right:
        look = {"fontsize": 12, "color": FAINT, "ha": "right"}
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

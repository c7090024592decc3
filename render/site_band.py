"""Where on Earth photos may have been taken: a probability band over a plain graticule."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from ..models.errors import InputError
from .style import FAINT, INK, MODEL_COLOURS, PAPER, new_figure, quiet_axes, styled

_MODEL = "distant-sphere"
_WORLD_DEG = 300.0
_TROPIC_DEG, _POLAR_DEG = 23.44, 66.56


def draw_site_band(result: Mapping[str, Any], *, ax: Axes | None = None, title: str = "") -> list[Artist]:
    """Contours of 68 and 95 % of the probability, and the given site.

    Parameters
    ----------
    result : mapping
        ``latitude_deg`` (m,), ``longitude_deg`` (n,), ``density`` (m, n) per steradian, ``levels`` (two
        densities: 68 and 95 % lie above them), ``given_deg`` (latitude, longitude) and ``step_deg``.
    ax : Axes, optional
        A figure is made without one.
    title : str

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.

    Notes
    -----
    Plate carree; longitudes east, beyond 180 written as west. A band narrower than `step_deg` is drawn that wide.
    """
    latitude, longitude = np.asarray(result["latitude_deg"]), np.asarray(result["longitude_deg"])
    density = np.asarray(result["density"])
    if density.shape != (len(latitude), len(longitude)):
        raise InputError(
            "density", "must have one row per latitude and one column per longitude", density.shape
        )
    with styled():
        own = ax is None
        if own:
            wide = np.ptp(longitude) / max(np.ptp(latitude), 1e-9)
            figure = new_figure(1600, int(np.clip(1600 / wide, 700, 1500)) + 260)
            ax = figure.add_axes((0.08, 0.16, 0.89, 0.77))
        assert ax is not None
        artists = _draw(ax, latitude, longitude, density, result, title)
        if own:
            figure = artists[0].figure
            assert figure is not None
            artists.append(
                figure.text(
                    0.08, 0.025, _words(result), fontsize=9.5, color=FAINT, va="bottom", linespacing=1.4
                )
            )
    return artists


def _draw(
    ax: Axes,
    latitude: np.ndarray,
    longitude: np.ndarray,
    density: np.ndarray,
    result: Mapping[str, Any],
    title: str,
) -> list[Artist]:
    quiet_axes(ax)
    colour = MODEL_COLOURS[_MODEL]
    inner, outer = result["levels"]
    top = max(float(density.max()), inner * 1.000001)
    filled = [
        ax.contourf(longitude, latitude, density, [outer, inner], colors=[colour], alpha=0.32),
        ax.contourf(longitude, latitude, density, [inner, top * 1.01], colors=[colour], alpha=0.75),
    ]
    lines = ax.contour(longitude, latitude, density, [outer], colors=[colour], linewidths=1.0)
    lat, lon = result["given_deg"]
    site = ax.plot([lon], [lat], "o", ms=9, mfc="none", mec=INK, mew=1.8, zorder=5)
    site += ax.plot([lon], [lat], "+", ms=16, mec=INK, mew=1.0, zorder=5)
    ax.set_xlim(longitude[0], longitude[-1])
    ax.set_ylim(latitude[0], latitude[-1])
    world = np.ptp(longitude) > _WORLD_DEG
    for axis, step in ((ax.xaxis, 30.0), (ax.yaxis, 30.0 if world else 0.0)):
        axis.set_major_locator(MultipleLocator(step) if world else MaxNLocator(8))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: _east_west(x)))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda y, _: _north_south(y)))
    ax.set_aspect("equal" if world else 1 / max(np.cos(np.deg2rad(latitude.mean())), 0.05))
    faint = []
    if world:
        for level, words in (
            (0.0, "equator"),
            (_TROPIC_DEG, ""),
            (-_TROPIC_DEG, ""),
            (_POLAR_DEG, ""),
            (-_POLAR_DEG, ""),
        ):
            faint.append(
                ax.axhline(
                    level, color=FAINT, lw=1.0 if words else 0.7, ls="-" if words else (0, (4, 4)), zorder=1
                )
            )
        faint.append(ax.text(longitude[0] + 2, 1, "equator", fontsize=8.5, color=FAINT, va="bottom"))
    handles = [
        ax.fill([], [], color=colour, alpha=0.75, label="68 % of the probability")[0],
        ax.fill([], [], color=colour, alpha=0.32, label="95 %")[0],
        site[0],
    ]
    site[0].set_label("the site that the outing gives")
    key = ax.legend(handles=handles, loc="lower left", fontsize=10, framealpha=0.9, facecolor=PAPER)
    artists: list[Artist] = [*site, *filled, lines, *faint, key]
    artists.append(
        ax.set_title(
            title or "Where these photos may have been taken",
            loc="left",
            fontfamily="DejaVu Serif",
            fontsize=15,
        )
    )
    return artists


def _words(result: Mapping[str, Any]) -> str:
    return (
        "Under distant-sphere, from the spots, the photos' clock times and the level alone; beforehand any place where "
        "the Sun\nwas up is as likely. Two photos tell mainly one number, the turn, and so a band; more photos or an "
        f"altitude cut it.\nDrawn in cells of {result['step_deg']:.2g} degrees: a narrower band looks that wide."
    )


def _east_west(degrees: float) -> str:
    wrapped = (degrees + 180) % 360 - 180
    return f"{abs(wrapped):g}°" + ("" if wrapped in (0, -180) else " E" if wrapped > 0 else " W")


def _north_south(degrees: float) -> str:
    return f"{abs(degrees):g}°" + (" N" if degrees > 0 else " S" if degrees < 0 else "")

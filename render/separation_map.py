"""Map of latitude and date: how far apart two models are, in sigma of a measured turn."""

from __future__ import annotations

import datetime as dt
import itertools
import textwrap
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.patches import Patch
from matplotlib.ticker import FuncFormatter, MultipleLocator

from ..models.errors import InputError
from .measured_turns import latitude_words
from .style import FAINT, INK, PAPER, RULE, new_figure, styled

Array = npt.NDArray[np.float64]

LEVELS = (0.0, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 40.0, 1e9)
_TONES = ("#F6F1DF", "#E3DDBD", "#C2CDAE", "#8FB3A3", "#5A8F94", "#346781", "#1D4668", "#0F2746")
_FIRST_DARK = 5  # number of the first tone on which paper is read better than ink
_INSIDE_OUT = 0.95  # what a turn leaves over, limb radii, above which it means little


@dataclass(frozen=True)
class SeparationMap:
    """How far two models are apart.

    Parameters
    ----------
    models : (str, str)
    latitudes_deg : ndarray, shape (n,)
        Rising, evenly spaced.
    dates : tuple of date, length m
        In the order of the year.
    sigma_deg : float
    separation : ndarray, shape (n, m)
        In sigma; nan where the Sun does not rise and set or a model has no turn.
    scatter : ndarray, shape (n, m)
        What the turns leave over in limb radii, the larger of the two models'.
    """

    models: tuple[str, str]
    latitudes_deg: Array
    dates: tuple[dt.date, ...]
    sigma_deg: float
    separation: Array
    scatter: Array


def draw_separation_map(
    result: SeparationMap, *, ax: Axes | None = None, title: str = "", subtitle: str = ""
) -> list[Artist]:
    """Cells coloured by the separation, darker for more; hatched where a pattern is turned inside out.

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure. The first is the mesh of the cells.

    Raises
    ------
    InputError
        Fewer than two latitudes or dates, or arrays that do not fit.
    """
    shape = len(result.latitudes_deg), len(result.dates)
    if min(shape) < 2 or result.separation.shape != shape or result.scatter.shape != shape:
        raise InputError("result", "must hold one value for each of two or more latitudes and dates", shape)
    with styled(large=True):
        if ax is None:
            figure = new_figure(1600, 1240)
            ax = figure.add_axes((0.1, 0.2, 0.88, 0.655))
            title = title or f"When and where a turn tells {result.models[0]} from {result.models[1]}"
            figure.text(0.025, 0.974, title, fontsize=18, va="top", fontfamily="DejaVu Serif")
            under = "\n".join(textwrap.wrap(subtitle, 112))
            figure.text(0.025, 0.93, under, fontsize=12.5, va="top", color=FAINT, linespacing=1.35)
        return _draw(ax, result)


def _draw(ax: Axes, result: SeparationMap) -> list[Artist]:
    first = dt.date(result.dates[0].year, 1, 1)
    day = np.array([(date - first).days for date in result.dates], float)
    across, up = _edges(day), _edges(result.latitudes_deg)
    ax.set_facecolor(RULE)
    norm = BoundaryNorm(LEVELS, len(_TONES))
    cells = np.ma.masked_invalid(result.separation)
    colours = ListedColormap(list(_TONES))
    # As pixels in SVG and PDF too: viewers draw fine seams between cells that touch.
    mesh = ax.pcolormesh(across, up, cells, cmap=colours, norm=norm, rasterized=True)
    artists: list[Artist] = [mesh]
    night = np.ma.masked_where(~np.ma.getmaskarray(cells), np.zeros(cells.shape))
    if night.count():
        none = ax.pcolor(across, up, night, cmap=ListedColormap([RULE]), hatch="..", linewidth=0.0)
        none.set_edgecolor(FAINT)
        artists.append(none)
    vague = (result.scatter > _INSIDE_OUT) & ~np.ma.getmaskarray(cells)
    dark = cells.filled(0.0) >= LEVELS[_FIRST_DARK]
    for chosen, ink in ((vague & ~dark, INK), (vague & dark, PAPER)):
        if np.any(chosen):
            hatched = ax.pcolor(across, up, np.ma.masked_where(~chosen, cells), hatch="//", linewidth=0.0)
            hatched.set(facecolor="none", edgecolor=ink, alpha=0.55)
            artists.append(hatched)
    _set_axes(ax, result, first, across, up)
    handles = [Patch(facecolor=tone, edgecolor=FAINT, label=words) for tone, words in _key()]
    handles.append(Patch(facecolor=RULE, edgecolor=FAINT, hatch="..", label="no sunrise, sunset or turn"))
    if np.any(vague):
        words = "a pattern turns inside out:\nits turn means little"
        handles.append(Patch(facecolor=PAPER, edgecolor=INK, hatch="//", label=words))
    key = ax.legend(
        handles=handles,
        loc="upper left",
        bbox_to_anchor=(-0.02, -0.085),
        ncols=5,
        frameon=False,
        fontsize=12.5,
        columnspacing=1.3,
        handletextpad=0.6,
        title="difference of the two turns, in sigma of a measured turn",
        title_fontsize=12.5,
        alignment="left",
    )
    return [*artists, key]


def _edges(centres: Array) -> Array:
    """Borders half way between neighbours, as far beyond the ends."""
    middle = (centres[:-1] + centres[1:]) / 2
    return np.concatenate([[2 * centres[0] - middle[0]], middle, [2 * centres[-1] - middle[-1]]])


def _key() -> list[tuple[str, str]]:
    words = [f"{low:g} to {high:g}" for low, high in itertools.pairwise(LEVELS[:-1])]
    return list(zip(_TONES, [*words, f"above {LEVELS[-2]:g}"], strict=True))


def _set_axes(ax: Axes, result: SeparationMap, first: dt.date, across: Array, up: Array) -> None:
    ax.set_xlim(across[0], across[-1])
    ax.set_ylim(up[0], up[-1])
    months = [dt.date(first.year, month, 15) for month in range(1, 13)]
    shown = [(month - first).days for month in months]
    inside = [k for k, place in enumerate(shown) if across[0] <= place <= across[-1]]
    ax.set_xticks([shown[k] for k in inside], [f"{months[k]:%b}" for k in inside])
    ax.tick_params(axis="x", length=0)
    span = float(np.ptp(up))
    ax.yaxis.set_major_locator(MultipleLocator(next(s for s in (1, 2, 5, 10, 15, 30) if span / s <= 13)))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: latitude_words(value)))
    ax.set_ylabel("latitude of the site", color=INK)
    for side in ax.spines.values():
        side.set_visible(False)

"""Residuals of every model's best fit on a disc of its own: where the spots were and where they should be."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes

from ..models.errors import InputError
from .blank_disc import draw_blank_disc
from .style import FAINT, INK, PAPER, ModelStyle, figure_of, model_styles, new_figure, styled

_SHOT_MARKERS = ("o", "s", "^", "D", "v", "P")
_SCALES = (1, 2, 3, 5, 10, 20, 30, 50)  # beyond 50 a good fit would look like a bad one
_WANTED = 0.22  # length in radii of a typical arrow of the worst model

_KEY_LETTERS = 100  # of a line of the key
_NUMBER_POINTS = 12
_MARK_POINTS = 4.0  # half the width of a mark, and a little air
_NUMBER_WAYS = (
    *((1, 0.7), (1, 0), (0, 1), (-1, 0.7), (1, -0.7), (0, -1), (-1, 0), (-1, -0.7)),
    *((0.6, 1), (-0.6, 1), (0.6, -1), (-0.6, -1)),
)  # where a number may stand beside its mark, the best first


def draw_residuals(
    panels: Sequence[Mapping[str, Any]],
    *,
    axes: Sequence[Axes] | None = None,
    title: str = "What each model's best fit leaves over",
    scale: float | None = None,
    shot_names: Sequence[str] = (),
) -> list[Artist]:
    """One small disc per model with the measured spots and arrows to the predicted places.

    Parameters
    ----------
    panels : sequence of mappings
        ``model`` (name; chooses the colour), ``title`` (default: the name), ``measured`` and ``predicted``
        (both (n, 2), disc frame, limb radii), and as far as known ``shot`` (n,) index of the shot,
        ``labels`` (n,) numbers of the spots, ``unmatched`` (m, 2) spots without a partner, ``missed``
        (k, 2) places where the model has a spot that was not found, and ``lines``: texts below the disc,
        such as chi-square and verdict.
    axes : sequence of Axes, optional
        One for each panel; a figure is made without them.
    title : str
        Above the panels of a new figure.
    scale : float, optional
        Factor of the arrows; by default one for all panels, chosen for the model that fits worst.
    shot_names : sequence of str
        For the key to the markers.

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.
    """
    if not panels:
        raise InputError("panels", "must hold one or more models")
    data = [_places(panel) for panel in panels]
    factor = _scale([predicted - measured for measured, predicted in data]) if scale is None else scale
    styles = model_styles(list(dict.fromkeys(panel["model"] for panel in panels)))
    with styled():
        made = axes is None
        key = _set_key(residual_key(panels, shot_names, factor))
        chosen = _make_axes(panels, title, len(key)) if axes is None else axes
        if len(chosen) != len(panels):
            raise InputError("axes", f"must be {len(panels)}, one per panel", len(chosen))
        artists: list[Artist] = []
        for ax, panel, (measured, predicted) in zip(chosen, panels, data, strict=True):
            artists += _draw_panel(
                ax, panel, measured, predicted, factor, styles[panel["model"]], _columns(panels)
            )
        if made:
            artists += _draw_key(chosen[0], key)
        return artists


def _places(panel: Mapping[str, Any]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    measured = np.asarray(panel["measured"], float).reshape(-1, 2)
    predicted = np.asarray(panel["predicted"], float).reshape(-1, 2)
    if measured.shape != predicted.shape:
        raise InputError("measured and predicted", "must have one shape", (measured.shape, predicted.shape))
    return measured, predicted


def _scale(residuals: Sequence[npt.NDArray[np.float64]]) -> float:
    """The largest round factor that leaves the worst model's typical arrow below the wanted length."""
    typical = [float(np.sqrt(np.mean(np.sum(r**2, axis=-1)))) for r in residuals if len(r)]
    worst = max(typical, default=0.0)
    if worst == 0:
        return 1.0
    return float(max([s for s in _SCALES if s * worst <= _WANTED], default=1))


def _columns(panels: Sequence[Mapping[str, Any]]) -> int:
    return min(len(panels), 3 if len(panels) in (3, 5, 6) else 4)


def _wrapped(lines: Sequence[str], columns: int) -> list[tuple[str, bool]]:
    """Lines broken to the width of a panel, and whether each belongs to the first text."""
    width = int(94 / columns)
    return [(part, i == 0) for i, line in enumerate(lines) for part in textwrap.wrap(line, width)]


def _make_axes(panels: Sequence[Mapping[str, Any]], title: str, key_lines: int) -> list[Axes]:
    """Axes of a new figure with room for the words above and below every disc."""
    columns = _columns(panels)
    rows = -(-len(panels) // columns)
    lines = max(len(_wrapped(panel.get("lines", ()), columns)) for panel in panels)
    cell, head, foot = 10.5 / columns, 0.5, 0.34 + 0.26 * key_lines
    below = 0.05 + 0.25 * lines
    height = head + rows * (cell + 0.22 + below) + foot
    figure = new_figure(1600, round(1600 * height / 10.5))
    figure.text(0.018, 1 - 0.14 / height, title, fontsize=18, va="top", fontfamily="DejaVu Serif")
    axes = []
    for i in range(len(panels)):
        row, column = divmod(i, columns)
        bottom = height - head - (row + 1) * (cell + 0.22 + below) + below
        axes.append(
            figure.add_axes((column / columns + 0.01, bottom / height, 1 / columns - 0.02, cell / height))
        )
    return axes


def _draw_panel(
    ax: Axes,
    panel: Mapping[str, Any],
    measured: npt.NDArray[np.float64],
    predicted: npt.NDArray[np.float64],
    factor: float,
    style: ModelStyle,
    columns: int,
) -> list[Artist]:
    artists = draw_blank_disc(ax, words=False, margin=0.12)
    shots = np.asarray(panel.get("shot", np.zeros(len(measured))), int)
    tips = measured + factor * (predicted - measured)
    for start, tip in zip(measured, tips, strict=True):
        if np.hypot(*(tip - start)) > 0.012:
            artists.append(
                ax.annotate(
                    "",
                    tip,
                    start,
                    zorder=3,
                    annotation_clip=False,
                    arrowprops={
                        "arrowstyle": "-|>,head_width=0.22,head_length=0.42",
                        "color": style.colour,
                        "lw": 1.6,
                        "shrinkA": 0,
                        "shrinkB": 0,
                    },
                )
            )
    for shot in np.unique(shots):
        these = measured[shots == shot]
        marker = _SHOT_MARKERS[shot % len(_SHOT_MARKERS)]
        artists += ax.plot(these[:, 0], these[:, 1], marker, ms=5.5, mfc=PAPER, mec=INK, mew=1.3, zorder=4)
    taken = [measured, *(measured + share * (tips - measured) for share in np.linspace(0.1, 1, 9))]
    for key, marker in (("unmatched", "x"), ("missed", "+")):
        extra = np.asarray(panel.get(key, np.zeros((0, 2))), float).reshape(-1, 2)
        taken.append(extra)
        if len(extra):
            artists += ax.plot(
                extra[:, 0],
                extra[:, 1],
                marker,
                ms=6.5,
                mec=FAINT if key == "unmatched" else style.colour,
                mew=1.4,
                zorder=3.5,
            )
    words = [str(label) for label in panel.get("labels", ())][: len(measured)]
    for word, place in zip(words, _number_places(ax, measured, np.concatenate(taken), words), strict=True):
        if np.all(np.isfinite(place)):
            look = {"ha": "center", "va": "center", "fontsize": _NUMBER_POINTS, "color": FAINT}
            artists.append(ax.text(place[0], place[1], word, zorder=4.5, **look))
    name = panel.get("title", panel["model"])
    artists.append(
        ax.text(
            0,
            1.1,
            name,
            ha="center",
            va="bottom",
            fontsize=12.5 if columns > 3 or len(name) > 24 else 14,
            fontweight="bold",
            color=style.words,
        )
    )
    for i, (line, is_first) in enumerate(_wrapped(panel.get("lines", ()), columns)):
        artists.append(
            ax.annotate(
                line,
                (0, -1.07),
                (0, -18 * i),
                textcoords="offset points",
                ha="center",
                va="top",
                fontsize=12.5,
                fontweight="bold" if is_first else "normal",
                color=INK,
                annotation_clip=False,
            )
        )
    return artists


def _number_places(
    ax: Axes, places: npt.NDArray[np.float64], taken: npt.NDArray[np.float64], words: Sequence[str]
) -> npt.NDArray[np.float64]:
    """Middles (n, 2) of the numbers beside their marks, nan where one would cover something.

    A number keeps clear of the limb, of what is `taken` (m, 2) by marks and arrows and of other numbers, and stands
    clearly nearer to its own mark than to another.
    """
    box = ax.get_position()
    wide, tall = figure_of(ax).get_size_inches() * 72
    points = min(box.width * wide, box.height * tall) / np.ptp(ax.get_xlim())  # of a disc's radius
    mark = _MARK_POINTS / points
    ways = 1.1 * np.array(_NUMBER_WAYS)
    made = np.full((len(words), 2), np.nan)
    halves = np.array([(0.33 * len(word), 0.4) for word in words]).reshape(-1, 2) * _NUMBER_POINTS / points
    for i, half in enumerate(halves):
        tried = places[i] + (half + mark) * ways
        clear = np.all(np.any(np.abs(tried[:, None] - taken) > half + mark, axis=-1), axis=-1)
        done = made[:i][np.isfinite(made[:i, 0])]
        other = halves[:i][np.isfinite(made[:i, 0])]
        clear &= np.all(np.any(np.abs(tried[:, None] - done) > half + other, axis=-1), axis=-1)
        clear &= np.hypot(*(np.abs(tried) + half).T) < 1
        apart = np.hypot(*(tried[:, None] - places).T)
        others = np.min(np.delete(apart, i, axis=0), axis=0, initial=np.inf)
        clear &= apart[i] + mark < others
        if np.any(clear):
            made[i] = tried[np.argmax(clear)]
    return made


def residual_key(
    panels: Sequence[Mapping[str, Any]], shot_names: Sequence[str] = (), scale: float | None = None
) -> list[str]:
    """What arrows and markers of :func:`draw_residuals` mean, the factor of the arrows first."""
    factor = _scale([predicted - measured for measured, predicted in map(_places, panels)])
    factor = factor if scale is None else scale
    words = [
        f"arrows: from measured to predicted place, drawn {factor:g} times as long"
        if factor != 1
        else "arrows: from measured to predicted place, true length"
    ]
    signs = {"o": "○", "s": "□", "^": "△", "D": "◇", "v": "▽", "P": "+"}
    shots = sorted({int(s) for p in panels for s in np.ravel(p.get("shot", ()))})
    for shot in shots:
        name = shot_names[shot] if shot < len(shot_names) else f"shot {shot + 1}"
        words.append(f"{signs[_SHOT_MARKERS[shot % len(_SHOT_MARKERS)]]} {name}")
    if any(len(np.ravel(p.get("unmatched", ()))) for p in panels):
        words.append("× spot without a partner")
    if any(len(np.ravel(p.get("missed", ()))) for p in panels):
        words.append("+ expected, not found")
    return [*words, "zenith up"]


def _set_key(words: Sequence[str]) -> list[str]:
    """The key in lines, the factor of the arrows on one of its own, no sign parted from its words."""
    lines = [words[0], ""]
    for one in words[1:]:
        if len(lines[-1]) + len(one) > _KEY_LETTERS and lines[-1]:
            lines.append("")
        lines[-1] += ("   " if lines[-1] else "") + one
    return lines


def _draw_key(ax: Axes, lines: Sequence[str]) -> list[Artist]:
    """The key at the foot of the figure."""
    figure = figure_of(ax)
    height = figure.get_size_inches()[1]
    text = "\n".join(lines)
    return [figure.text(0.018, 0.12 / height, text, fontsize=12.5, color=FAINT, va="bottom", linespacing=1.4)]

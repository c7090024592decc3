"""The measured photo with what was measured on it: limb, centre, vertical, spots and their numbers.

Every mark is a light stroke in a dark casing, so that it shows on the disc and on the sky alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import Normal, Stroke

from ..models.errors import InputError
from . import target_lines as lines
from .labels import place_labels
from .shot_places import (
    farthest_vertex_deg,
    field_of,
    limb_points,
    ring_radius,
    spot_place,
    to_photo,
    vertex_of,
)
from .style import INK, figure_of, new_figure, styled, turn_words

_LIMB = "#5FD3E0"
_VERTICAL = "#FFFFFF"
_SPOT = "#FFC94D"
_CASING = "#1B1D21"
_LABEL_PT = 13.0
_PAIR_IN = 4.977  # side of each of two pictures


def draw_overlay(
    image: npt.NDArray[np.uint8],
    shot: Mapping[str, Any] | Any,
    *,
    limb_px: npt.ArrayLike | None = None,
    matches: Mapping[int, str] | None = None,
    target: int | None = None,
    title: str = "",
    notes: Sequence[str] = (),
    crop: bool = True,
    ax: Axes | None = None,
) -> list[Artist]:
    """Draw limb, centre, vertical and numbered spots over a photo.

    Parameters
    ----------
    image : ndarray of uint8, shape (rows, cols) or (rows, cols, 3)
        The photo, upright as it was measured.
    shot : mapping or object
        ``centre_px`` (column, row), ``semi_axes_px`` (across, along the vertical), ``roll_deg`` and
        ``spots``: each with ``id`` and either ``column_px`` and ``row_px`` or ``x`` and ``y`` (disc frame,
        roll and squash undone). Names that are missing or None are left out.
    limb_px : array_like, shape (n, 2), optional
        Columns and rows of points along the fitted limb, in order; without it the ellipse of the axes is
        drawn.
    matches : mapping, optional
        Spot id to what stands beside the number, such as the match's number.
    target : int, optional
        Id of the spot to which a line is drawn from the centre, with its angle from the vertical.
    title, notes : str and sequence of str
        Words above and lines below the picture, when a figure is made.
    crop : bool
        Show the disc with a margin rather than the whole photo.
    ax : Axes, optional

    Returns
    -------
    list of artists; ``artists[0].figure`` is the figure.
    """
    image = np.asarray(image)
    if image.ndim not in (2, 3) or image.size == 0:
        raise InputError("image", "must have the shape (rows, columns) or (rows, columns, 3)", image.shape)
    box = _box(image, shot) if crop else (0, image.shape[0], 0, image.shape[1])
    with styled():
        if ax is None:
            ax = _picture_axes(box, title, notes)
        artists = _draw(ax, image, shot, limb_px, matches or {}, box)
        vertex = vertex_of(shot, target) if field_of(shot, "centre_px") is not None else None
        if vertex is not None:
            artists += _draw_target(ax, shot, vertex, angle=True, short=False)
        return artists


def draw_pair(
    images: Sequence[npt.NDArray[np.uint8]],
    shots: Sequence[Mapping[str, Any] | Any],
    *,
    turn_deg: float | None = None,
    sigma_deg: float | None = None,
    limbs_px: Sequence[npt.ArrayLike | None] = (None, None),
    matches: Sequence[Mapping[int, str]] = ({}, {}),
    captions: Sequence[str] = ("first photo", "second photo"),
    reference_deg: float | None = None,
    targets: tuple[int, int] | None = None,
    target_words: str = "",
    note: str = "",
    title: str = "The same spots, hours apart",
) -> list[Artist]:
    """Two shots side by side with the turn between them drawn and written.

    Parameters are those of :func:`draw_overlay`, in pairs, and

    Parameters
    ----------
    turn_deg, sigma_deg : float, optional
        Turn from the first to the second shot, anticlockwise positive, and its standard deviation.
    reference_deg : float, optional
        Vertex angle in the first shot of the line that shows the turn; by default that of the matched spot
        (or any spot) farthest from the centre.
    targets : (int, int), optional
        Ids of one spot in the two shots. Its own lines, angles from the vertical and turn are then drawn.
    target_words : str
        What is written of that spot's turn, below the pattern's.
    note : str
        Words beside the turn, such as a caveat, or in its place.
    """
    if len(images) != 2 or len(shots) != 2:
        raise InputError("images and shots", "must be two each", (len(images), len(shots)))
    with styled():
        figure, below = _pair_figure(title, turn_deg, sigma_deg, target_words, note)
        ends = [vertex_of(shot, number) for shot, number in zip(shots, targets or (None, None), strict=True)]
        before, now = ends
        if before is None or now is None:
            before = farthest_vertex_deg(shots[0], matches[0]) if reference_deg is None else reference_deg
            now = None if before is None or turn_deg is None else before + turn_deg
        artists: list[Artist] = []
        tall = figure.get_size_inches()[1]
        for i in range(2):
            left = 0.018 + 0.49 * i
            axes = figure.add_axes((left, (below - _PAIR_IN) / tall, 0.474, _PAIR_IN / tall))
            box = _box(np.asarray(images[i]), shots[i])
            artists += _draw(axes, np.asarray(images[i]), shots[i], limbs_px[i], matches[i], box, short=True)
            under = (below - _PAIR_IN - 0.08) / tall
            figure.text(left, under, captions[i], fontsize=13, va="top", color=INK, linespacing=1.3)
            if before is None or now is None:
                continue
            named = ends[0] is not None and ends[1] is not None
            if i == 0:
                artists += _draw_target(axes, shots[0], before, angle=named)
            else:
                own = now - before if not named else math.remainder(now - before, 360)
                artists += _draw_target(axes, shots[1], now, angle=named, before_deg=before, turn_deg=own)
        return artists


def _pair_figure(
    title: str, turn_deg: float | None, sigma_deg: float | None, target_words: str, note: str
) -> tuple[Figure, float]:
    """A figure for two discs with the words above; and where these end, inches from below."""
    error = "" if sigma_deg is None else f", \N{PLUS-MINUS SIGN} {sigma_deg:.1f}\N{DEGREE SIGN}"
    said = "" if turn_deg is None else f"The pattern turned {turn_words(turn_deg)}{error}."
    lines: list[tuple[str, dict[str, Any]]] = [
        (title, {"fontsize": 18, "fontfamily": "DejaVu Serif"}),
        (said, {"fontsize": 15, "fontweight": "bold"}),
        (note, {"fontsize": 13}),
        (target_words, {"fontsize": 13}),
    ]
    lines = [(text, look) for text, look in lines if text]
    tall = 0.2 + sum(look["fontsize"] for _, look in lines) / 48 + _PAIR_IN + 0.62
    figure = new_figure(1800, round(1800 * tall / 10.5))
    below = figure.get_size_inches()[1] - 0.14
    for text, look in lines:
        figure.text(0.018, below / figure.get_size_inches()[1], text, va="top", color=INK, **look)
        below -= look["fontsize"] / 48
    return figure, below - 0.06


def _cased(width: float) -> list[Any]:
    """Path effects: a dark casing around a light stroke."""
    return [Stroke(linewidth=width + 2.2, foreground=_CASING, alpha=0.75), Normal()]


def _box(image: npt.NDArray, shot: Any) -> tuple[int, int, int, int]:
    """Rows and columns to show: the disc and a margin, inside the picture."""
    centre, axes = field_of(shot, "centre_px"), field_of(shot, "semi_axes_px")
    rows, columns = image.shape[:2]
    if centre is None or axes is None:
        return 0, rows, 0, columns
    half = 1.22 * max(axes)
    return (
        max(0, math.floor(centre[1] - half)),
        min(rows, math.ceil(centre[1] + half) + 1),
        max(0, math.floor(centre[0] - half)),
        min(columns, math.ceil(centre[0] + half) + 1),
    )


def _picture_axes(box: tuple[int, int, int, int], title: str, notes: Sequence[str]) -> Axes:
    """Axes for a picture of that shape, with room for words."""
    rows, columns = box[1] - box[0], box[3] - box[2]
    head = 0.66 if title else 0.12
    foot = 0.16 + 0.28 * len(notes)
    width = 10.5
    tall = width * 0.976 * rows / columns
    height = head + foot + tall
    figure = new_figure(1400, round(1400 * height / width))
    ax = figure.add_axes((0.012, foot / height, 0.976, tall / height))
    if title:
        figure.text(0.018, 1 - 0.16 / height, title, fontsize=18, va="top", fontfamily="DejaVu Serif")
    for i, note in enumerate(notes):
        figure.text(0.018, (foot - 0.1 - 0.28 * i) / height, note, fontsize=13, va="top", color=INK)
    return ax


def _draw(
    ax: Axes,
    image: npt.NDArray,
    shot: Any,
    limb_px: npt.ArrayLike | None,
    matches: Mapping[int, str],
    box: tuple[int, int, int, int],
    short: bool = False,
) -> list[Artist]:
    top, bottom, left, right = box
    extent = (left - 0.5, right - 0.5, bottom - 0.5, top - 0.5)
    shown = image[top:bottom, left:right]
    artists: list[Artist] = [
        ax.imshow(
            _reduced(shown),
            extent=extent,
            origin="upper",
            cmap="gray",
            vmin=0,
            vmax=255,
            interpolation="antialiased",
        )
    ]
    ax.set_xlim(extent[0], extent[1])
    ax.set_ylim(extent[2], extent[3])
    ax.set_axis_off()
    centre, axes = field_of(shot, "centre_px"), field_of(shot, "semi_axes_px")
    if centre is None or axes is None:
        words = ax.text(
            0.5,
            0.5,
            "no disc found",
            transform=ax.transAxes,
            ha="center",
            fontsize=18,
            color=_SPOT,
            path_effects=_cased(1),
        )
        return [*artists, words]
    limb = limb_points(shot) if limb_px is None else np.asarray(limb_px, float).reshape(-1, 2)
    closed = np.vstack([limb, limb[:1]])
    artists += ax.plot(closed[:, 0], closed[:, 1], color=_LIMB, lw=1.3, path_effects=_cased(1.3))
    artists += _draw_centre(ax, shot)
    artists += _draw_spots(ax, shot, matches, short)
    return artists


def _reduced(image: npt.NDArray) -> npt.NDArray:
    """Block means of a large picture: 2000 pixels are plenty for a figure."""
    step = max(1, max(image.shape[:2]) // 2000)
    if step == 1:
        return image
    rows, columns = (size // step for size in image.shape[:2])
    trimmed = image[: rows * step, : columns * step]
    return trimmed.reshape(rows, step, columns, step, -1).mean(axis=(1, 3)).squeeze().astype(np.uint8)


def _draw_centre(ax: Axes, shot: Any) -> list[Artist]:
    """Cross at the centre, vertical with its upper end named."""
    centre = to_photo(shot, [0], [0])[0]
    ends = to_photo(shot, [0, 0], [-1.1, 1.1])
    artists: list[Artist] = list(
        ax.plot(ends[:, 0], ends[:, 1], color=_VERTICAL, lw=1.2, dashes=(7, 4), path_effects=_cased(1.0))
    )
    artists += ax.plot(centre[0], centre[1], "+", ms=17, mew=1.8, color=_LIMB, path_effects=_cased(1.8))
    name = to_photo(shot, [0.03], [1.11])[0]
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    if not (left < name[0] < right and top + 0.02 * (bottom - top) < name[1] < bottom):
        name = to_photo(shot, [0.03], [0.95])[0]  # the disc fills the picture
    artists.append(
        ax.text(
            float(name[0]),
            float(name[1]),
            "up",
            fontsize=14,
            color=_VERTICAL,
            va="center",
            ha="left",
            path_effects=_cased(0.8),
        )
    )
    return artists


def _draw_spots(ax: Axes, shot: Any, matches: Mapping[int, str], short: bool) -> list[Artist]:
    """A ring around each spot and its number beside it, with a leader where the number stands off."""
    spots = list(field_of(shot, "spots") or ())
    if not spots:
        return []
    places = np.array([spot_place(shot, spot) for spot in spots])
    scale = max(field_of(shot, "semi_axes_px"))
    radius = np.array([max(ring_radius(spot) * scale, 0.020 * scale) for spot in spots])
    texts = [_number(int(field_of(spot, "id")), matches, short) for spot in spots]
    corners = place_labels(places, radius, _label_sizes(ax, texts), to_photo(shot, [0], [0])[0])
    artists: list[Artist] = []
    circle = np.linspace(0, 2 * np.pi, 61)
    for i, spot in enumerate(spots):
        ring = places[i] + radius[i] * np.stack([np.cos(circle), np.sin(circle)], axis=-1)
        style = "-" if int(field_of(spot, "id")) in matches or not matches else (0, (2, 2))
        artists += ax.plot(ring[:, 0], ring[:, 1], color=_SPOT, lw=1.3, ls=style, path_effects=_cased(1.1))
        if not texts[i]:
            continue
        gap = corners[i] - places[i]
        reach = float(np.hypot(*gap))
        if reach > radius[i] + 0.09 * scale:
            start = places[i] + gap * radius[i] / reach
            artists += ax.plot(
                [start[0], corners[i, 0]],
                [start[1], corners[i, 1]],
                color=_SPOT,
                lw=0.8,
                path_effects=_cased(0.6),
            )
        artists.append(
            ax.text(
                corners[i, 0],
                corners[i, 1],
                texts[i],
                fontsize=_LABEL_PT,
                fontweight="bold",
                color=_SPOT,
                ha="center",
                va="center",
                bbox={"boxstyle": "round,pad=0.18", "facecolor": _CASING, "edgecolor": "none", "alpha": 0.78},
                zorder=6,
            )
        )
    return artists


def _number(number: int, matches: Mapping[int, str], short: bool) -> str:
    """A spot's number, with its match's; when `short` what the match is called, nothing without one."""
    if number not in matches:
        return "" if short and matches else str(number)
    return matches[number] if short else f"{number} ({matches[number]})"


def _label_sizes(ax: Axes, texts: Sequence[str]) -> npt.NDArray[np.float64]:
    """Width and height of the boxed texts in pixels of the photo, (n, 2), by the font's usual widths."""
    width_pt = ax.get_position().width * figure_of(ax).get_size_inches()[0] * 72
    low, high = ax.get_xlim()
    pixels_per_pt = abs(high - low) / width_pt
    wide = np.array([0.68 * len(text.replace(" ", "")) + 0.35 * text.count(" ") + 0.5 for text in texts])
    return _LABEL_PT * pixels_per_pt * np.stack([wide, np.full(len(texts), 1.65)], axis=-1)


def _draw_target(
    ax: Axes,
    shot: Any,
    vertex_deg: float,
    *,
    angle: bool,
    before_deg: float | None = None,
    turn_deg: float = 0.0,
    short: bool = True,
) -> list[Artist]:
    """The line to the target; its angle from the vertical; the line before and the arc from it to now."""
    scale = max(field_of(shot, "semi_axes_px"))
    free = [
        (spot_place(shot, spot), (max(ring_radius(spot), 0.02) + 0.008) * scale)
        for spot in field_of(shot, "spots") or ()
    ]
    spots = [centre for centre, _ in free]
    place = partial(to_photo, shot)
    artists = lines.draw_line(ax, place, vertex_deg, free, colour=_SPOT, effects=_cased(2.0))
    if angle:
        style: dict[str, Any] = {"colour": _VERTICAL, "effects": _cased(1.4), "casing": _CASING}
        artists += lines.draw_vertical_angle(ax, place, vertex_deg, short=short, avoid=spots, **style)
        spots = [*spots, *lines.ends_of(artists[-1])]
    if before_deg is not None:
        artists += lines.draw_before(ax, place, before_deg, colour=_SPOT, effects=_cased(1.4))
        artists += lines.draw_turn_arc(
            ax, place, before_deg, turn_deg, colour=_SPOT, effects=_cased(2.0), casing=_CASING, avoid=spots
        )
    return artists

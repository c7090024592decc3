"""The report's pictures: photos cropped to the disc, what was measured on them, the turn, the curves, the residuals.

Photos are read again and coded anew from their pixels alone, so nothing of EXIF or GPS goes along.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.ticker import MultipleLocator
from PIL import Image

from ...models.errors import PictureError, WhichsunError
from ...render.overlay import draw_overlay, draw_pair
from ...render.residuals import draw_residuals, residual_key
from ...render.spelling import spell_out
from ...render.style import PAPER, styled, turn_words
from ..outing import Shot
from ..photo.load import load_rgb
from .curves import TurnCurves
from .document import Picture

_PANEL_IN, _PANEL_PX = 4.9, 1000  # type of 10.5 points stays legible where a panel fills a phone's width
_NARROW_IN = 5.6
_NARROW_TYPE = 0.87  # of the type of a wide figure
_QUALITY = 88


@dataclass(frozen=True)
class ReadPhoto:
    """A photo of the outing read again: its pixels, or why there are none."""

    shot: Shot
    pixels: npt.NDArray[np.uint8] | None
    problem: str = ""


def read_photo(path: Path, shot: Shot) -> ReadPhoto:
    """Read a photo; what goes wrong becomes words, without the folder's name."""
    try:
        if not path.is_file():
            raise PictureError(shot.file, "is not there")
        pixels = load_rgb(path)
    except WhichsunError as error:
        return ReadPhoto(shot, None, str(error))
    rows, columns = pixels.shape[:2]
    centre = shot.centre_px
    if centre is not None and not (0 <= centre[0] < columns and 0 <= centre[1] < rows):
        return ReadPhoto(shot, None, f"{shot.file}: is no longer the picture that was measured")
    return ReadPhoto(shot, pixels)


def photo_pictures(photo: ReadPhoto, number: int, caption: str) -> list[Picture]:
    """The photo cropped to the disc, and the same with what was measured."""
    assert photo.pixels is not None
    overlay, (left, right, top, bottom) = _overlay(photo.pixels, photo.shot)
    crop = photo.pixels[max(0, top) : bottom, max(0, left) : right]
    image = Image.fromarray(np.ascontiguousarray(crop))
    image.thumbnail((_PANEL_PX, _PANEL_PX))
    spots = len(photo.shot.spots)
    counted = "1 numbered spot" if spots == 1 else f"{spots} numbered spots"
    return [
        coded(
            image,
            "jpeg",
            f"Photo {number}, {photo.shot.file}: the Sun's disc as the camera took it.",
            caption,
        ),
        coded(
            overlay,
            "jpeg",
            f"The same photo with the measured limb, the disc's centre, the vertical and {counted}.",
            "Measured: limb (blue), centre, vertical (dashed) and numbered spots (yellow).",
        ),
    ]


def _overlay(pixels: npt.NDArray[np.uint8], shot: Shot) -> tuple[Image.Image, tuple[int, int, int, int]]:
    """The overlay without words, and the columns and rows that it shows."""
    with styled():
        figure, ax = _figure(_PANEL_IN, _PANEL_IN)
        draw_overlay(pixels, shot, ax=ax)
        (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
        figure.set_size_inches(_PANEL_IN, _PANEL_IN * abs(bottom - top) / abs(right - left))
    box = tuple(round(edge + 0.5) for edge in (left, right, min(top, bottom), max(top, bottom)))
    return _image(figure), box  # pyright: ignore[reportReturnType]


def turn_pictures(
    photos: Sequence[ReadPhoto],
    matches: Sequence[Mapping[int, str]],
    turn_deg: float | None,
    sigma_deg: float | None,
) -> list[Picture]:
    """The first and the last photo, matched spots under one number, and the turn drawn from one to the other."""
    pixels = [photo.pixels for photo in photos]
    if any(one is None for one in pixels):
        return []
    # Words around the discs stand in the page's own text; only the panels are kept.
    artists: Any = draw_pair(
        pixels,  # pyright: ignore[reportArgumentType]
        [photo.shot for photo in photos],
        turn_deg=turn_deg,
        sigma_deg=sigma_deg,
        matches=matches,
        captions=("", ""),
        title="",
    )
    figure = artists[0].figure
    whole = _image(figure, _PANEL_PX / (figure.axes[0].get_position().width * figure.get_size_inches()[0]))
    turned = "" if turn_deg is None else f", and the turn of {turn_words(turn_deg)} drawn"
    words = (
        (
            "The first photo",
            "first photo",
            ": matched spots numbered, a line from the centre to one of them.",
        ),
        ("The last photo", "last photo", f": the same spots under the same numbers{turned}."),
    )
    pictures = []
    for axes, photo, (start, name, rest) in zip(figure.axes, photos, words, strict=True):
        box = axes.get_position()
        wide, tall = whole.size
        edges = (box.x0 * wide, (1 - box.y1) * tall, box.x1 * wide, (1 - box.y0) * tall)
        panel = whole.crop(tuple(round(edge) for edge in edges))  # pyright: ignore[reportArgumentType]
        pictures.append(coded(panel, "jpeg", start + rest, f"{photo.shot.file}, the {name}"))
    return pictures


def curve_pictures(curves: TurnCurves) -> list[Picture]:
    """The curves, wide and for a narrow screen."""
    wide = Image.open(io.BytesIO(curves.png()))
    with styled():
        figure, _ = _figure(_NARROW_IN, 7.0)
        figure.clear()
        grid = figure.add_gridspec(
            2, 1, height_ratios=(3.2, 1), left=0.2, right=0.71, top=0.945, bottom=0.08, hspace=0.1
        )
        above = figure.add_subplot(grid[0])
        below = figure.add_subplot(grid[1], sharex=above)
        small = curves.draw(above, below)
        for ax in (above, below):
            ax.xaxis.set_major_locator(MultipleLocator(30))
            for text in ax.findobj(Text):
                text.set_fontsize(_NARROW_TYPE * float(text.get_fontsize()))
    names = ", ".join(curves.rows)
    alt = f"Turn of the spot pattern against the latitude of the site, one curve for each of {names}"
    alt += "." if curves.point is None else ", and the measured turn at the site."
    caption = f"{curves.subtitle}. Models at their default values. {_sentences(small)}"
    narrow = coded(_image(figure), "png", alt)
    return [coded(wide, "png", alt, caption, narrow)]


def _sentences(words: Sequence[str]) -> str:
    """Small words of a figure as sentences."""
    return " ".join(f"{one[:1].upper()}{one[1:]}." for one in words)


def residual_pictures(panels: Sequence[Mapping[str, Any]], names: Sequence[str]) -> tuple[list[Picture], str]:
    """One disc per model with what its best fit leaves over; and the key to arrows and markers."""
    if not panels:
        return [], ""
    figures, axes = [], []
    with styled():
        lines = max(sum(1 + len(line) // 28 for line in panel.get("lines", ())) for panel in panels)
        height = _PANEL_IN + 0.38 + 0.25 * lines
        for _ in panels:
            figure, ax = _figure(_PANEL_IN, height)
            ax.set_position((0.02, (height - _PANEL_IN - 0.12) / height, 0.96, _PANEL_IN / height))
            figures.append(figure)
            axes.append(ax)
        draw_residuals(panels, axes=axes)
    pictures = []
    for panel, figure in zip(panels, figures, strict=True):
        alt = (
            f"Disc with the measured spots and, under {panel['title']}, arrows to where it puts them: "
            + "; ".join(panel.get("lines", ()))
            + "."
        )
        pictures.append(coded(_image(figure), "png", alt))
    key = residual_key(panels, names)
    return pictures, "; ".join([key[0].capitalize(), *key[1:]]) + "."


def _figure(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """A figure smaller than the house's usual ones, filled by its axes: its type is larger on a screen."""
    figure = Figure(figsize=(width_in, height_in), facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure, figure.add_axes((0, 0, 1, 1))


def _image(figure: Figure, dpi: float | None = None) -> Image.Image:
    """The pixels of a figure."""
    figure.set_dpi(dpi or _PANEL_PX / figure.get_size_inches()[0])
    canvas = FigureCanvasAgg(figure)
    with styled():
        spell_out(figure)
        canvas.draw()
    return Image.fromarray(np.asarray(canvas.buffer_rgba())[..., :3].copy())


def coded(
    image: Image.Image, kind: str, alt: str, caption: str = "", narrow: Picture | None = None
) -> Picture:
    """The pixels alone as a file: a fresh picture takes no metadata along."""
    fresh = Image.fromarray(np.asarray(image.convert("RGB")))
    buffer = io.BytesIO()
    if kind == "jpeg":
        fresh.save(buffer, "JPEG", quality=_QUALITY, optimize=True)
    else:
        fresh.quantize(256, dither=Image.Dither.NONE).save(buffer, "PNG", optimize=True)
    return Picture(buffer.getvalue(), kind, fresh.size, alt, caption, narrow)

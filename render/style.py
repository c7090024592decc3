"""The look shared by all figures: paper, ink, type, and one small palette for the models.

The models' colours keep apart for the common kinds of colour blindness and in grey; line style and marker
say the same once more. Text grows with the picture, so it stays legible on a projector and in print.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from ..models.errors import InputError
from .spelling import spell_out

PAPER = "#FCFBF7"
INK = "#22252A"
FAINT = "#6A6E75"
RULE = "#D9D6CC"
MEASURED = "#22252A"

_WIDTH_IN = 10.5  # every figure is this wide; the pixels asked for set the resolution


@dataclass(frozen=True)
class ModelStyle:
    """How one model is drawn everywhere: colour (hex), matplotlib line style and marker.

    `dark` stands in for a colour that is too pale for words.
    """

    colour: str
    line: Any
    marker: str
    dark: str = ""

    @property
    def words(self) -> str:
        """Colour of words, such as the model's name: at least 4.5 to 1 on paper and white (WCAG 2.1, AA)."""
        return self.dark or self.colour


_STYLES = {
    "distant-sphere": ModelStyle("#12345C", "-", "o"),
    "nearby-plane": ModelStyle("#A03015", (0, (6, 2)), "s"),
    "nearby-sphere": ModelStyle("#1F7F88", (0, (5, 1.6, 1, 1.6)), "^"),
    "distant-plane": ModelStyle("#B28C36", (0, (1.2, 1.4)), "D", "#86691F"),
}
_OTHERS = (
    ModelStyle("#8A62B0", (0, (9, 2, 2, 2)), "v"),
    ModelStyle("#4F4F55", (0, (3, 3)), "P"),
    ModelStyle("#8A62B0", (0, (2, 3)), "X"),
    ModelStyle("#4F4F55", (0, (8, 2, 1, 2, 1, 2)), "*"),
)

#: Colour (hex), line style and marker of the built-in models.
MODEL_COLOURS = {name: style.colour for name, style in _STYLES.items()}
MODEL_LINES = {name: style.line for name, style in _STYLES.items()}
MODEL_MARKERS = {name: style.marker for name, style in _STYLES.items()}

_RC: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 10.5,
    "axes.titlesize": 13,
    "axes.labelsize": 11.5,
    "xtick.labelsize": 10.5,
    "ytick.labelsize": 10.5,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.edgecolor": FAINT,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.facecolor": PAPER,
    "figure.facecolor": PAPER,
    "savefig.facecolor": PAPER,
    "axes.linewidth": 0.8,
    "grid.color": RULE,
    "grid.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "text.usetex": False,
}


_LARGE: dict[str, Any] = {"axes.labelsize": 13, "xtick.labelsize": 12.5, "ytick.labelsize": 12.5}


def styled(*, large: bool = False) -> Any:
    """Context in which figures and axes are made; leaves matplotlib's own settings as they were.

    `large`: larger type along the axes, for figures that are shown to many.
    """
    settings = {**_RC, **_LARGE} if large else _RC
    return matplotlib.rc_context(settings)  # pyright: ignore[reportArgumentType]


def model_styles(names: list[str] | tuple[str, ...]) -> dict[str, ModelStyle]:
    """Style of each name; built-in models keep theirs, others get spare ones in the order given."""
    others = [name for name in names if name not in _STYLES]
    spare = {name: _OTHERS[i % len(_OTHERS)] for i, name in enumerate(others)}
    return {name: _STYLES.get(name) or spare[name] for name in names}


def new_figure(width_px: int = 1600, height_px: int = 1000) -> Figure:
    """An empty figure of that shape on our paper, with an Agg canvas, outside pyplot."""
    _check_size(width_px, height_px)
    with styled():
        figure = Figure(figsize=(_WIDTH_IN, _WIDTH_IN * height_px / width_px), dpi=width_px / _WIDTH_IN)
    FigureCanvasAgg(figure)
    return figure


def figure_of(ax: Axes) -> Figure:
    """The figure at the top that holds `ax`."""
    figure = ax.get_figure(root=True)
    if figure is None:
        raise InputError("ax", "must belong to a figure")
    return figure


def save_png(
    figure: Figure, width_px: int = 1600, height_px: int | None = None, path: str | Path | None = None
) -> bytes:
    """The figure as PNG of exactly `width_px` by `height_px`, also written to `path` when given.

    Without `height_px` the figure keeps its own shape, which the drawing functions choose to fit.

    The figure keeps its width in inches, so text and lines scale with the picture.

    Raises
    ------
    InputError
        A size is outside 64 to 16384 pixels.
    """
    if height_px is None:
        wide, tall = figure.get_size_inches()
        height_px = round(width_px * tall / wide)
    _check_size(width_px, height_px)
    resolution = width_px / _WIDTH_IN
    # A thousandth of a pixel more: the canvas cuts off the fraction.
    figure.set_size_inches((width_px + 1e-3) / resolution, (height_px + 1e-3) / resolution)
    figure.set_dpi(resolution)
    buffer = io.BytesIO()
    canvas = FigureCanvasAgg(figure)
    with styled():
        spell_out(figure)
        canvas.print_figure(buffer, format="png", dpi=resolution, metadata={"Software": None})
    data = buffer.getvalue()
    if path is not None:
        Path(path).write_bytes(data)
    return data


def quiet_axes(ax: Axes) -> None:
    """Paper, thin rules behind the data, no box."""
    ax.set_facecolor(PAPER)
    ax.grid(True, color=RULE, linewidth=0.8)
    ax.set_axisbelow(True)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(FAINT)


def turn_words(turn_deg: float) -> str:
    """A turn for reading: ``61.4 deg clockwise`` with the degree sign; anticlockwise is positive."""
    sense = "clockwise" if turn_deg < 0 else "anticlockwise"
    return f"{abs(turn_deg):.1f}\N{DEGREE SIGN} {sense}"


def _check_size(width_px: int, height_px: int) -> None:
    for name, value in (("width_px", width_px), ("height_px", height_px)):
        if not (isinstance(value, int) and 64 <= value <= 16384):
            raise InputError(name, "must be a whole number between 64 and 16384", value)

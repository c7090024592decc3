"""An empty disc to draw on: limb, faint rings and the vertical; zenith at the top, as the observer sees it."""

from __future__ import annotations

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from .style import FAINT, INK, RULE

_FACE = "#FFFFFF"


def draw_blank_disc(ax: Axes, *, words: bool = True, margin: float = 0.16) -> list[Artist]:
    """Limb of radius 1, rings at thirds of the area, vertical and horizontal, and the way up in words.

    Returns the artists. The axes get equal scales and no frame.
    """
    artists: list[Artist] = [ax.add_patch(Circle((0, 0), 1, facecolor=_FACE, edgecolor="none", zorder=0))]
    for share in (1 / 3, 2 / 3):
        ring = Circle((0, 0), float(np.sqrt(share)), facecolor="none", edgecolor=RULE, lw=0.8, zorder=0.5)
        artists.append(ax.add_patch(ring))
    artists += ax.plot([0, 0], [-1, 1], color=RULE, lw=0.9, zorder=0.6)
    artists += ax.plot([-1, 1], [0, 0], color=RULE, lw=0.9, zorder=0.6)
    artists.append(ax.add_patch(Circle((0, 0), 1, facecolor="none", edgecolor=INK, lw=1.6, zorder=1)))
    artists += ax.plot([0, 0], [1.0, 1.06], color=INK, lw=1.4, zorder=1)
    if words:
        artists.append(ax.text(0, 1.075, "zenith", ha="center", va="bottom", fontsize=9, color=FAINT))
    ax.set_aspect("equal")
    ax.set_xlim(-1 - margin, 1 + margin)
    ax.set_ylim(-1 - margin, 1 + margin)
    ax.set_axis_off()
    return artists

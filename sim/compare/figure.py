"""The figure of a score: what each model's best fit leaves over."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ...render.residuals import draw_residuals
from ...render.style import save_png
from .scores import Scores

_WIDTH_PX = 1500


def residuals_png(scores: Scores) -> bytes:
    """PNG with a disc for every model that has a best fit."""
    names = [Path(shot.file).name for shot in scores.outing.shots]
    artists: Any = draw_residuals(scores.panels(), shot_names=names)
    return save_png(artists[0].figure, _WIDTH_PX)

"""The figures of a score: what each model's best fit leaves over, and where the photos may have been taken."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ...render.residuals import draw_residuals
from ...render.site_band import draw_site_band
from ...render.style import save_png
from ..telling import nobody_took
from .scores import Scores
from .site_band import SiteBand

_WIDTH_PX = 1500


def residuals_png(scores: Scores) -> bytes:
    """PNG with a disc for every model that has a best fit."""
    names = [Path(shot.file).name for shot in scores.outing.shots]
    drawn = " (invented photos)" if nobody_took(scores.outing.shots) else ""
    title = f"What each model's best fit leaves over{drawn}"
    artists: Any = draw_residuals(scores.panels(), shot_names=names, title=title)
    return save_png(artists[0].figure, _WIDTH_PX)


def site_png(band: SiteBand) -> bytes:
    """PNG of the map with the probability band of the site."""
    artists: Any = draw_site_band(vars(band))
    return save_png(artists[0].figure, _WIDTH_PX)

"""Earth and Sun in space at the times of the photos, under the geometries that the verdict is about."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from PIL import Image

from ...models.errors import WhichsunError
from ...models.place import Instants, Site, datetime_of
from ...render.scene_figure import draw_scenes
from ...render.style import save_png
from ..compare.scores import Scores
from ..rotation import rotation_law
from ..scene import MOST_MOMENTS, scene_panels
from .curves import held_values, rounded
from .document import Picture
from .pictures import coded

_WIDE_PX, _TALL_PX = 1600, 1000
_SCENES = 2


def space_pictures(scores: Scores, step_deg: float | None) -> tuple[list[Picture], str]:
    """One picture, and for a narrow screen the same one below the other; or why there is none.

    Parameters
    ----------
    scores : Scores
    step_deg : float, optional
        To which the site is rounded.
    """
    shots = scores.outing.shots
    names = [name for name in (scores.verdict.model, scores.verdict.second) if name]
    ranked = sorted(scores.models, key=lambda score: -score.ln_evidence)
    names += [score.model for score in ranked if score.model not in names and len(names) < _SCENES]
    if len(shots) < 2 or not names:
        return [], ""
    chosen = sorted({int(k) for k in np.round(np.linspace(0, len(shots) - 1, min(len(shots), MOST_MOMENTS)))})
    instants = Instants.from_utc([shots[k].time_utc or "" for k in chosen])
    words = [datetime_of(float(days)).strftime("%H:%M UTC") for days in instants.utc_days]
    site = scores.data.site
    place = Site(*(rounded(float(x), step_deg) for x in (site.latitude_deg, site.longitude_deg)))
    models = [(score.geometry, held_values(score.geometry, scores)) for score in scores.models]
    try:
        panels, _ = scene_panels(
            [(model, given) for name in names for model, given in models if model.name == name],
            instants,
            words,
            place,
            law=rotation_law(scores.options.law),
        )
        figures: list[Any] = [
            draw_scenes(panels, "", "", width_px=width, tall=tall)
            for width, tall in ((_WIDE_PX, False), (_TALL_PX, True))
        ]
    except WhichsunError as error:
        return [], f"No scenes in space: {error}."
    wide, tall = (
        Image.open(io.BytesIO(save_png(figure, width)))
        for figure, width in zip(figures, (_WIDE_PX, _TALL_PX), strict=True)
    )
    alt = f"Earth and Sun in space at the times of the photos, under {' and under '.join(names)}. "
    alt += " ".join(panel.summary for panel in panels)
    caption = (
        "The same moments under each geometry at its default values; below each, the disc as a level camera takes it. "
        "The three spots are examples, at the same places on the first disc of each."
    )
    return [coded(wide, "png", alt, caption, coded(tall, "png", alt))], ""

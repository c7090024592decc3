"""Scenes as one HTML file that can be turned by hand; it holds all it needs and asks the network for nothing."""

from __future__ import annotations

import base64
import html
import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..models.errors import InputError
from .scene import Panel, Scene, screen_axes
from .scene_figure import draw_camera_disc
from .scene_viewer import SCRIPT, STYLE
from .style import FAINT, INK, PAPER, RULE, figure_of, model_styles, save_png

_POLICY = "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data:"
_BUTTONS = (
    ("ArrowLeft", "\N{LEFTWARDS ARROW}", "turn left"),
    ("ArrowRight", "\N{RIGHTWARDS ARROW}", "turn right"),
    ("ArrowUp", "\N{UPWARDS ARROW}", "tilt up"),
    ("ArrowDown", "\N{DOWNWARDS ARROW}", "tilt down"),
    ("+", "+", "nearer"),
    ("-", "\N{MINUS SIGN}", "farther"),
    ("start", "start view", "back to the first view"),
)


def scene_page(panels: Sequence[Panel], title: str, subtitle: str) -> str:
    """The page's text; every word that came from outside is escaped.

    Raises
    ------
    InputError
        There is no panel.
    """
    if not panels:
        raise InputError("panels", "must hold a scene")
    style = STYLE
    for name, colour in (("PAPER", PAPER), ("INK", INK), ("FAINT", FAINT), ("RULE", RULE)):
        style = style.replace(name, colour)
    # A "<" in a name must not end the element that holds the data.
    data = json.dumps([_viewer_data(panel.scene) for panel in panels], separators=(",", ":"), allow_nan=False)
    data = data.replace("<", "\\u003c")
    sections = "\n".join(_section(panel) for panel in panels)
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{_POLICY}">
<link rel="icon" href="data:,">
<title>{html.escape(title)}</title>
<style>{style}</style>
</head>
<body>
<h1>{html.escape(title)}</h1>
<p class="faint">{html.escape(subtitle)}</p>
<p class="faint hint">Drag to turn a scene, use the wheel or two fingers to come nearer, or use the buttons.</p>
<main>
{sections}
</main>
<script type="application/json" id="scenes">{data}</script>
<script>{SCRIPT}</script>
</body>
</html>
"""


def _section(panel: Panel) -> str:
    scene = panel.scene
    style = model_styles([scene.model])[scene.model]
    buttons = "".join(
        f'<button type="button" data-key="{key}" aria-label="{words}">{sign}</button>'
        for key, sign, words in _BUTTONS
    )
    discs = "\n".join(
        f'<figure><img src="{_disc(panel, i, style.colour)}" width="360" height="360" alt="{_told(panel, i)}">'
        f"<figcaption><b>{html.escape(panel.words[i])}</b><br>{_pieces(panel.below[i])}</figcaption></figure>"
        for i in range(len(panel.words))
    )
    notes = html.escape(" ".join(scene.notes))
    shape = scene.viewpoint.half_height / scene.viewpoint.half_width
    return f"""<section>
<h2 style="color: {style.words}">{html.escape(scene.model)}</h2>
<p>{html.escape(scene.title)}</p>
<div class="space" style="--shape: {shape:.3f}"><canvas tabindex="0" role="img" \
aria-label="{html.escape(scene.title)}, to be turned with the arrow keys"></canvas></div>
<p class="missing" hidden>This browser offers no WebGL 2, so the scene cannot be turned here; \
the pictures below hold all the same.</p>
<div class="buttons">{buttons}</div>
<p>{html.escape(panel.summary)}</p>
<div class="discs">
{discs}
</div>
<p class="faint">{notes}</p>
</section>"""


def _pieces(text: str) -> str:
    """A text that breaks at its commas only."""
    return ", ".join(f'<span class="piece">{html.escape(piece)}</span>' for piece in text.split(", "))


def _told(panel: Panel, index: int) -> str:
    return html.escape(
        f"The Sun's disc under {panel.scene.model} at {panel.words[index]}, zenith above; {panel.below[index]}"
    )


def _disc(panel: Panel, index: int, colour: str) -> str:
    artists = draw_camera_disc(panel.views[index], panel.spots[index], colour=colour, weight=3.5)
    figure = figure_of(artists[0].axes)  # type: ignore[arg-type]
    return "data:image/png;base64," + base64.b64encode(save_png(figure, 360)).decode()


def _viewer_data(scene: Scene) -> dict[str, Any]:
    """What the script reads; places are 16-bit steps of `unit`, which is finer than a pixel on any screen."""
    points = np.concatenate([surface.points for surface in scene.surfaces])
    unit = float(np.abs(points).max()) / 32767
    parts, triangles, vertices, first = [], [], 0, 0
    for surface in scene.surfaces:
        indices = surface.triangles.ravel() + vertices
        rgb = [int(surface.colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        parts.append(
            {
                "colour": [*(round(value, 4) for value in rgb), surface.opacity],
                "shaded": surface.shaded,
                "first": first,
                "count": len(indices),
            }
        )
        triangles.append(indices)
        vertices += len(surface.points)
        first += len(indices)
    _, _, eye = screen_axes(scene.viewpoint)
    return {
        "places": _base64(np.round(points / unit).astype("<i2")),
        "triangles": _base64(np.concatenate(triangles).astype("<u4")),
        "parts": parts,
        "labels": [
            {"text": one.text, "place": [float(v) for v in one.place], "strong": one.strong}
            for one in scene.labels
        ],
        "unit": unit,
        "turn": float(np.arctan2(eye[1], eye[0])),
        "tilt": float(np.arcsin(eye[2])),
        "focus": [float(value) for value in scene.viewpoint.focus],
        "half_height": scene.viewpoint.half_height,
        "half_width": scene.viewpoint.half_width,
        "paper": [int(PAPER[i : i + 2], 16) / 255 for i in (1, 3, 5)],
    }


def _base64(values: np.ndarray) -> str:
    return base64.b64encode(values.tobytes()).decode()

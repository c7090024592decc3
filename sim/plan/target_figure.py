"""The disc at both shots with its regions, a row of discs per model, from the JSON of a plan."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from matplotlib.figure import Figure

from ...models.errors import InputError
from ...render.region_discs import draw_region_discs
from .record import to_minute

_SHORT = 10_000  # regions are called by their last four digits


def target_figure(result: Mapping[str, Any]) -> Figure:
    """The first day of the plan that has regions.

    Parameters
    ----------
    result : mapping
        JSON of a plan with ``targets`` and ``regions``.

    Raises
    ------
    InputError
        No day has regions to draw.
    """
    dates = [row["date"] for row in result["targets"]]
    if not dates:
        raise InputError("regions", "must list spots for a day with both windows to be drawn")
    rows = [row for row in result["targets"] if row["date"] == dates[0]]
    day = next(day for day in result["days"] if day["date"] == dates[0])
    source = next(one for one in result["regions"] if one["date"] == dates[0])
    windows = {window["name"]: window for window in day["windows"]}
    panels = [
        {
            "model": model,
            "words": _words(rows, model),
            "shots": [
                _shot(rows, model, shot, windows[name]) for shot, name in enumerate(("morning", "evening"))
            ],
        }
        for model in result["models"]
    ]
    site = result["site"]
    artists = draw_region_discs(
        panels,
        title=f"Sunspot regions on the disc, {dates[0]}, latitude {site['latitude_deg']:.1f}\N{DEGREE SIGN}",
        subtitle=f"Calculated from {source['file']} (places of {source['valid_utc'][:16].replace('T', ' ')} UTC, "
        f"{source['days_ahead']:.1f} days before the first photo).\n"
        "As a level camera sees it; shaded: where a region may be (68 %).",
        note="Numbers: region (last four digits), in brackets its rank as a target. Bold: likely to be found in both "
        "photos.\nEach is drawn as one round spot of its area. All models start from the same morning picture (dotted: "
        "from there).\nThe rings part the disc into thirds of its area. The squash by the air is left out.",
    )
    figure = artists[0].get_figure(root=True)
    assert figure is not None  # the artists were just drawn on one
    return figure


def _words(rows: list[dict[str, Any]], model: str) -> str:
    usable = [row for row in rows if model in row["usable_under"]]
    if all(row["models"][model]["shots"][1]["visible"] is None for row in rows):
        return "does not say which face the Sun shows in the evening"
    return f"{len(usable)} of {len(rows)} regions likely to be found in both photos"


def _shot(rows: list[dict[str, Any]], model: str, shot: int, window: Mapping[str, Any]) -> dict[str, Any]:
    regions, hidden = [], []
    for row in rows:
        place, before = row["models"][model]["shots"][shot], row["models"][model]["shots"][0]
        if not place["visible"]:
            hidden.append(f"{row['number'] % _SHORT:04d}")
            continue
        regions.append(
            {
                "label": f"{row['number'] % _SHORT:04d} ({row['rank']})",
                "x": place["x"],
                "y": place["y"],
                "covariance": place["covariance"],
                "area_msh": row["area_msh"],
                "usable": model in row["usable_under"],
                "from": (before["x"], before["y"]) if shot else None,
            }
        )
    high = window["apparent_altitude_middle_deg"]
    clock = to_minute(window["middle_local"])
    return {
        "title": f"{window['name']}, {clock:%H:%M}",
        "regions": regions,
        "horizon": f"level horizon, {high:.1f}\N{DEGREE SIGN} below" if math.isfinite(high) else "level",
        "words": f"not in sight: {', '.join(hidden)}" if hidden else "",
    }

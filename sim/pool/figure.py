"""The figure of a pool: one panel for every model that contests."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...models.place import datetime_of
from ...render.pooled import MANY, draw_pool
from ...render.style import save_png
from ..compare.verdict import headline
from ..rotation import rotation_law
from ..sweeping import sweep, sweep_times
from ..telling import day_words, number_words, parameter_name
from .scoring import Entry, PoolScores

_WIDTH_PX = 1600
_LATITUDES = np.arange(-86.0, 87.0, 2.0)


def pool_png(scores: PoolScores, submissions: list[dict[str, Any]], title: str = "") -> bytes:
    """PNG of everyone's angles on the curve of every contesting model; `submissions` as in the result.

    `title` stands in the place of the usual one.
    """
    rows = scores.rows
    date = datetime_of(float(np.median(rows.from_day + rows.days / 2))).date()
    hours = float(np.clip(np.median(rows.days) * 12, 0.1, 12.0))
    times = sweep_times(date, _LATITUDES.tolist(), event="hours", hours=hours)
    suspect = np.array(
        [any(f["kind"] != "duplicate" for f in one["flags"]) for one in submissions[: len(rows)]]
    )
    panels = []
    for score in headline(scores.models, scores.added):
        leader = scores.leader(score.model)
        if leader.evidence is None:
            continue
        best = leader.evidence.middle
        free = {name: float(value[0]) for name, value in leader.worker.values(best[None, :-2]).items()}
        given = {**leader.worker.held, **free}
        off = np.deg2rad(rows.turn_deg) - scores.details[score.model][:, 6] - best[-2]
        panels.append(
            {
                "model": score.model,
                "rows": sweep(leader.worker.geometry, times, given, law=rotation_law(leader.worker.law)),
                "words": _words(leader, free),
                "latitude_deg": rows.latitude_deg,
                "residual_deg": np.rad2deg((off + np.pi) % (2 * np.pi) - np.pi),
                "suspect": suspect,
                "averaged": rows.averaged,
            }
        )
    subtitle = (
        f"{len(rows):,} angles. Curves: how far spots spread evenly turn, {hours:.1f} h before to {hours:.1f} h after "
        f"noon of {day_words(date)}. "
        "A point stands as far off the curve as its turn is off the model's, the common offset taken off. "
    )
    mistakes = f"looks like a mistake under the leading model ({int(suspect.sum()):,})."
    if len(rows) > MANY:
        subtitle += f"The darker, the more angles lie there, by the logarithm; violet: {mistakes}"
    else:
        subtitle += f"×: {mistakes} Hollow: nobody told where the spots stood."
    artists: Any = draw_pool(
        panels, title=title or "Everyone's turn on every model's curve", subtitle=subtitle
    )
    return save_png(artists[0].figure, _WIDTH_PX)


def _words(leader: Entry, free: dict[str, float]) -> str:
    assert leader.evidence is not None
    parts = [leader.worker.variant.name] if leader.worker.variant.name else []
    units = {parameter.name: parameter.unit for parameter in leader.worker.geometry.parameters}
    for name, value in free.items():
        number = number_words(value).replace("-", "\N{MINUS SIGN}")
        parts.append(f"{parameter_name(name, units[name])} {number} {units[name]}".strip())
    best = leader.evidence.middle
    parts.append(f"scatter {np.rad2deg(np.exp(best[-1])):.1f}°, common offset {np.rad2deg(best[-2]):+.1f}°")
    return f"{leader.geometry.name}: " + ", ".join(parts)

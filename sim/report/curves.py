"""Turn against latitude between the very times of an outing's first and last photo, with the measured turn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.text import Annotation

from ...models.geometry import GeometryModel, view_of
from ...models.observables import unproject
from ...models.place import Instants, Site
from ...render.curves import draw_sweep
from ...render.style import save_png
from ..compare.scores import Scores
from ..rotation import rotation_law
from ..sweeping import SweepTimes, sweep
from ..telling import longitude_words, moment_words, nobody_took
from ..turns import pattern_turn

_LATITUDES_DEG = np.arange(-66.0, 67.0, 2.0)


@dataclass(frozen=True)
class TurnCurves:
    """What ``render.curves.draw_sweep`` draws: rows of each model, the measurement, a line of words."""

    rows: dict[str, list[dict[str, Any]]]
    point: dict[str, Any] | None
    subtitle: str

    def png(self) -> bytes:
        """The figure with both panels, 1200 pixels wide."""
        artists: Any = draw_sweep(self.rows, self.point, subtitle=self.subtitle)
        return save_png(artists[0].get_figure(root=True), 1200, 900)

    def draw(self, ax: Axes, below: Axes) -> list[str]:
        """The same on axes too narrow for the small words above them; returns those words."""
        artists = draw_sweep(self.rows, self.point, ax=ax, visible_ax=below)
        small = [
            one for one in artists if isinstance(one, Annotation) and one.get_horizontalalignment() == "right"
        ]
        for one in small:
            one.remove()
        return [one.get_text() for one in small]


def turn_curves(scores: Scores, *, step_deg: float | None = None) -> TurnCurves | None:
    """The curves of every model of a score, free parameters at their defaults; None without two photos.

    Parameters
    ----------
    scores : Scores
    step_deg : float, optional
        To which the site is rounded in the figure; the turns are those of the very site all the same.
    """
    shots = scores.outing.shots
    if len(shots) < 2:
        return None
    site = scores.data.site
    latitude, longitude = (rounded(float(x), step_deg) for x in (site.latitude_deg, site.longitude_deg))
    ends = Instants.from_utc([shots[i].time_utc or "" for i in (0, -1)])
    places = Site(_LATITUDES_DEG, longitude, 0.0 if step_deg else float(site.height_m))
    pair = ends[np.broadcast_to([0, 1], (len(_LATITUDES_DEG), 2))]
    times = SweepTimes(places, pair, np.ones(len(_LATITUDES_DEG), dtype=bool))
    law = rotation_law(scores.options.law)
    rows = {
        score.model: sweep(score.geometry, times, held_values(score.geometry, scores), law=law)
        for score in scores.models
    }
    point = None
    if scores.turn.turn_deg is not None:
        point = {
            "latitude_deg": latitude,
            "turn_deg": scores.turn.turn_deg,
            "sigma_deg": scores.turn.sigma_deg or 0.0,
            "expected": _expected_turns(scores, ends),
        }
    first, last = (moment_words(f"{text[:16]}Z").removesuffix(" UTC") for text in ends.iso())
    day, clock = last.split(", ")
    drawn = "; invented photos" if nobody_took(shots) else ""
    until = clock if first.startswith(day) else last
    return TurnCurves(rows, point, f"{first} to {until} UTC, {longitude_words(longitude)}{drawn}")


def held_values(model: GeometryModel, scores: Scores) -> dict[str, Any]:
    """The values that the person holds, of those that the model has."""
    names = {parameter.name for parameter in model.parameters}
    return {name: value for name, value in scores.options.given.items() if name in names}


def _expected_turns(scores: Scores, ends: Instants) -> dict[str, float]:
    """For each model the turn (degrees) of the very spots whose turn was measured."""
    if not scores.turn.used:
        return {}
    x, y = np.array(scores.turn.used).T
    days = float(ends.utc_days[1] - ends.utc_days[0])
    turns = {}
    for score in scores.models:
        view = view_of(score.geometry, ends, scores.data.site, held_values(score.geometry, scores))
        law = rotation_law(scores.options.law)
        turn = pattern_turn(view[0], view[1], days, law, unproject(view[0], x, y)).turn
        turns[score.model] = float(np.rad2deg(turn))
    return turns


def rounded(value: float, step: float | None) -> float:
    """The nearest multiple of `step`; the very value without one."""
    return value if step is None else round(round(value / step) * step, 9)

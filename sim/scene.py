"""The same moments in space under one model or several: scenes whose every number is a model's own."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from ..models.errors import InputError
from ..models.geometry import Array, GeometryModel, SunView, resolve_values, view_of
from ..models.maps import plane_map
from ..models.observables import altitude, azimuth, body_vector, unproject
from ..models.place import Instants, Site, datetime_of
from ..render.scene import Panel
from ..render.scene_plane import plane_scene
from ..render.scene_sphere import sphere_scene
from .daylight import rise_set
from .predicting import predict
from .rotation import RotationLaw, carry
from .scene_coasts import coastlines
from .telling import day_words, place_words
from .turns import turn_in_words

MOST_MOMENTS = 4
_SPOTS_XY = ((0.45, 0.35), (-0.5, 0.15), (0.1, -0.5))
"""Where spots stand on the first picture, limb radii, where the person names none."""
_DAY_STEPS = 240
_LOW_DEG = -0.9


def scene_moments(site: Site, at: Sequence[str], date: str | None) -> tuple[Instants, tuple[str, ...]]:
    """Instants and what they are called: those of `at`, or rise and set of `date` by the distant sphere.

    Raises
    ------
    InputError
        Both or neither are given, there are too many, they are not in the order of time, or the Sun does not rise
        and set on that day.
    """
    if bool(at) == (date is not None):
        raise InputError("at", "must be given, or --date for sunrise and sunset, and not both")
    if date is None:
        if len(at) > MOST_MOMENTS:
            raise InputError("at", f"must be {MOST_MOMENTS} moments at most", len(at))
        instants = Instants.from_utc(list(at))
        if np.any(np.diff(instants.utc_days) <= 0):
            raise InputError("at", "must be in the order of time", " ".join(at))
        names = [""] * len(at)
    else:
        day = rise_set(date, site)
        if not bool(day.happens):
            raise InputError("date", "must be a day on which the Sun rises and sets at the site", date)
        instants, names = day.instants(), ["sunrise ", "sunset "]
    moments = [datetime_of(float(days)) for days in instants.utc_days]
    several = len({moment.date() for moment in moments}) > 1
    form = "%d %b %H:%M UTC" if several else "%H:%M UTC"
    return instants, tuple(name + moment.strftime(form) for name, moment in zip(names, moments, strict=True))


def scene_words(site: Site, times: Sequence[str], date: str | None, *, own_spots: bool) -> tuple[str, str]:
    """Title and subtitle of scenes at those ISO 8601 times; the site to a tenth of a degree."""
    day = day_words(date or times[0][:10])
    when = f"The Sun on {day}" if date is None else f"Sunrise and sunset, {day},"
    spots = "" if own_spots else "; three invented spots, alike on each first picture"
    return f"{when} at {place_words(site)}", f"Calculated: the same moments under each geometry{spots}"


def scene_panels(
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
    instants: Instants,
    words: Sequence[str],
    site: Site,
    *,
    law: RotationLaw,
    spots_deg: Sequence[tuple[float, float]] = (),
    coasts: bool = True,
    progress: Callable[[int, int, str], None] = lambda done, of, words: None,
) -> tuple[list[Panel], list[dict[str, Any]]]:
    """A panel and its numbers for each model.

    Parameters
    ----------
    models : sequence of (model, its given parameters)
    instants : Instants, shape (n,)
    words : sequence of str
        What each is called.
    site : Site
        One place.
    law : RotationLaw
        How spots drift.
    spots_deg : sequence of (latitude, Carrington longitude)
        At the first instant. Without any, three spots stand at the same places on every model's first picture.
    coasts : bool
        Draw coastlines where their package is installed.
    progress : callable

    Raises
    ------
    InputError
        A model has neither a celestial north nor a map, so that nothing says how to draw it.
    """
    shores = coastlines() if coasts else []
    panels, numbers = [], []
    for k, (model, given) in enumerate(models):
        progress(k, len(models), f"scene of {model.name}")
        view = view_of(model, instants, site, given)
        spots = _spots(view, instants, law, spots_deg)
        values = resolve_values(model, given)
        if np.all(np.isfinite(view.celestial_north)):
            kind, scene = "sphere", sphere_scene(model.name, view, site, words, spots, shores)
        elif "map" in values:
            over_day = Instants.from_utc_days(instants.utc_days[0] + np.linspace(0, 1, _DAY_STEPS + 1))
            day = view_of(model, over_day, site, given)
            chart = plane_map(values["map"])
            kind, scene = "plane", plane_scene(model.name, view, site, chart, words, spots, day, shores)
        else:
            raise InputError(
                "model",
                "must have a celestial north or a parameter 'map' to be drawn in space",
                model.name,
                "draw its disc with render instead",
            )
        told = predict(model, instants, site, given, law=law)
        summary = _summary(told["turn"]) if told["turn"] is not None else model.summary
        panels.append(Panel(scene, view, spots, tuple(words), _below(view), summary))
        own = {"model": model.name, "set": dict(given), "kind": kind}
        numbers.append({**own, "unit_km": scene.unit_km, "notes": scene.notes, **told})
    return panels, numbers


def _spots(
    view: SunView, instants: Instants, law: RotationLaw, spots_deg: Sequence[tuple[float, float]]
) -> Array:
    """Spots at every instant, (n, k, 3) body frame."""
    if spots_deg:
        places = np.deg2rad(np.asarray(spots_deg, dtype=float))
        start = body_vector(places[:, 0], places[:, 1])
    elif np.all(np.isfinite(view.attitude[0])):
        xy = np.array(_SPOTS_XY)
        start = unproject(view[0], xy[:, 0], xy[:, 1])
    else:
        start = np.empty((0, 3))
    return carry(start, instants.utc_days - instants.utc_days[0], law)


def _below(view: SunView) -> tuple[str, ...]:
    """Azimuth and altitude under each picture."""
    texts = []
    for around, high in zip(np.rad2deg(azimuth(view)), np.rad2deg(altitude(view)), strict=True):
        text = f"azimuth {around:.0f}\N{DEGREE SIGN}, altitude {high:.1f}\N{DEGREE SIGN}".replace(
            "-", "\N{MINUS SIGN}"
        )
        texts.append(text + (", below the horizon" if high < _LOW_DEG else ""))
    return tuple(texts)


def _summary(turn: Mapping[str, Any]) -> str:
    """The turn from the first to the last picture and how well it describes what is seen, in the same words for all."""
    if not np.isfinite(turn["pattern_deg"]):
        if np.isfinite(turn["pattern_visible_fraction"]):
            return "The last picture shows another side of the Sun: no spot of the first is in sight."
        return "This model leaves the Sun's face open, so nothing is said about a turn."
    words = turn_in_words(turn["pattern_deg"], turn["unwrapped_axis_deg"]).replace(" deg", "\N{DEGREE SIGN}")
    share, scatter = turn["pattern_visible_fraction"], turn["pattern_scatter"]
    return (
        f"From the first picture to the last the spot pattern turns {words}; spots end up {scatter:.2f} disc radii "
        f"off such a turn (0: it turns as a whole). {100 * share:.0f} % of the face stays in sight."
    )

"""How the disc turns between two windows under each model, and how far apart two models put the same spots."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ...models.geometry import GeometryModel, SunView, Variant, view_of
from ...models.observables import project, unproject
from ...models.place import Instants, Site
from ..compare.contest import Options, variants_of
from ..rotation import RotationLaw, carry, rotation_law
from ..turns import axis_turn, celestial_north_turn, moment, pattern_turn, unwrapped_turn
from .days import DayPlan, ModelTurn

_RATE_MIN = 2.0  # minutes over which a rate is taken
_RINGS, _SPOKES, _REACH = 5, 12, 0.9  # spots of the first photo by which two models are told apart


def day_turns(
    day: DayPlan, site: Site, model: GeometryModel, given: Mapping[str, Any], law: RotationLaw
) -> tuple[ModelTurn, ...]:
    """The turn of one model and of its variants between the middles of a day; nothing without both windows.

    The first is the model at its given and default parameters. Then follows each way in which it may be meant, where
    there is more than one, its free numbers at their defaults; without those whose attitude is free, which predict no
    turn.
    """
    if day.middles is None:
        return ()
    turns = [_turn(day, site, model, "", given, law)]
    options = Options(law=law.name, given=given)
    meant = [variant for variant in variants_of(model, options) if not variant.attitude_free]
    if len(meant) > 1:
        for variant in meant:
            own = rotation_law("rigid") if variant.rigid else law
            turns.append(_turn(day, site, model, variant.name, _values(variant, given), own))
    return tuple(turns)


def _values(variant: Variant, given: Mapping[str, Any]) -> dict[str, Any]:
    return {**variant.fixed, **given}


def _turn(
    day: DayPlan, site: Site, model: GeometryModel, variant: str, given: Mapping[str, Any], law: RotationLaw
) -> ModelTurn:
    """Turns between the middles, and the pattern's rate at each of them."""
    instants = day.instants()
    assert instants is not None  # asked only where there are middles
    first, last = _ends(model, instants, site, given)
    span = float(instants.utc_days[1] - instants.utc_days[0])
    pattern = pattern_turn(first, last, span, law)
    half = _RATE_MIN / 2 / 1440
    rates = {}
    for window in day.windows:
        close = Instants.from_utc_days(window.middle + np.array([-half, half]))
        turn = pattern_turn(*_ends(model, close, site, given), 2 * half, law).turn
        rates[window.name] = float(np.rad2deg(turn)) / _RATE_MIN
    return ModelTurn(
        model.name,
        variant,
        float(np.rad2deg(pattern.turn)),
        float(pattern.scatter),
        float(pattern.visible_fraction),
        float(np.rad2deg(axis_turn(first, last))),
        float(np.rad2deg(celestial_north_turn(first, last))),
        float(np.rad2deg(unwrapped_turn(model, instants, site, given))),
        rates,
    )


def _ends(
    model: GeometryModel, instants: Instants, site: Site, given: Mapping[str, Any]
) -> tuple[SunView, SunView]:
    view = view_of(model, instants, site, given)
    return moment(view, 0), moment(view, 1)


def separation(
    day: DayPlan,
    site: Site,
    one: tuple[GeometryModel, Mapping[str, Any]],
    other: tuple[GeometryModel, Mapping[str, Any]],
    law: RotationLaw,
) -> float:
    """How far apart two models put the spots of the second photo, disc radii, root mean square; nan without windows.

    Spots stand at the same places of the first disc, evenly over its inner nine tenths; where a model hides one in the
    second photo, the distance counts as 1. Parameters at their given or default values: a guide to the better of two
    days, no evidence.
    """
    instants = day.instants()
    if instants is None:
        return float("nan")
    radius, angle = np.meshgrid(
        _REACH * np.sqrt((np.arange(_RINGS) + 0.5) / _RINGS), 2 * np.pi * np.arange(_SPOKES) / _SPOKES
    )
    x, y = (radius * np.cos(angle)).ravel(), (radius * np.sin(angle)).ravel()
    days = float(instants.utc_days[1] - instants.utc_days[0])
    places = []
    for model, given in (one, other):
        first, last = _ends(model, instants, site, given)
        disc = project(last, carry(unproject(first, x, y), days, law))
        places.append(np.where(disc.visible, disc.x + 1j * disc.y, np.nan))
    apart = np.abs(places[0] - places[1])
    seen = np.isfinite(places[0]) | np.isfinite(places[1])
    apart = np.where(np.isfinite(apart), apart, 1.0)[seen]
    return float(np.sqrt(np.mean(apart**2))) if len(apart) else float("nan")

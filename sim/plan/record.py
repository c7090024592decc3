"""A plan as JSON types: instants in UTC and beside them on the site's clock, angles in degrees, units in the names."""

from __future__ import annotations

import datetime as dt
from typing import Any

from ..safety import CAUTIONS
from .days import DayPlan, ModelTurn, Plan, Window, iso, local_iso, whole_minute
from .windows import pressure_at
from .zones import Zone

SOURCES = (
    "All instants: the distant sphere, whose Sun is ERFA's (IAU SOFA); for every model the same.",
    "Sunrise and sunset: upper edge on a level horizon as in almanacs (centre at -50': 34' of refraction, 16' of "
    "radius), the refraction scaled with the air's pressure at the height, and the dip if --above-horizon-m is given.",
    "Heights in the windows: refraction by Saemundsson 1986 (Meeus, Astronomical Algorithms, chapter 16), 10 C, "
    "pressure by the International Standard Atmosphere. Civil twilight: centre at -6 deg.",
    "Directions: from the true north through east, of the Sun's centre; a compass shows magnetic north.",
    "Seasons: apparent longitude a multiple of 90 deg (Meeus, chapter 27). Clocks: IANA time zone database.",
    "Turns: each model's own prediction at its given or default numbers (whichsun predict, whichsun models).",
)
"""Where the numbers of a plan come from."""


def plan_json(plan: Plan) -> dict[str, Any]:
    """The keys of a plan; sections of other modules add theirs, to the whole or to its days."""
    site = plan.site
    return {
        "site": {
            "latitude_deg": float(site.latitude_deg),
            "longitude_deg": float(site.longitude_deg),
            "height_m": float(site.height_m),
        },
        "zone": {"name": plan.zone.name, "source": plan.zone.source, "words": plan.zone.words},
        "above_horizon_m": plan.above_horizon_m,
        "pressure_hpa": pressure_at(float(site.height_m)),
        "altitude_limits_deg": [plan.low_deg, plan.high_deg],
        "rotation": plan.law.name,
        "models": {model.name: dict(given) for model, given in plan.models},
        "seasons": [
            {
                "name": season.name,
                "at_utc": iso(season.utc_days),
                "at_local": local_iso(season.utc_days, plan.zone),
                "after_last_day": season.utc_days >= plan.days[-1].noon,
            }
            for season in plan.seasons
        ],
        "days": [_day(day, plan.zone) for day in plan.days],
        "sources": list(SOURCES),
        "cautions": list(CAUTIONS),
    }


def to_minute(text: str) -> dt.datetime:
    """An instant of the JSON, rounded to the minute as almanacs do."""
    return whole_minute(dt.datetime.fromisoformat(text))


def _day(day: DayPlan, zone: Zone) -> dict[str, Any]:
    moments = {"rise": day.rise, "set": day.set, "noon": day.noon}
    moments |= {"civil_dawn": day.dawn, "civil_dusk": day.dusk}
    return {
        "date": day.date.isoformat(),
        **{f"{name}_utc": iso(moment) for name, moment in moments.items()},
        **{f"{name}_local": local_iso(moment, zone) for name, moment in moments.items()},
        "rise_azimuth_deg": day.rise_azimuth_deg,
        "set_azimuth_deg": day.set_azimuth_deg,
        "noon_altitude_deg": day.noon_altitude_deg,
        "midnight_altitude_deg": day.midnight_altitude_deg,
        "windows": [_window(window, zone) for window in day.windows],
        "turns": {turn.model: turn.pattern_deg for turn in day.turns if not turn.variant},
        "turn_details": [_turn(turn) for turn in day.turns],
        "observables": None,
        "expected_ln_bayes_factor": None,
        "decides": None if day.middles else False,  # without two windows there is nothing to compare
        "evidence": None,
        "notes": list(day.notes),
    }


def _window(window: Window, zone: Zone) -> dict[str, Any]:
    return {
        "name": window.name,
        "from_utc": iso(window.start),
        "to_utc": iso(window.end),
        "middle_utc": iso(window.middle),
        "from_local": local_iso(window.start, zone),
        "to_local": local_iso(window.end, zone),
        "middle_local": local_iso(window.middle, zone),
        "azimuth_from_deg": window.azimuth_from_deg,
        "azimuth_to_deg": window.azimuth_to_deg,
        "azimuth_middle_deg": window.azimuth_middle_deg,
        "apparent_altitude_from_deg": window.altitude_from_deg,
        "apparent_altitude_to_deg": window.altitude_to_deg,
        "apparent_altitude_middle_deg": window.altitude_middle_deg,
        "open_at": window.open_at.split(),
    }


def _turn(turn: ModelTurn) -> dict[str, Any]:
    return {
        "model": turn.model,
        "variant": turn.variant or None,
        "pattern_deg": turn.pattern_deg,
        "pattern_scatter": turn.pattern_scatter,
        "pattern_visible_fraction": turn.pattern_visible_fraction,
        "axis_deg": turn.axis_deg,
        "celestial_north_deg": turn.celestial_north_deg,
        "unwrapped_axis_deg": turn.unwrapped_axis_deg,
        "rates_deg_per_min": dict(turn.rates_deg_per_min),
    }

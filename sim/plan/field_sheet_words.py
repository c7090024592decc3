"""The words of the field sheet: its steps, its columns, numbers as a person reads them."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from ...models.place import parse_utc, utc_days_of
from .days import EVENING, MORNING, DayPlan, Window, whole_minute
from .observables import DayQuantity, Foreseen, shadow_ratio
from .zones import Zone, zone_named

NONE = "none"
BEFORE, AFTER = "<", ">"
OTHER_DAYS = f"{BEFORE} the day before, {AFTER} the day after"
_UTC = zone_named("UTC")
PHOTO_COLUMNS = (
    ("shot", 19.0),
    ("clock, h m s", 31.0),
    ("file name", 47.0),
    ("bubble off, deg", 32.0),
    ("clouds, wind, notes", 57.0),
)
INTO_FILE = (
    "At home: whichsun measure MORNING.jpg EVENING.jpg -o outing.toml measures the photos. Each box filled in above is "
    "a table [[observable]] in outing.toml with kind, value, sigma and time_utc; whichsun plan --outing-template "
    "outing.toml writes them all, ready to be filled in. Then: whichsun score outing.toml. Altitude from a shadow: "
    "arctan(stick / shadow). A turn is negative where it is clockwise. Times and directions above are those of the "
    "distant sphere, so that all models are asked at the same moments; the air moves rise and set by a minute or two."
)
TURN_LABEL, TURN_SIGMA_DEG = "Turn of the spots (photos)", 1.0
"""Two levels of 0.7 deg (common practice, no source)."""


def steps(day: DayPlan, zone: Zone, paper_words: str = "this sheet") -> tuple[str, ...]:
    """What to do, in order; `paper_words` is what the sheet calls itself."""
    packed = f"cap on; be packed up at {clock(day.dusk, zone)}." if np.isfinite(day.dusk) else "then cap on."
    return (
        "Filter on, then tripod on firm ground. Camera upright, bubble in the middle; level again before every photo "
        "and write down what the bubble shows.",
        f"Set your clock by a phone or time signal. All times of {paper_words} are by the clock of {zone.name}.",
        "Longest lens, no digital zoom. Focus on the Sun's edge; touch neither zoom nor focus until the evening.",
        "Expose so that the disc is grey, not white. Ten photos in each window, some a minute apart. Fill in a row for "
        "the first and the last.",
        "Sketch the spots as you see them on the screen, the picture's up at the top: it tells a mirrored picture.",
        "Let the Sun drift through the level frame for two minutes, one photo every 20 s (turn of the drift).",
        "About noon: stick and shadow. Morning and evening: stick, compass, in the same minute as a photo.",
        f"Same place, same camera in the evening. Lens away from the Sun, {packed}",
    )


def clock(utc_days: float, zone: Zone, day: dt.date | None = None) -> str:
    """Hours and minutes on the zone's clock; a dash for none; marked where it falls on another date than `day`."""
    if not np.isfinite(utc_days):
        return "-"
    moment = whole_minute(zone.local(utc_days))
    text = f"{moment:%H:%M}"
    if day is None or moment.date() == day:
        return text
    return f"{BEFORE}{text}" if moment.date() < day else f"{text}{AFTER}"


def day_rows(day: DayPlan, zone: Zone, noon_altitude: bool = True) -> list[tuple[str, ...]]:
    """What, by the clock, UTC, direction, altitude: rise, windows, noon, set; what does not happen is left out."""

    def moment(words: str, utc_days: float, azimuth: float | None, height: str) -> list[tuple[str, ...]]:
        if not np.isfinite(utc_days):
            return []
        where = "" if azimuth is None else degrees(azimuth, 0)
        return [(words, *(clock(utc_days, one, day.date) for one in (zone, _UTC)), where, height)]

    def window(words: str, name: str) -> list[tuple[str, ...]]:
        one = day.window(name)
        return [] if one is None else [(words, *_window_cells(one, day.date, zone))]

    return [
        *moment("Civil dawn: set up", day.dawn, None, ""),
        *moment("Rise", day.rise, day.rise_azimuth_deg, ""),
        *window("MORNING PHOTOS", MORNING),
        *moment("Sun highest", day.noon, None, degrees(day.noon_altitude_deg, 0) if noon_altitude else ""),
        *window("EVENING PHOTOS", EVENING),
        *moment("Set", day.set, day.set_azimuth_deg, ""),
        *moment("Civil dusk: packed up", day.dusk, None, ""),
    ]


def _window_cells(one: Window, day: dt.date, zone: Zone) -> tuple[str, ...]:
    return (
        *(f"{clock(one.start, z, day)}\N{EN DASH}{clock(one.end, z, day)}" for z in (zone, _UTC)),
        f"{one.azimuth_from_deg:.0f}\N{EN DASH}{degrees(one.azimuth_to_deg, 0)}",
        f"{one.altitude_from_deg:.0f}\N{EN DASH}{degrees(one.altitude_to_deg, 0)}",
    )


def degrees(value: float, digits: int = 1) -> str:
    """Degrees with their sign."""
    return f"{value:.{digits}f}\N{DEGREE SIGN}"


def value_words(kind: str, unit: str, value: float, moment: dt.datetime | None) -> str:
    """A foreseen value as a person reads it; `moment` for a rise or set, by the clock it is to be read on."""
    if moment is not None:
        return f"{whole_minute(moment):%H:%M}"
    if not math.isfinite(value):
        return NONE
    if unit == "h":
        minutes = round(value * 60)
        return f"{minutes // 60} h {minutes % 60:02d} min"
    if kind.startswith("angular"):
        return f"{value:.3f}" + ("\N{DEGREE SIGN}" if unit == "deg" else "")
    shadow = shadow_ratio(value) if kind in ("noon-altitude", "altitude") else math.nan
    return degrees(value) + (f"; {shadow:.2f}" if math.isfinite(shadow) else "")


def label_words(one: DayQuantity, zone: Zone) -> str:
    """Its name; with the time for which it is foreseen where the Sun moves on."""
    if one.method.at in ((MORNING,), (EVENING,)):
        return f"{one.method.label} {clock(utc_days_of(parse_utc(one.observable.time_utc[0])), zone)}"
    return one.method.label


def foreseen_words(one: DayQuantity, seen: Foreseen, zone: Zone) -> str:
    """:func:`value_words` of one model's prediction, on the zone's clock."""
    is_time = one.sigma_unit == "s" and math.isfinite(seen.value)
    return value_words(one.kind, one.unit, seen.value, zone.local(seen.value) if is_time else None)


def sigma_words(one: DayQuantity) -> str:
    """What simple means reach."""
    sigma = one.observable.sigma
    if one.unit == "h":
        return f"{sigma * 60:.0f} min" if sigma * 60 >= 1 else f"{sigma * 3600:.0f} s"
    return (
        degrees(sigma, 3 if sigma < 0.1 else 1)
        if one.unit == "deg"
        else f"{sigma:g} {one.sigma_unit}".strip()
    )

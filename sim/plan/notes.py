"""What a person should know about a day, in sentences: a Sun that stays up, grazes or passes the zenith; clocks.

Every sentence follows from the day's numbers; nothing is looked up.
"""

from __future__ import annotations

import datetime as dt

import numpy as np

from ...models.place import Site
from .days import EVENING, MORNING, DayPlan, ModelTurn
from .windows import CIVIL_DEG
from .zones import Zone

_ZENITH_DEG = 5.0
_SKY_DEG_PER_MIN = 360 / 1436.07  # turn of the sky
_GRAZING_DEG_PER_MIN = 0.05  # 0.1 deg more or less of refraction then shifts rise and set by two minutes
_BY_THE_AIR_DEG = (
    0.7  # refraction at the horizon can differ by some tenths of a degree (common practice, no source)
)
_SHORT_H = 3.0
_TORN = 0.25  # disc radii that a turn leaves over, above which a single angle says little


def day_notes(day: DayPlan, site: Site, zone: Zone, low_deg: float, high_deg: float) -> tuple[str, ...]:
    """The sentences of one day, those on which the outing hangs first."""
    return (
        *_horizon_notes(day, site, zone),
        *_window_notes(day, low_deg, high_deg),
        *_zenith_notes(day, zone),
        *_clock_notes(day, zone),
        *_dark_notes(day),
    )


def _horizon_notes(day: DayPlan, site: Site, zone: Zone) -> list[str]:
    rises, sets = np.isfinite(day.rise), np.isfinite(day.set)
    top, bottom = day.noon_altitude_deg, day.midnight_altitude_deg
    notes = []
    if not rises and not sets and bottom > -1:
        notes.append(
            f"The Sun does not set on this day: at its lowest its centre appears at {bottom:.1f} deg."
        )
    elif not rises and not sets:
        notes.append(
            f"The Sun does not rise on this day: at {zone.local(day.noon):%H:%M} it comes to {top:.1f} deg. "
            "No photo is possible."
        )
    elif not sets:
        notes.append("The Sun rises on this day and does not set before it climbs again.")
    elif not rises:
        notes.append("The Sun is up since an earlier day and sets on this one.")
    return [*notes, *_grazing_notes(day, site)]


def _grazing_notes(day: DayPlan, site: Site) -> list[str]:
    """Where the Sun goes so flat that the air decides whether, or in which minute, it rises and sets."""
    if min(abs(day.noon_altitude_deg), abs(day.midnight_altitude_deg)) < _BY_THE_AIR_DEG:
        return [
            "The Sun turns round so near the horizon that the air decides whether it rises or sets: trust no minute."
        ]
    bearings = np.deg2rad([day.rise_azimuth_deg, day.set_azimuth_deg])
    climb = _SKY_DEG_PER_MIN * np.cos(site.latitude) * np.abs(np.sin(bearings[np.isfinite(bearings)]))
    if not np.any(climb < _GRAZING_DEG_PER_MIN):
        return []
    return [
        "The Sun moves along the horizon at a flat angle: cold or warm air shifts its rise and set by minutes. "
        "Be there early."
    ]


def _window_notes(day: DayPlan, low_deg: float, high_deg: float) -> list[str]:
    notes = []
    top, bottom = day.noon_altitude_deg, day.midnight_altitude_deg
    if not day.windows:
        if -1 < top < low_deg:
            notes.append(
                f"The Sun never comes above {top:.1f} deg, below the limit of {low_deg:g} deg: no window."
            )
        elif bottom > high_deg:
            words = f"The Sun never sinks below {bottom:.1f} deg: no window."
            notes.append(words + f" Give --altitudes {low_deg:g}:{bottom + 10:.0f}.")
        return notes
    if top < high_deg:
        notes.append(
            f"The Sun stays below {high_deg:g} deg (at noon {top:.1f} deg), so morning and evening meet at noon: take "
            "the first photo early in the morning's window and the last one late in the evening's."
        )
    if any("midnight" in window.open_at for window in day.windows):
        notes.append(
            f"The Sun does not sink below {low_deg:g} deg: the windows are counted from and to its lowest, "
            f"{bottom:.1f} deg, and may lie round the clock's midnight."
        )
    names = {window.name for window in day.windows}
    for name in (MORNING, EVENING):
        if name not in names:
            notes.append(f"There is no {name} window on this day: no turn between two of them.")
    middles = day.middles
    if middles and (middles[1] - middles[0]) * 24 < _SHORT_H:
        notes.append(
            f"Only {(middles[1] - middles[0]) * 24:.1f} h lie between the windows' middles: the disc turns little."
        )
    return notes


def _zenith_notes(day: DayPlan, zone: Zone) -> list[str]:
    left = 90 - day.noon_altitude_deg
    if left > _ZENITH_DEG or not day.windows:
        return []
    words = (
        f"At {zone.local(day.noon):%H:%M} the Sun passes {left:.1f} deg from the zenith, where the disc spins round "
        "within minutes and a level means nothing: no photo near noon."
    )
    return [words]


def _clock_notes(day: DayPlan, zone: Zone) -> list[str]:
    notes = []
    before, now = zone.offset_h(day.noon - 1), zone.offset_h(day.noon)
    if before != now:
        way = "forward" if now > before else "back"
        hours = f"{abs(now - before):g} h"
        notes.append(
            f"The clocks have gone {way} by {hours} since the noon before (UTC{before:+g} to UTC{now:+g}). Set the "
            "camera to UTC or check it against a clock that has changed."
        )
    middles = day.middles
    if middles and zone.offset_h(middles[0]) != zone.offset_h(middles[1]):
        notes.append(
            "The clocks change between the two windows: the hours between the photos are those in UTC."
        )
    for window in day.windows:
        dates = {zone.local(moment).date() for moment in (window.start, window.end)}
        odd = sorted(dates - {day.date})
        if odd:
            notes.append(f"The {window.name} window lies partly on {_days(odd)} by the clock.")
    return notes


def _days(dates: list[dt.date]) -> str:
    return " and ".join(date.isoformat() for date in dates)


def _dark_notes(day: DayPlan) -> list[str]:
    """Where twilight lasts all night, or the day has twilight alone."""
    if not day.windows:
        return []
    if np.isfinite(day.set) and not np.isfinite(day.dusk):
        return [
            f"Twilight lasts all night (the Sun stays above {CIVIL_DEG:g} deg): the way home is not dark."
        ]
    return []


def turn_notes(day: DayPlan) -> tuple[str, ...]:
    """Models whose disc turns by more than half a circle, or whose pattern does not turn as a whole."""
    own = [turn for turn in day.turns if not turn.variant]
    torn = [turn for turn in own if turn.pattern_scatter > _TORN]
    far = [turn for turn in own if turn not in torn and abs(turn.unwrapped_axis_deg) > 180]
    return (
        *(
            f"Under {turn.model} the disc turns by more than half a circle, {_followed(turn)}: two photos alone "
            "cannot show that; a third one in between tells the way round."
            for turn in far
        ),
        *_torn_notes(torn),
    )


def _followed(turn: ModelTurn) -> str:
    whole = turn.pattern_deg + 360 * round((turn.unwrapped_axis_deg - turn.pattern_deg) / 360)
    return f"{abs(whole):.0f} deg {'anticlockwise' if whole > 0 else 'clockwise'}"


def _torn_notes(torn: list[ModelTurn]) -> tuple[str, ...]:
    return tuple(
        f"Under {turn.model} the spots do not turn as a whole (scatter {turn.pattern_scatter:.2f} disc radii): each "
        "goes its own way, and one angle says little."
        for turn in torn
    )

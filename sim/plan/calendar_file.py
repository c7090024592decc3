"""The windows of a plan as a calendar file (iCalendar, RFC 5545): one event each, with an alarm and the cautions.

It sees nothing but the plan's JSON. Times are UTC, which every calendar turns into its own clock, and
rounded to the minute: to the second they would tell the site better than it is told.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from typing import Any

from ...models.errors import InputError
from ...models.place import Site
from ..report.facts import rounded_site, site_words
from ..safety import caution_lines
from ..turns import turn_in_words
from .record import to_minute

ALARM_MIN = 60
_FOLD_OCTETS = 75  # RFC 5545, section 3.1: a line's octets, without its end
_NAMESPACE = uuid.uuid5(uuid.NAMESPACE_URL, "https://www.rfc-editor.org/rfc/rfc5545#whichsun-plan")


def calendar_text(
    result: dict[str, Any],
    *,
    now: dt.datetime,
    exact_site: bool = False,
    alarm_min: int = ALARM_MIN,
) -> str:
    """The calendar file's text.

    Parameters
    ----------
    result : dict
        A plan's JSON; without `exact_site` better that of the rounded site, so that no minute tells more.
    now : datetime
        Aware; when the events are made.
    exact_site : bool
        Tell the site as it is; else rounded to 0.1 degree.
    alarm_min : int
        Minutes from the alarm to the window's begin; 0 for no alarm.

    Raises
    ------
    InputError
        No window on any day, or an alarm outside 0 to 10080 minutes.

    Notes
    -----
    An event's UID follows from date, window and site as it is told: planning again replaces it in the calendar.
    """
    if not 0 <= alarm_min <= 10080:
        raise InputError("alarm-min", "must be between 0 and 10080", alarm_min)
    pairs = [(day, window) for day in result["days"] for window in day["windows"]]
    if not pairs:
        raise InputError("calendar", "needs a day with a window; there is none in these dates")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//whichsun//plan//EN", "CALSCALE:GREGORIAN"]
    for day, window in pairs:
        lines += _event(result, day, window, now, exact_site, alarm_min)
    lines.append("END:VCALENDAR")
    return "".join(f"{part}\r\n" for line in lines for part in folded(line))


def _event(
    result: dict[str, Any],
    day: dict[str, Any],
    window: dict[str, Any],
    now: dt.datetime,
    exact_site: bool,
    alarm_min: int,
) -> Iterator[str]:
    site = _site(result, exact_site)
    name = f"{day['date']} {window['name']} {site['latitude_deg']:g} {site['longitude_deg']:g}"
    summary = f"Photograph the Sun: {window['name']} window"
    yield "BEGIN:VEVENT"
    yield f"UID:{uuid.uuid5(_NAMESPACE, name)}"
    yield f"DTSTAMP:{now.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART:{_minute(window['from_utc'])}"
    yield f"DTEND:{_minute(window['to_utc'])}"
    yield f"SUMMARY:{escaped(summary)}"
    yield f"LOCATION:{escaped(_site_words(result, exact_site))}"
    yield f"GEO:{site['latitude_deg']:.6f};{site['longitude_deg']:.6f}"
    yield f"DESCRIPTION:{escaped(chr(10).join(_description(result, day, window, exact_site)))}"
    if alarm_min:
        yield "BEGIN:VALARM"
        yield "ACTION:DISPLAY"
        yield f"DESCRIPTION:{escaped(summary + ' - the filter first')}"
        yield f"TRIGGER:-PT{alarm_min}M"
        yield "END:VALARM"
    yield "END:VEVENT"


def _description(
    result: dict[str, Any], day: dict[str, Any], window: dict[str, Any], exact_site: bool
) -> list[str]:
    zone = result["zone"]["name"]
    first, last = (window[f"azimuth_{side}_deg"] for side in ("from", "to"))
    low, high = (window[f"apparent_altitude_{side}_deg"] for side in ("from", "to"))
    lines = [
        *([] if exact_site else ["Times are those of the rounded site: a minute or so off."]),
        f"{_clock(window['from_local'])} to {_clock(window['to_local'])} ({zone}): the Sun's centre goes from "
        f"direction {first:.0f} to {last:.0f} deg (from north through east) and from {low:.0f} to {high:.0f} deg of "
        "height. Find a clear horizon there.",
    ]
    dawn, dusk = day["civil_dawn_local"], day["civil_dusk_local"]
    if window["name"] == "morning" and dawn:
        lines.append(f"Civil twilight begins at {_clock(dawn)}: set up after it.")
    if window["name"] == "evening" and dusk:
        lines.append(f"Civil twilight ends at {_clock(dusk)}: be packed up by then.")
    own = [turn for turn in day["turn_details"] if not turn["variant"]]
    if own:
        lines.append("Turn of the spots between the middles of this day's windows:")
        lines += [
            f"- {turn['model']}: {turn_in_words(turn['pattern_deg'], turn['unwrapped_axis_deg'])}"
            for turn in own
        ]
    if day["evidence"]:
        lines.append(day["evidence"]["words"])
    return [*lines, *day["notes"], "", *caution_lines()]


def _site(result: dict[str, Any], exact: bool) -> dict[str, float]:
    place = result["site"]
    longitude = (place["longitude_deg"] + 180) % 360 - 180
    return rounded_site(Site(place["latitude_deg"], longitude), exact=exact)


def _site_words(result: dict[str, Any], exact: bool) -> str:
    place = result["site"]
    return site_words(Site(place["latitude_deg"], place["longitude_deg"], place["height_m"]), exact=exact)


def escaped(text: str) -> str:
    """A TEXT value (RFC 5545, section 3.3.11)."""
    for raw, told in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\r\n", "\\n"), ("\n", "\\n")):
        text = text.replace(raw, told)
    return text


def folded(line: str) -> list[str]:
    """A content line in pieces of at most 75 octets, all but the first indented; no character is cut."""
    pieces, piece, octets = [], "", 0
    for character in line:
        size = len(character.encode("utf-8"))
        if octets + size > _FOLD_OCTETS:
            pieces.append(piece)
            piece, octets = " ", 1
        piece += character
        octets += size
    return [*pieces, piece]


def _minute(utc: str) -> str:
    return f"{to_minute(utc):%Y%m%dT%H%M00Z}"


def _clock(text: str) -> str:
    return f"{to_minute(text):%H:%M}"

"""What `plan` prints about days, windows and turns; it sees nothing but the JSON."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from ..safety import caution_lines
from .plumbing import print_table, print_wrapped

_IN_FULL = 3  # days that are told one by one
_DASH = "\N{EN DASH}"
_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
_ALIKE_DEG = 1e-6  # the same turn up to rounding; any other has its row, so that every day has the same rows
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def show_days(result: dict[str, Any]) -> None:
    """Every day in full where there are few; else one row per day and what there is to say about them."""
    site = result["site"]
    print(f"Plan for latitude {site['latitude_deg']:g}, longitude {site['longitude_deg']:g} (degrees)")
    print_wrapped([f"Clock: {result['zone']['words']}", *_season_words(result)])
    print()
    if len(result["days"]) <= _IN_FULL:
        for day in result["days"]:
            show_day(result, day)
    else:
        _show_rows(result)


def show_sources(result: dict[str, Any]) -> None:
    """Where the numbers come from."""
    print("Where the numbers come from")
    print_wrapped(f"  {text}" for text in result["sources"])
    print()


def show_cautions(result: dict[str, Any]) -> None:
    """The cautions, always."""
    print_wrapped(caution_lines())


def show_day(result: dict[str, Any], day: dict[str, Any]) -> None:
    """One day: when, where to look, how the disc turns, what to know."""
    date = dt.date.fromisoformat(day["date"])
    rows = [row for row in _day_rows(day) if row[1] != "-"]
    title = f"{_WEEKDAYS[date.weekday()]}, {day['date']}"
    print_table(("", "clock", "UTC", "direction, deg", "height, deg"), rows, title=title)
    if day["turns"]:
        _show_turns(day)
    print_wrapped(day["notes"])
    if day["notes"]:
        print()


def _day_rows(day: dict[str, Any]) -> list[tuple[str, ...]]:
    windows = {window["name"]: window for window in day["windows"]}

    def moment(words: str, name: str, height: str, azimuth_deg: float | None = None) -> tuple[str, ...]:
        where = "" if azimuth_deg is None or azimuth_deg != azimuth_deg else _direction(azimuth_deg)
        return words, _clock(day[f"{name}_local"]), _clock(day[f"{name}_utc"], day["date"]), where, height

    def window(words: str, name: str) -> list[tuple[str, ...]]:
        one = windows.get(name)
        return [] if one is None else [(words, *_window_cells(one, day["date"]))]

    return [
        moment("civil twilight begins: set up", "civil_dawn", "-6.0"),
        moment("sunrise", "rise", "upper edge", day["rise_azimuth_deg"]),
        *window("MORNING PHOTOS", "morning"),
        moment("Sun highest", "noon", f"{day['noon_altitude_deg']:.1f}"),
        *window("EVENING PHOTOS", "evening"),
        moment("sunset", "set", "upper edge", day["set_azimuth_deg"]),
        moment("civil twilight ends: be packed up", "civil_dusk", "-6.0"),
    ]


def _window_cells(window: dict[str, Any], date: str) -> tuple[str, str, str, str]:
    first, last = (window[f"azimuth_{side}_deg"] for side in ("from", "to"))
    heights = (window[f"apparent_altitude_{side}_deg"] for side in ("from", "to"))
    return (
        f"{_clock(window['from_local'])} to {_clock(window['to_local'])}",
        f"{_clock(window['from_utc'], date)} to {_clock(window['to_utc'])}",
        f"{_direction(first)} to {_direction(last)}",
        " to ".join(f"{height:.1f}" for height in heights),
    )


def _show_turns(day: dict[str, Any]) -> None:
    from ..turns import turn_in_words

    windows = {window["name"]: window for window in day["windows"]}
    first, last = windows["morning"], windows["evening"]
    rows, told = [], {}
    for turn in day["turn_details"]:
        known = told.setdefault(turn["model"], [])
        if turn["variant"] and any(_apart(turn, other) < _ALIKE_DEG for other in known):
            continue  # the model at its defaults is one of its ways
        known.append(turn)
        rows.append(
            (
                _meant(turn, day["turn_details"]),
                turn_in_words(turn["pattern_deg"], turn["unwrapped_axis_deg"]),
                *(f"{turn['rates_deg_per_min'][name]:+.3f}" for name in ("morning", "evening")),
                f"{turn['pattern_scatter']:.2f}",
            )
        )
    hours = dt.datetime.fromisoformat(last["middle_utc"]) - dt.datetime.fromisoformat(first["middle_utc"])
    title = (
        f"Turn of the spots from {_clock(first['middle_local'])} to {_clock(last['middle_local'])} "
        f"({hours.total_seconds() / 3600:.1f} h), the middles of the windows"
    )
    drift = any("no drift" in turn["variant"] for turn in day["turn_details"] if turn["variant"])
    columns = ("model", "the spots turn", "deg/min,\nmorning*", "deg/min,\nevening*", "left over,\nradii")
    print_table(columns, rows, title=title)
    print_wrapped(
        [
            "* in that very minute, anticlockwise +: the disc may turn to and fro over the day. Left over: how far the "
            "spots are from a common turn, in disc radii."
            + (" no drift: spots that keep their places on the Sun's body." if drift else "")
        ]
    )


def _meant(turn: dict[str, Any], turns: list[dict[str, Any]]) -> str:
    """The model, and the way in which it is meant; at its defaults it is one of its ways."""
    ways = [other for other in turns if other["model"] == turn["model"] and other["variant"]]
    alike = next((other["variant"] for other in ways if _apart(turn, other) < _ALIKE_DEG), None)
    variant = turn["variant"] or alike
    return turn["model"] + (f", {variant}" if variant else "")


def _apart(turn: dict[str, Any], other: dict[str, Any]) -> float:
    return abs((turn["pattern_deg"] - other["pattern_deg"] + 180) % 360 - 180)


def _show_rows(result: dict[str, Any]) -> None:
    """Three lines per day, in 80 columns for two models; then the notes, each with its days."""
    names = list(result["models"])
    heads = [name.replace("-", "-\n") for name in names]
    columns = ["date", "rise", "morning", "evening", "set", "packed\nup", *heads]
    rows = []
    for day in result["days"]:
        windows = {window["name"]: window for window in day["windows"]}
        cells = [_both(day, "rise")]
        for name in ("morning", "evening"):
            window = windows.get(name)
            if window is None:
                cells.append("-")
                continue
            ends = (window[f"azimuth_{side}_deg"] for side in ("from", "to"))
            toward = _DASH.join(f"{end:.0f}" for end in ends)
            cells.append(
                f"{_from_to(window, 'local')}\n{_from_to(window, 'utc', day['date'])}\n{toward}\N{DEGREE SIGN}"
            )
        turns = [f"{day['turns'][name]:.1f}" if name in day["turns"] else "-" for name in names]
        rows.append([day["date"], *cells, _both(day, "set"), _both(day, "civil_dusk"), *turns])
    title = (
        "Windows by the clock, below it UTC, below that where the Sun stands (from\n"
        "north through east); turn of the spots in degrees, anticlockwise +"
    )
    print_table(columns, rows, title=title, tight=True)
    print_wrapped(_grouped((note, day["date"]) for day in result["days"] for note in day["notes"]))
    print()


def _from_to(window: dict[str, Any], clock: str, date: str | None = None) -> str:
    """A window by one clock; a date once where both ends lie on another than `date`."""
    first, last = (_clock(window[f"{side}_{clock}"], date) for side in ("from", "to"))
    return f"{first}{_DASH}{last[-5:] if first[:-5] == last[:-5] else last}"


def _grouped(notes: Iterable[tuple[str, str]]) -> list[str]:
    """Notes with the same words up to their numbers, once, with the days they hold for."""
    found: dict[str, list[tuple[str, str]]] = {}
    for note, date in notes:
        found.setdefault("".join(c for c in note if not c.isdigit() and c not in ".+-"), []).append(
            (date, note)
        )
    lines = []
    for same in found.values():
        dates = [date for date, _ in same]
        days = dates[0] if len(dates) == 1 else f"{dates[0]} to {dates[-1]}, {len(dates)} days"
        more = "" if len({note for _, note in same}) == 1 else f" ({dates[0]}; --json has every day's)"
        lines.append(f"{days}: {same[0][1]}{more}")
    return lines


def _season_words(result: dict[str, Any]) -> list[str]:
    """The season nearest to the days and the next equinox after them."""
    noons = [dt.datetime.fromisoformat(result["days"][place]["noon_utc"]) for place in (0, -1)]

    def away(season: dict[str, Any]) -> tuple[float, str]:
        moment = dt.datetime.fromisoformat(season["at_utc"])
        before, after = ((noon - moment).total_seconds() / 86400 for noon in noons)
        if before > 0:
            return before, _days_away(before, "before")
        if after < 0:
            return -after, _days_away(-after, "after")
        return 0.0, "within these days"

    if not result["seasons"]:  # at the end of the years that are known
        return []
    nearest = min(result["seasons"], key=lambda season: away(season)[0])
    words = f"Nearest season: {_season(nearest)} ({away(nearest)[1]})."
    coming = result["seasons"][-1]
    if coming is nearest or not coming["after_last_day"]:
        return [words]
    return [f"{words} Next equinox: {_season(coming)} ({away(coming)[1]})."]


def _days_away(days: float, side: str) -> str:
    count = round(days)
    return "within a day" if count < 1 else f"{count} day{'' if count == 1 else 's'} {side}"


def _season(season: dict[str, Any]) -> str:
    return f"{season['name']}, {_minute(season['at_utc']):%Y-%m-%d %H:%M} UTC"


def _both(day: dict[str, Any], name: str) -> str:
    local = _clock(day[f"{name}_local"])
    return local if local == "-" else f"{local}\n{_clock(day[f'{name}_utc'])}"


def _clock(text: str | None, date: str | None = None) -> str:
    """Hours and minutes; before them month and day where that is not `date`."""
    if text is None:
        return "-"
    moment = _minute(text)
    return f"{moment:%H:%M}" if date in (None, f"{moment:%Y-%m-%d}") else f"{moment:%m-%d %H:%M}"


def _minute(text: str) -> dt.datetime:
    from ..plan.record import to_minute

    return to_minute(text)


def _direction(azimuth_deg: float) -> str:
    return f"{azimuth_deg:.0f} ({_POINTS[round(azimuth_deg / 22.5) % 16]})"

"""What `plan` prints about days, windows and turns; it sees nothing but the JSON."""

from __future__ import annotations

import datetime as dt
from typing import Any

from ..safety import caution_lines
from .plumbing import print_table, print_wrapped


def show_days(result: dict[str, Any]) -> None:
    """One row per day."""
    names = list(result["models"])
    columns = ["date", "rise UTC", "morning UTC", "azimuth", "evening UTC", "azimuth", "set UTC", *names]
    rows = []
    for day in result["days"]:
        cells = []
        for name in ("morning", "evening"):
            window = next((one for one in day["windows"] if one["name"] == name), None)
            if window is None:
                cells += ["-", "-"]
                continue
            cells.append(f"{_clock(window['from_utc'])} to {_clock(window['to_utc'])}")
            cells.append(f"{window['azimuth_from_deg']:.0f} to {window['azimuth_to_deg']:.0f}")
        turns = [f"{day['turns'][name]:.1f}" if name in day["turns"] else "-" for name in names]
        rows.append([day["date"], _clock(day["rise_utc"]), *cells, _clock(day["set_utc"]), *turns])
    print_table(
        columns, rows, title="Shooting windows and turn of the spot pattern, degrees, anticlockwise +"
    )


def show_cautions(result: dict[str, Any]) -> None:
    """The cautions, always."""
    print_wrapped(caution_lines())


def _clock(text: str | None) -> str:
    return "-" if text is None else f"{dt.datetime.fromisoformat(text):%H:%M}"

"""An outing file to be filled in: the site, and every measurement of the day as a table behind comment marks."""

from __future__ import annotations

import datetime as dt
import textwrap

from ...models.place import Site, parse_utc, utc_days_of
from ..outing import SCHEMA
from ..outing_observables import OF_A_DAY, WITHOUT_VALUE, observable_items
from .observables import DayQuantities, DayQuantity
from .zones import Zone

UNKNOWN = "?"
"""What stands for a number to be filled in: no TOML, so that a forgotten one is told with its line."""
_WIDTH = 100
_INSTEAD = {
    "day-length": "Instead of rise and set, not beside both of them.",
    "angular-diameter": "Needs the focal length; the ratios need nothing. The diameter of a near Sun is then free.",
}


def outing_template(
    file: str, date: dt.date, site: Site, zone: Zone, quantities: DayQuantities, made_by: str = ""
) -> str:
    """The text of the file.

    Parameters
    ----------
    file : str
        Its name, for the commands in its comments.
    date : date
    site : Site
        One place, written as it is: the file is for the person alone.
    zone : Zone
        Its offset stands in the times to be filled in.
    quantities : DayQuantities
    made_by : str
        Program and version.
    """
    site_lines = [
        "[site]",
        f"latitude_deg = {float(site.latitude_deg)!r}",
        f"longitude_deg = {float(site.longitude_deg)!r}",
        f"height_m = {float(site.height_m)!r}",
    ]
    intro = (
        f"The outing of {date}, to be filled in. Write your number for each {UNKNOWN} and take the '# ' away from the "
        "lines of what you measured; leave the rest. Change a sigma that is not yours."
    )
    photos = (
        f"The photos come in by: whichsun measure MORNING.jpg EVENING.jpg -o {file} --overwrite (what you wrote here "
        f"stays). Then: whichsun score {file}"
    )
    head = [*_comment(intro), *_comment(photos), f'schema = "{SCHEMA}"']
    head += [f'made_by = "{made_by}"'] if made_by else []
    blocks = ["\n".join(head), "\n".join(site_lines)]
    blocks += [_block(one, date, zone) for one in quantities.rows]
    return "\n\n".join(blocks) + "\n"


def _comment(text: str) -> list[str]:
    return [f"## {line}" for line in textwrap.wrap(text, _WIDTH, break_on_hyphens=False)]


def _block(one: DayQuantity, date: dt.date, zone: Zone) -> str:
    """One measurement: what to do, then its table behind comment marks."""
    told = f"{one.method.label}. {one.method.how} {_INSTEAD.get(one.kind, '')}".strip()
    lines = _comment(told)
    lines += _comment(f"sigma: {one.method.source}.")
    items = observable_items(one.observable)
    table = ["[[observable]]", f'kind = "{one.kind}"']
    if one.kind not in WITHOUT_VALUE:
        table.append(f"value = {UNKNOWN}" + (f"  # {one.unit}" if one.unit else ""))
    table.append(f"sigma = {items['sigma']!r}" + (f"  # {one.sigma_unit}" if one.sigma_unit else ""))
    times = [f'"{_time(time, one.kind, zone)}"' for time in one.observable.time_utc]
    text = times[0] if len(times) == 1 else f"[{', '.join(times)}]"
    note = "the day" if one.kind in OF_A_DAY else "when it was, to the second"
    table.append(f"time_utc = {text}  # {note}")
    for key in ("time_sigma_s", "horizon_deg"):
        if key in items:
            table.append(f"{key} = {items[key]!r}")
    return "\n".join(lines + [f"# {line}" for line in table])


def _time(time_utc: str, kind: str, zone: Zone) -> str:
    """The day's noon as it is; a moment of the clock with the hour left open, on the clock of the zone."""
    if kind in OF_A_DAY:
        return time_utc
    local = zone.local(utc_days_of(parse_utc(time_utc)))
    return f"{local.date()}T{UNKNOWN * 2}:{UNKNOWN * 2}:{UNKNOWN * 2}{local.replace(microsecond=0).isoformat()[19:]}"

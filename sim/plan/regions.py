"""Sunspot regions of the day from a NOAA Solar Region Summary, a text file that the person brings.

Format: Space Weather Prediction Center, "Solar Region Summary (SRS)", README of 3 January 2008 (archived at
https://webarchive.library.unt.edu/eot2008/20090114033218/http://www.swpc.noaa.gov/ftpdir/forecasts/SRS/README):
places are heliographic degrees north or south and east or west of the central meridian, "rotated to 2400 UTC" of the
day before the issue; Lo is the Carrington longitude; Area the group's total area corrected for foreshortening, in
millionths of the solar hemisphere; Z the modified Zurich class; LL the group's extent in longitude, degrees; NN the
number of its visible spots. Section I lists groups with spots, IA plages without, II regions due to return.
(The page was read in part; its definitions of the columns agree in three programs that quote them.)
"""

from __future__ import annotations

import datetime as dt
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ...models.errors import InputError, WhichsunWarning
from ...models.place import utc_days_of

NAME = "regions"
"""What the command line calls the files."""

_MOST_BYTES = 200_000
_LONGEST_ROW, _LONGEST_TEXT = 200, 60
_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_OVER_9999 = dt.date(2002, 6, 14)
"""From then on numbers go on above 9999 in four digits (notice in the summaries of June 2002)."""

_PLACE = r"(?P<ns>[NS])(?P<latitude>\d{2})(?P<ew>[EW])(?P<meridian>\d{2,3})\s+(?P<carrington>\d{1,3})"
_ROWS = {
    "I": re.compile(
        rf"(?P<number>\d{{1,5}})\s+{_PLACE}\s+(?P<area>\d{{1,4}})\s+(?P<zurich>[A-Z]{{3}})\s+(?P<extent>\d{{1,3}})"
        r"\s+(?P<spots>\d{1,3})\s+(?P<magnetic>[A-Z]+(?:[-/ ][A-Z]+)*)",
        re.IGNORECASE,
    ),
    "IA": re.compile(rf"(?P<number>\d{{1,5}})\s+{_PLACE}(?:\s+\S.*)?", re.IGNORECASE),
    "II": re.compile(
        r"(?P<number>\d{1,5})\s+(?P<ns>[NS])(?P<latitude>\d{2})\s+(?P<carrington>\d{1,3})", re.IGNORECASE
    ),
}
_SHOULD_BE = {
    "I": "NUMBER LOCATION LO AREA Z LL NN MAG-TYPE, such as 1082 N27W05 305 0030 Dso 07 03 Beta",
    "IA": "NUMBER LOCATION LO, such as 1083 N19W35 331",
    "II": "NUMBER LAT LO, such as 1076 S19 196",
}
_SECTION = re.compile(
    r"(?:(?P<I>I)\..*SUNSPOTS|(?P<IA>IA)\..*PLAGES|(?P<II>II)\..*RETURN(?P<dates>.*)|(?P<III>III)\.).*",
    re.IGNORECASE,
)
_VALID = re.compile(r"VALID AT\s+(\d{1,2})/2400Z", re.IGNORECASE)
_ISSUED = (
    re.compile(
        r":ISSUED:\s*(?P<year>\d{4})\s+(?P<month>[A-Z]{3})[A-Z]*\s+(?P<day>\d{1,2})\s+\d{4}", re.IGNORECASE
    ),
    re.compile(
        r"SRS NUMBER.*ISSUED AT \d{4}Z ON (?P<day>\d{1,2})\s+(?P<month>[A-Z]{3})[A-Z]*\s+(?P<year>\d{4})",
        re.IGNORECASE,
    ),
)


@dataclass(frozen=True)
class Region:
    """One numbered region.

    Parameters
    ----------
    number : int
        In full (13000, where the file has 3000).
    latitude_deg : float
        Heliographic, north positive; whole degrees.
    meridian_deg : float or None
        West of the central meridian positive, at the summary's instant; None where the region is to return.
    carrington_deg : float
        As the file gives it.
    area_msh : float or None
        Of all spots together, corrected for foreshortening; in tens, 0 for the smallest. None without spots.
    extent_deg : float or None
        In heliographic longitude.
    spots : int or None
    zurich, magnetic : str
        Classes as written, empty where there are none.
    """

    number: int
    latitude_deg: float
    meridian_deg: float | None
    carrington_deg: float
    area_msh: float | None = None
    extent_deg: float | None = None
    spots: int | None = None
    zurich: str = ""
    magnetic: str = ""

    @property
    def single(self) -> bool:
        """Whether it is one spot: counted so, or of class H (a large round one) with a pore beside it."""
        return self.spots == 1 or (
            self.spots is not None and self.spots <= 2 and self.zurich[:1].upper() == "H"
        )


@dataclass(frozen=True)
class RegionSummary:
    """One file.

    Parameters
    ----------
    file : str
        Its name, printable.
    issued : date
    utc_days : float
        Instant for which the places hold, 2400 UTC of the day named in the file; days from 2000-01-01 12:00.
    regions, plages, returning : tuple of Region
        Sections I, IA and II.
    returning_dates : str
        "27 SEP to 29 SEP", as the file words it.
    corrected : bool
        A corrected copy.
    """

    file: str
    issued: dt.date
    utc_days: float
    regions: tuple[Region, ...]
    plages: tuple[Region, ...]
    returning: tuple[Region, ...]
    returning_dates: str = ""
    corrected: bool = False


def read_summaries(paths: Sequence[Path | str]) -> list[RegionSummary]:
    """Files in the order of their instants.

    Raises
    ------
    InputError
        See :func:`read_summary`; or two files hold for the same instant and neither is the corrected one.
    """
    summaries = sorted((read_summary(path) for path in paths), key=lambda one: (one.utc_days, one.corrected))
    kept: list[RegionSummary] = []
    for one in summaries:
        if kept and kept[-1].utc_days == one.utc_days:
            if kept[-1].corrected == one.corrected:
                raise InputError(
                    NAME,
                    "must be files of different days",
                    f"{kept[-1].file} and {one.file}",
                    "leave one out",
                )
            kept.pop()
        kept.append(one)
    return kept


def read_summary(path: Path | str) -> RegionSummary:
    """Read one Solar Region Summary.

    A row that is none of its section is left out with a warning that names file and line.

    Raises
    ------
    InputError
        The file is missing, too large, no text, or without date or section I.
    """
    path = Path(path)
    name = printable(path.name)
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(NAME, f"must be text files of at most {_MOST_BYTES // 1000} kB", name)
        raw = path.read_bytes()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise InputError(NAME, f"must be files that can be read ({reason})", name) from None
    if b"\0" in raw:
        raise InputError(NAME, "must be text files", name, "save the Solar Region Summary as plain text")
    return summary_of_text(raw.decode("utf-8", "replace"), name)


def summary_of_text(text: str, name: str = "text") -> RegionSummary:
    """The summary in `text`; `name` is what messages call it. Raises as :func:`read_summary`."""
    lines = re.split(r"\r\n|\r|\n", text)
    issued = _issued(lines, name)
    valid, dates = None, ""
    rows: dict[str, list[Region]] = {}
    section = ""
    for number, line in enumerate(lines, start=1):
        row = line[: _LONGEST_ROW + 1].strip()
        head = _SECTION.fullmatch(row)
        if head:
            section = next(name for name in ("I", "IA", "II", "III") if head[name])
            if section in rows:
                raise InputError(NAME, "must be files of one summary each", f"{name}, line {number}")
            rows[section] = []
            valid = valid or (_VALID.search(row) if section == "I" else None)
            dates = printable(head["dates"] or "") or dates
        elif section in _ROWS:
            if section == "II" and row and not row[0].isdigit() and not _is_title(row):
                section = ""  # comments and notices follow
            elif row and not _is_title(row):
                region = _region(section, row, issued)
                if region is None:
                    _warn(name, number, row, f"is no row of section {section} ({_SHOULD_BE[section]})")
                else:
                    rows[section].append(region)
    if "I" not in rows or valid is None:
        raise InputError(
            NAME,
            "must be Solar Region Summaries, with a line 'I. Regions with Sunspots. Locations Valid at DD/2400Z'",
            name,
            "take the text file as published by NOAA",
        )
    instant = _instant(int(valid[1]), issued, name)
    summary = RegionSummary(
        name,
        issued,
        instant,
        tuple(rows["I"]),
        tuple(rows.get("IA", ())),
        tuple(rows.get("II", ())),
        dates,
        any(re.search(r"CORRECTED\s*COPY", line, re.IGNORECASE) for line in lines[:12]),
    )
    return summary


def printable(text: str, longest: int = _LONGEST_TEXT) -> str:
    """Text from outside with its unprintable signs shown as a question mark, cut where it is long."""
    shown = "".join(sign if sign.isprintable() else "?" for sign in text.strip())
    return shown if len(shown) <= longest else shown[: longest - 3] + "..."


def _is_title(row: str) -> bool:
    return row.upper().split()[:1] in (["NMBR"], ["NONE"])


def _issued(lines: Sequence[str], name: str) -> dt.date:
    for line in lines[:40]:
        for pattern in _ISSUED:
            match = pattern.match(line.strip()[:_LONGEST_ROW])
            if match and match["month"].upper() in _MONTHS:
                month = _MONTHS.index(match["month"].upper()) + 1
                try:
                    return dt.date(int(match["year"]), month, int(match["day"]))
                except ValueError:
                    pass
    raise InputError(
        NAME,
        "must be Solar Region Summaries, with a line ':Issued: YYYY Mon DD HHMM UTC'",
        name,
        "take the text file as published by NOAA",
    )


def _instant(day: int, issued: dt.date, name: str) -> float:
    """2400 UTC of the last such day of a month before the issue; at most three days before it."""
    for back in range(4):
        date = issued - dt.timedelta(days=back)
        if date.day == day:
            midnight = dt.datetime.combine(date + dt.timedelta(days=1), dt.time(), dt.UTC)
            return utc_days_of(midnight)
    raise InputError(
        NAME, f"must hold for a day just before their issue on {issued}", f"{name}: valid at {day:02d}/2400Z"
    )


def _region(section: str, row: str, issued: dt.date) -> Region | None:
    """The row's region; None where it is no such row."""
    match = _ROWS[section].fullmatch(row)
    if match is None:
        return None
    field = match.groupdict()
    latitude, carrington = int(field["latitude"]), int(field["carrington"])
    meridian = None if section == "II" else int(field["meridian"])
    if latitude > 90 or carrington > 360 or (meridian is not None and meridian > 110):
        return None
    if meridian is not None and field["ew"].upper() == "E":
        meridian = -meridian
    region = Region(
        _full_number(int(field["number"]), issued),
        float(latitude if field["ns"].upper() == "N" else -latitude),
        None if meridian is None else float(meridian),
        float(carrington % 360),
    )
    if section != "I":
        return region
    return Region(
        region.number,
        region.latitude_deg,
        region.meridian_deg,
        region.carrington_deg,
        float(field["area"]),
        float(field["extent"]),
        int(field["spots"]),
        field["zurich"],
        field["magnetic"],
    )


def _full_number(number: int, issued: dt.date) -> int:
    """Four digits in full: the series passed 9999 in June 2002, when the last 9900s were still on the disc."""
    if number > 9999 or issued < _OVER_9999:
        return number
    return number if issued.year == 2002 and number > 5000 else number + 10_000


def _warn(name: str, line: int, row: str, problem: str) -> None:
    warnings.warn(
        f"{name}, line {line}: '{printable(row)}' {problem}; it is left out, correct or delete it",
        WhichsunWarning,
        stacklevel=3,
    )

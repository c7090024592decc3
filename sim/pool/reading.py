"""Submissions from a CSV file or a folder of outing files. All of it comes from strangers."""

from __future__ import annotations

import csv
import difflib
import math
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from ...models.errors import InputError, WhichsunError, WhichsunWarning
from ...models.place import parse_utc, utc_days_of
from ..compare.data import MOST_HOURS_APART, data_of
from ..outing import TURN_KINDS, Observable, Outing
from ..outing_file import read_outing
from .meter import Progress
from .submissions import KIND_NUMBER, Submissions

COLUMNS = (
    "id",
    "latitude_deg",
    "longitude_deg",
    "from_utc",
    "to_utc",
    "turn_deg",
    "sigma_deg",
    "turn_kind",
)
PLACE_COLUMNS = ("spot_vertex_angle_deg", "spot_radius")
MOST_SIGMA_DEG = 90.0
_LONGEST_ID = 80
_LINES_AT_ONCE = 20_000  # lines are kept as columns: a mapping per line takes ten times the memory


@dataclass
class PoolSource:
    """What was read.

    Attributes
    ----------
    rows : Submissions
        Angles.
    outings : list of (name, Outing)
        Outings whose photos can be scored.
    refused : list of (where, reason)
        Rows and files that were left out.
    """

    rows: Submissions
    outings: list[tuple[str, Outing]] = field(default_factory=list)
    refused: list[tuple[str, str]] = field(default_factory=list)


def read_source(path: Path, progress: Progress | None = None) -> PoolSource:
    """Read a CSV file, or every ``*.toml`` and ``*.csv`` of a folder.

    Bad rows and files are listed with their place and reason; the others go on. `progress` is called with (done, of,
    words).

    Raises
    ------
    InputError
        There is no such file or folder, the header is wrong, or nothing usable is in it.
    """
    if path.is_dir():
        source = _read_folder(path, progress)
    elif path.is_file():
        source = _read_csv(path, "", progress)
    else:
        raise InputError("source", "must be a CSV file or a folder of outing files", str(path))
    if not len(source.rows) and not source.outings:
        first = f"; first of {len(source.refused)}: {': '.join(source.refused[0])}" if source.refused else ""
        raise InputError("source", f"holds nothing that can be scored{first}", str(path))
    return source


def _read_folder(path: Path, progress: Progress | None) -> PoolSource:
    rows: list[dict] = []
    tables: list[Submissions] = []
    source, unused = PoolSource(Submissions.of([])), set()
    files = sorted(p for p in path.rglob("*") if p.suffix.lower() in (".toml", ".csv") and p.is_file())
    for number, file in enumerate(files, 1):
        if progress is not None:
            progress(number, len(files), "reading files")
        name = str(file.relative_to(path))
        try:
            if file.suffix.lower() == ".csv":
                part = _read_csv(file, f"{name}, ", None)
                tables.append(part.rows)
                source.refused += part.refused
                continue
            outing = read_outing(file)
            found = list(outing_rows(outing, file.stem, name))
            rows += found
            unused |= {one.kind for one in outing.observables if one.kind != "turn"}
            if len(outing.shots) > 1:
                kept = replace(outing, observables=())
                data_of(kept)  # refuses what cannot be scored
                source.outings.append((name, kept))
            elif not found:
                raise InputError("outing", "holds neither two photos nor a turn")
        except WhichsunError as error:
            source.refused.append((name, " ".join(str(error).split())))
    if unused:
        text = (
            f"a pool uses photos and turns, not {', '.join(sorted(unused))}; score uses them for one outing"
        )
        warnings.warn(text, WhichsunWarning, stacklevel=3)
    source.rows = Submissions.together([*tables, Submissions.of(rows)])
    return source


def outing_rows(outing: Outing, name: str, source: str) -> Iterator[dict]:
    """The turns of an outing as rows, for :meth:`Submissions.of`; its site must be known."""
    turns = [one for one in outing.observables if one.kind == "turn"]
    if not turns:
        return
    if outing.site is None:
        raise InputError("site", "must be known for a turn")
    for number, turn in enumerate(turns, 1):
        kind = str(turn.turn_kind)
        start, end = (utc_days_of(parse_utc(text)) for text in turn.time_utc)
        radius, angle = _place_of(turn)
        row = {
            "id": name if len(turns) == 1 else f"{name}-{number}",
            "latitude_deg": outing.site.latitude_deg,
            "longitude_deg": outing.site.longitude_deg,
            "from_day": start,
            "to_day": end,
            "turn_deg": turn.value,
            "sigma_deg": turn.sigma,
            "kind": KIND_NUMBER[kind],
            "vertex_angle_deg": angle,
            "radius": radius,
            "source": source,
        }
        yield _checked(row)


def _place_of(turn: Observable) -> tuple[float, float]:
    """Radius and vertex angle (deg) of a turn's spot, nan where it was not told."""
    if turn.spot_x is None or turn.spot_y is None:
        return math.nan, math.nan
    return math.hypot(turn.spot_x, turn.spot_y), math.degrees(math.atan2(-turn.spot_x, turn.spot_y))


def _read_csv(path: Path, prefix: str, progress: Progress | None) -> PoolSource:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = " ".join(str(error).split())[:100]
        raise InputError("source", f"must be a CSV file in UTF-8 ({reason})", str(path)) from None
    whole = text.splitlines()
    lines = ((n, line) for n, line in enumerate(whole, 1) if line.strip() and line[0] != "#")
    first = next(lines, None)
    if first is None:
        raise InputError("source", "must hold a header line", str(path))
    header = _header(first[1], path)
    rows: list[dict] = []
    parts: list[Submissions] = []
    refused: list[tuple[str, str]] = []
    for number, line in lines:
        where = f"{prefix}line {number}"
        try:
            rows.append(_row_of(header, line, where))
        except (InputError, csv.Error) as error:
            refused.append((where, " ".join(str(error).split())))
        if len(rows) == _LINES_AT_ONCE:
            parts.append(Submissions.of(rows))
            rows = []
            if progress is not None:
                progress(number, len(whole), "reading lines")
    return PoolSource(Submissions.together([*parts, Submissions.of(rows)]), [], refused)


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader([line], strict=True))]


def _header(line: str, path: Path) -> list[str]:
    try:
        names = _cells(line)
    except csv.Error as error:
        raise InputError("source", f"has a header that is no CSV ({error})", str(path)) from None
    known = (*COLUMNS, *PLACE_COLUMNS)
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            guess = f"did you mean '{near[0]}'? " if near else ""
            rule = f"is no column of a pool: {guess}known are {', '.join(known)}"
            raise InputError(name[:60], rule, hint=f"in the header of {path.name}")
    missing = [name for name in COLUMNS if name not in names]
    if missing or len(set(names)) < len(names):
        rule = f"lacks {', '.join(missing)}" if missing else "names a column twice"
        raise InputError("source", f"{rule} in its header", str(path))
    return names


def _row_of(header: list[str], line: str, where: str) -> dict:
    cells = _cells(line)
    if len(cells) != len(header):
        raise InputError(
            "row", f"must have {len(header)} cells", len(cells), "one row must stand on one line"
        )
    given = dict(zip(header, cells, strict=True))
    if given["turn_kind"] not in TURN_KINDS:
        raise InputError("turn_kind", f"must be one of {', '.join(TURN_KINDS)}", given["turn_kind"][:40])
    row = {
        "id": given["id"][:_LONGEST_ID],
        "from_day": _day(given, "from_utc"),
        "to_day": _day(given, "to_utc"),
        "kind": KIND_NUMBER[given["turn_kind"]],
        "source": where,
    }
    for name in ("latitude_deg", "longitude_deg", "turn_deg", "sigma_deg"):
        row[name] = _number(given, name)
    place = [given.get(name, "") for name in PLACE_COLUMNS]
    if any(place) and not all(place):
        raise InputError(" and ".join(PLACE_COLUMNS), "must be given both or neither")
    if all(place):
        row["vertex_angle_deg"] = _number(given, PLACE_COLUMNS[0])
        row["radius"] = _number(given, PLACE_COLUMNS[1])
    return _checked(row)


def _checked(row: dict) -> dict:
    """The row with its turn wrapped, after checking all ranges."""
    for name, label, low, high in (
        ("latitude_deg", "latitude_deg", -90, 90),
        ("longitude_deg", "longitude_deg", -180, 360),
        ("turn_deg", "turn_deg", -360, 360),
        ("vertex_angle_deg", PLACE_COLUMNS[0], -360, 360),
        ("radius", PLACE_COLUMNS[1], 0, 1),
    ):
        value = row.get(name, math.nan)
        if not (math.isnan(value) or low <= value <= high):
            raise InputError(label, f"must be between {low} and {high}", value)
    if not 0 < row["sigma_deg"] <= MOST_SIGMA_DEG:
        raise InputError("sigma_deg", f"must be above 0 and at most {MOST_SIGMA_DEG:.0f}", row["sigma_deg"])
    hours = 24 * (row["to_day"] - row["from_day"])
    if not 0 < hours <= MOST_HOURS_APART:
        rule = f"must be later than from_utc, by {MOST_HOURS_APART:.0f} h at most"
        raise InputError("to_utc", rule, f"{hours:.2f} h")
    if not -40_000 < row["from_day"] / 3.6525 < 40_000:
        raise InputError("from_utc", "must lie within 400 years of 2000")
    row["turn_deg"] = -((180 - row["turn_deg"]) % 360 - 180)
    return row


def _number(given: dict[str, str], name: str) -> float:
    try:
        value = float(given[name])
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(name, "must be a number", given[name][:40])
    return value


def _day(given: dict[str, str], name: str) -> float:
    return utc_days_of(parse_utc(given[name][:60], name))


def plain(text: str, most: int = _LONGEST_ID) -> str:
    """Text of a stranger for a terminal: no control characters, no escapes, no reversal of the line."""
    kept: Iterable[str] = (c for c in text if c.isprintable())
    return "".join(kept)[:most]

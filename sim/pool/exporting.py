"""A person's rows to hand in: the least that a pool needs, nothing that names anybody or any file."""

from __future__ import annotations

import csv
import hashlib
import io
import math

import numpy as np

from ...models.errors import InputError
from ...models.place import datetime_of, parse_utc, utc_days_of
from ..compare.turn import spot_table
from ..outing import TRIPOD_ROLL_SIGMA_DEG, TURN_KINDS, Outing, Shot
from ..photo.matching import match_spots
from .reading import COLUMNS, PLACE_COLUMNS, outing_rows

_LIKELY, _LEAST_RADIUS, _MOST_RADIUS = 0.9, 0.2, 0.9
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def rows_to_hand_in(outing: Outing, *, exact_site: bool = False) -> list[dict[str, object]]:
    """Rows of an outing by the columns of a pool's CSV.

    Its turns where it has any; else, from the photos, the turn from the first to the last of the spot that
    tells most, with its place in the first photo (without the place a near Sun can hardly be tested).

    Parameters
    ----------
    outing : Outing
    exact_site : bool
        Without it the site is rounded to 0.1 degree (some 10 km).

    Raises
    ------
    InputError
        No site, no times, no spot in common, a camera held by hand or on an equatorial mount.
    """
    if outing.site is None:
        raise InputError("site", "must be known to hand a turn in", hint="add [site] to the outing")
    found = list(outing_rows(outing, "", "")) or [_photo_row(outing)]
    digits = 6 if exact_site else 1
    return [_row(one, digits) for one in found]


def _row(one: dict, digits: int) -> dict[str, object]:
    row: dict[str, object] = {
        "id": "",
        "latitude_deg": round(float(one["latitude_deg"]), digits),
        "longitude_deg": round(float(one["longitude_deg"]), digits),
        "from_utc": _second(one["from_day"]),
        "to_utc": _second(one["to_day"]),
        "turn_deg": round(float(one["turn_deg"]), 2),
        "sigma_deg": max(round(float(one["sigma_deg"]), 2), 0.01),
        "turn_kind": TURN_KINDS[int(one["kind"])],
    }
    for name, key, places in zip(PLACE_COLUMNS, ("vertex_angle_deg", "radius"), (2, 4), strict=True):
        value = one.get(key, math.nan)
        row[name] = "" if math.isnan(value) else round(float(value), places)
    row["id"] = "p" + hashlib.sha256(repr(list(row.values())).encode()).hexdigest()[:10]
    return row


def _second(day: float) -> str:
    return datetime_of(float(day)).isoformat(timespec="seconds").replace("+00:00", "Z")


def _photo_row(outing: Outing) -> dict:
    if len(outing.shots) < 2:
        raise InputError("outing", "must hold two photos or a turn to hand in")
    first, last = outing.shots[0], outing.shots[-1]
    assert outing.site is not None  # checked by the caller
    days = [_day(shot) for shot in (first, last)]
    tilt = math.hypot(_roll_sigma_deg(first), _roll_sigma_deg(last))
    a, b = spot_table(first), spot_table(last)
    best: tuple[float, dict] | None = None
    for match in match_spots(a, b, days[1] - days[0]).matches:
        radii = [float(np.hypot(*a.xy[match.a])), float(np.hypot(*b.xy[match.b]))]
        if match.probability < _LIKELY or min(radii) < _LEAST_RADIUS or max(radii) > _MOST_RADIUS:
            continue
        angles = [math.atan2(-x, y) for x, y in (a.xy[match.a], b.xy[match.b])]
        across = [_across(table.xy[i], table.covariance[i]) for table, i in ((a, match.a), (b, match.b))]
        row = {
            "latitude_deg": outing.site.latitude_deg,
            "longitude_deg": outing.site.longitude_deg,
            "from_day": days[0],
            "to_day": days[1],
            "turn_deg": math.degrees(math.remainder(angles[1] - angles[0], 2 * math.pi)),
            "sigma_deg": math.hypot(tilt, math.degrees(math.hypot(*across))),
            "kind": TURN_KINDS.index("spot"),
            "vertex_angle_deg": math.degrees(angles[0]),
            "radius": radii[0],
        }
        if best is None or row["sigma_deg"] < best[0]:
            best = row["sigma_deg"], row
    if best is None:
        rule = (
            f"must be in common between {_LEAST_RADIUS:g} and {_MOST_RADIUS:g} radii from the disc's centre"
        )
        raise InputError("spot", rule, hint="hand in the turn of another pair, or write a [[observable]]")
    return best[1]


def _across(place: np.ndarray, covariance: np.ndarray) -> float:
    """Standard deviation (rad) of a place's vertex angle."""
    radius = float(np.hypot(*place))
    side = np.array([-place[1], place[0]]) / radius
    return math.sqrt(float(side @ covariance @ side)) / radius


def _day(shot: Shot) -> float:
    if not shot.time_utc:
        raise InputError("time_utc", "of the first and the last photo must be known to hand a turn in")
    return utc_days_of(parse_utc(shot.time_utc))


def _roll_sigma_deg(shot: Shot) -> float:
    if shot.roll_sigma_deg is not None:
        return shot.roll_sigma_deg
    if shot.mount != "level-tripod":
        hint = "its level is not known; give roll_deg and roll_sigma_deg if you know them"
        raise InputError("mount", "must be level-tripod to hand a turn in", shot.mount, hint)
    return TRIPOD_ROLL_SIGMA_DEG


def csv_text(rows: list[dict[str, object]]) -> str:
    """The rows as CSV with a header; text that a spreadsheet would run as a formula is quoted with '."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    names = (*COLUMNS, *PLACE_COLUMNS)
    writer.writerow(names)
    writer.writerows([safe_cell(row[name]) for name in names] for row in rows)
    return stream.getvalue()


def safe_cell(value: object) -> object:
    """A cell for CSV: numbers as they are, text without control characters and never a formula."""
    if not isinstance(value, str):
        return value
    kept = "".join(c for c in value if c.isprintable() or c == "\t")
    return f"'{kept}" if value.startswith(_FORMULA) or kept.startswith(_FORMULA) else kept

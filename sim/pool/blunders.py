"""What looks wrong with single submissions, and the repair that would explain it. Nothing is repaired."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models.geometry import Array
from ...models.observables import altitude
from ...models.place import datetime_of, utc_days_of
from ...models.registry import get_model
from ..compare.hypotheses import FLAG_ODDS
from .mixture import ANY, COMPONENTS, RIGHT
from .predict import shifted
from .runner import ROWS_AT_ONCE
from .scoring import PoolScores
from .submissions import Submissions
from .target import Work, row_details

# Prior shares of what is tried only where a row fits badly: choices. Local time taken for UTC is the commonest slip.
HEMISPHERE, DATE, LOCAL_TIME, OTHER_HOURS = 0.01, 0.005, 0.01, 0.002
_HOURS = tuple(h for h in range(-14, 15) if abs(h) > 1)
_SAME = (0.06, 0.06, 3 / 1440, 3 / 1440, 0.06)  # degrees, degrees, days, days, degrees: nearly the same row
_ANY = ANY / (2 * np.pi)
_BAD_AT_ONCE = 1000  # rows that are looked into together: each is tried in some 30 ways
_LEAST_ALTITUDE = np.deg2rad(-2.0)  # refraction and a coarse place allowed for


@dataclass(frozen=True)
class Flag:
    """One suspicion: its kind, the repair in words, and its odds against the row being right."""

    kind: str
    repair: str
    odds: float


def flags_of(scores: PoolScores, model: str) -> list[Sequence[Flag]]:
    """Suspicions about every row under `model`, the likeliest first; duplicates last."""
    rows, details = scores.rows, scores.details[model]
    found: list[Sequence[Flag]] = [()] * len(rows)
    if not len(rows):
        return found
    bad = np.flatnonzero(details[:, 1:6].max(axis=1) > details[:, 0])
    # In order of time: the Sun is interpolated where instants lie close.
    bad = bad[np.argsort(rows.from_day[bad], kind="stable")]
    for start in range(0, len(bad), _BAD_AT_ONCE):
        some = bad[start : start + _BAD_AT_ONCE]
        for i, candidates in zip(some, _candidates(scores, model, some), strict=True):
            found[i] = _chosen(candidates, float(details[i, 0]))
        scores.options.progress(start + len(some), len(bad), "looking into what fits badly")
    for i, words in duplicates(rows).items():
        found[i] = [*found[i], Flag("duplicate", words, np.inf)]
    return found


def _candidates(scores: PoolScores, model: str, some: np.ndarray) -> list[list[tuple[str, str, float]]]:
    """Kind, words and prior share times density of every mistake that may explain each of `some` rows."""
    rows, details = scores.rows, scores.details[model]
    found: list[list[tuple[str, str, float]]] = [[] for _ in some]
    for own, i in zip(found, some.tolist(), strict=True):
        for number in range(1, 5):
            for kind, words in _mixture_words(rows, i, COMPONENTS[number]):
                own.append((kind, words, float(details[i, number])))
    tries = []
    for kind, words, share, changed in _tries(rows[some]):
        able = np.array([bool(text) for text in words])
        shares = np.broadcast_to(share, len(some))[able]
        tries.append((kind, words, np.flatnonzero(able), shares, changed[able]))
    density = _right_density(scores, model, Submissions.together([one[-1] for one in tries]))
    start = 0
    for kind, words, places, shares, _ in tries:
        values = shares * density[start : start + len(places)]
        start += len(places)
        for k, value in zip(places.tolist(), values.tolist(), strict=True):
            found[k].append((kind, words[k], value))
    return found


def _chosen(candidates: list[tuple[str, str, float]], right: float) -> list[Flag]:
    best = max((value for _, _, value in candidates), default=0.0)
    flags = {}
    for kind, words, value in sorted(candidates, key=lambda one: -one[2]):
        odds = value / max(right, 1e-300)
        if odds > FLAG_ODDS and value > _ANY and value > best / FLAG_ODDS and kind not in flags:
            flags[kind] = Flag(kind, words, odds)
    if not flags and max(right, best) < _ANY:
        flags["outlier"] = Flag(
            "outlier", "no single mistake that was tried explains it", _ANY / max(right, 1e-300)
        )
    return list(flags.values())


def _mixture_words(rows: Submissions, i: int, component: str) -> list[tuple[str, str]]:
    opposite = f"a turn of {-rows.turn_deg[i]:+.1f} instead of {rows.turn_deg[i]:+.1f} deg"
    sign = ("sign", f"the opposite sign, {opposite}, would explain it")
    if component == "sign" and rows.placed[i]:
        return [sign]
    if component == "sign":
        words = (
            f"a mirrored photo, {opposite}, would explain it (an angle alone cannot part that from the sign)"
        )
        return [sign, ("mirrored", words)]
    if component == "mirrored":
        return [("mirrored", "photos mirrored left to right would explain it")] if rows.placed[i] else []
    return [("time-zone", _hours_words(-1 if component == "hour-earlier" else 1))]


def _hours_words(hours: int) -> str:
    plural = "s" if abs(hours) > 1 else ""
    way = "later" if hours > 0 else "earlier"
    return f"true times {abs(hours)} hour{plural} {way} would explain it; check the offset from UTC"


def _tries(rows: Submissions):
    """Changed rows with kind, words for every row ("" where it cannot be tried) and prior share or shares."""
    if not len(rows):
        return
    zone = -np.round(rows.longitude_deg / 15)  # what would undo local time that was taken for UTC
    places = [
        f"latitude {-value:+.1f} instead of {value:+.1f} would explain it" for value in rows.latitude_deg
    ]
    yield "hemisphere", places, HEMISPHERE, replace(rows, latitude_deg=-rows.latitude_deg)
    moves = [shifted(rows, float(hours)) for hours in _HOURS]
    for hours, moved, days in zip(_HOURS, moves, _by_day(moves), strict=True):
        words = [_hours_words(hours) if day else "" for day in days]
        local = np.abs((hours - zone + 12) % 24 - 12) <= 1
        yield "time-zone", words, np.where(local, LOCAL_TIME, OTHER_HOURS), moved
    for months in (0, -6, -1, 1, 6):
        moved, words = _other_dates(rows, months)
        yield "date", words, DATE, moved


def _by_day(moves: Sequence[Submissions]) -> np.ndarray:
    """Whether the Sun is up at both times of every row of every move, shape (moves, rows).

    Whoever shifts times must not land in the night. Rise and set are those of the distant sphere for every model,
    as wherever they are asked for.
    """
    rows = Submissions.together(moves)  # in one piece: the Sun is interpolated where there are many instants
    seen = get_model("distant-sphere").view(rows.instants(), rows.site(), {})
    return (altitude(seen).min(axis=(1, 2)) > _LEAST_ALTITUDE).reshape(len(moves), -1)


def _other_dates(rows: Submissions, months: int) -> tuple[Submissions, list[str]]:
    """The rows on another date: day and month exchanged (0), or some months on; words "" where there is none."""
    start, words = rows.from_day.copy(), []
    for i, day in enumerate(rows.from_day):
        there = datetime_of(float(day))
        try:
            if months:
                year, month = divmod(there.year * 12 + there.month - 1 + months, 12)
                other = there.replace(year=year, month=month + 1)
            else:
                other = there.replace(month=there.day, day=there.month)
            start[i] = utc_days_of(other)
        except ValueError:
            other = there
        same = other == there
        words.append("" if same else f"the date {_date(other)} instead of {_date(there)} would explain it")
    return replace(rows, from_day=start, to_day=start + rows.days), words


def _date(moment: dt.datetime) -> str:
    return moment.date().isoformat()


def _right_density(scores: PoolScores, model: str, rows: Submissions) -> Array:
    """Density (per radian) of single rows being right under a model's best variant at its best values."""
    entry = scores.leader(model)
    if entry.evidence is None:
        return np.zeros(len(rows))
    best = entry.evidence.middle
    order = np.argsort(rows.from_day, kind="stable")
    result = np.empty(len(rows))
    for start in range(0, len(rows), ROWS_AT_ONCE):
        part = order[start : start + ROWS_AT_ONCE]
        result[part] = row_details(Work("", rows[part], entry.worker, best[None], best[:-2]))[:, 0]
    return result / RIGHT


def duplicates(rows: Submissions) -> dict[int, str]:
    """Later rows that are the same, or nearly, as an earlier one, with words that name that one's place."""
    columns = (rows.latitude_deg, rows.longitude_deg, rows.from_day, rows.to_day, rows.turn_deg)
    scaled = np.stack([column / step for column, step in zip(columns, _SAME, strict=True)])
    found: dict[int, str] = {}
    for half in (0.0, 0.5):  # two grids, so that a border between cells parts hardly any pair
        first = _first_alike(np.vstack([np.floor(scaled + half), rows.kind]))
        for i in np.flatnonzero(first != np.arange(len(rows))):
            j = int(first[i])
            exact = bool(np.all(scaled[:, i] == scaled[:, j]))
            how = "the same as" if exact else "nearly the same as"
            found.setdefault(int(i), f"{how} {rows.source[j]}; count it once")
    _, first, same = np.unique(rows.id, return_index=True, return_inverse=True)
    first = first[same.ravel()]
    for i in np.flatnonzero((first != np.arange(len(rows))) & (rows.id != "")):
        where = rows.source[first[i]]
        found.setdefault(int(i), f"has the id of {where}; count it once if it is the same")
    return found


def _first_alike(cells: Array) -> np.ndarray:
    """Number of the first row with the same cells (columns, n) as each row, shape (n,)."""
    order = np.lexsort(cells)  # stable: of equal rows the first comes first
    new = np.ones(len(order), dtype=bool)
    new[1:] = np.any(cells[:, order[1:]] != cells[:, order[:-1]], axis=0)
    first = np.empty(len(order), dtype=int)
    first[order] = order[new][np.cumsum(new) - 1]
    return first

"""What a person says against the machine: spots added, spots dropped, matches and the target named."""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from ...models.errors import InputError, WhichsunWarning
from ..outing import HandMatch, Spot
from .eyed import measure_at, spot_of_file
from .load import load_photo
from .measured import PhotoMeasurement, outing_spots

_SAME_PLACE = 0.004  # limb radii: an added spot this near to a found one is the same
_MATCHED_AGAIN = 0.01  # limb radii: a spot this near to a matched place is the one that was matched


@dataclass(frozen=True)
class Overrule:
    """A person's corrections; shots are given by file name or by their number from 1.

    Parameters
    ----------
    match : tuple of (int, int)
        Spot numbers in the first and in the last photo that are one spot.
    add : tuple of (str, float, float)
        Shot, column and row (photo frame) of a spot that an eye sees.
    drop : tuple of (str, int)
        Shot and number of a find that is no spot.
    target : (str, int), optional
        Shot (the first or the last) and number of the spot whose turn is shown beside the pattern's.
    kept : mapping of str to tuple of Spot
        Per file the spots marked by hand in an earlier outing file.
    dropped_px : mapping of str to tuple of float
        Per file column, row, column, row, ... of the finds dropped earlier.
    kept_matches : tuple of HandMatch
        Matches by hand of an earlier outing file.
    """

    match: tuple[tuple[int, int], ...] = ()
    add: tuple[tuple[str, float, float], ...] = ()
    drop: tuple[tuple[str, int], ...] = ()
    target: tuple[str, int] | None = None
    kept: Mapping[str, tuple[Spot, ...]] = field(default_factory=dict)
    dropped_px: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    kept_matches: tuple[HandMatch, ...] = ()


def parse_overrule(
    match: Sequence[str] = (),
    add: Sequence[str] = (),
    drop: Sequence[str] = (),
    target: str | None = None,
    kept: Mapping[str, tuple[Spot, ...]] | None = None,
    dropped_px: Mapping[str, tuple[float, ...]] | None = None,
    kept_matches: Sequence[HandMatch] = (),
) -> Overrule:
    """Corrections from the words of the command line.

    Raises
    ------
    InputError
        A text is not of its form; names the option and the form.
    """
    pairs = []
    for text in ",".join(match).split(",") if match else ():
        found = re.fullmatch(r"\s*(\d+)\s*:\s*(\d+)\s*", text)
        if found is None:
            raise InputError(
                "--match", "must be pairs of spot numbers first:last, such as 1:3,2:1", ",".join(match)
            )
        pairs.append((int(found[1]), int(found[2])))
    for side, which in ((0, "first"), (1, "last")):
        numbers = [pair[side] for pair in pairs]
        if len(set(numbers)) < len(numbers):
            twice = next(number for number in numbers if numbers.count(number) > 1)
            raise InputError("--match", f"must use each spot of the {which} photo once", twice)
    added = []
    for text in add:
        found = re.fullmatch(r"(.+):\s*([-+.\deE]+)\s*,\s*([-+.\deE]+)\s*", text)
        try:
            added.append((found[1], float(found[2]), float(found[3])) if found else None)
        except ValueError:
            added.append(None)
        if added[-1] is None or not np.all(np.isfinite(added[-1][1:])):
            raise InputError("--add-spot", "must be SHOT:COLUMN,ROW, such as 2:812,640", text)
    dropped = [_shot_and_number("--drop-spot", text) for text in drop]
    aim = None if target is None else _shot_and_number("--target", target)
    adds = tuple(one for one in added if one)
    before = dict(kept or {}), dict(dropped_px or {}), tuple(kept_matches)
    return Overrule(tuple(pairs), adds, tuple(dropped), aim, *before)


def _shot_and_number(option: str, text: str) -> tuple[str, int]:
    found = re.fullmatch(r"(.+):\s*(\d+)\s*", text)
    if found is None:
        raise InputError(option, "must be SHOT:NUMBER, such as 1:3", text)
    return found[1], int(found[2])


def shot_index(option: str, shot: str, photos: Sequence[PhotoMeasurement], names: Sequence[str]) -> int:
    """Place in `photos` of a shot given by file name or by its number among `names`.

    Raises
    ------
    InputError
        There is none, or it could not be measured.
    """
    files = [photo.shot.file for photo in photos]
    if shot in files:
        return files.index(shot)
    like = [index for index, file in enumerate(files) if Path(file).name == Path(shot).name]
    if len(like) == 1:
        return like[0]
    text = shot.strip()
    if text.isdecimal() and 1 <= int(text) <= len(names):
        name = names[int(text) - 1]
        if name in files:
            return files.index(name)
        raise InputError(option, "must name a photo that could be measured", name)
    known = ", ".join(f"{i} ({Path(name).name})" for i, name in enumerate(names[:6], start=1))
    raise InputError(option, f"must name a shot by number or file: {known}", shot)


def spot_place(option: str, photo: PhotoMeasurement, number: int) -> int:
    """Place of a spot's number in the photo's list.

    Raises
    ------
    InputError
        The photo has no such spot.
    """
    numbers = [spot.id for spot in photo.shot.spots]
    if number not in numbers:
        some = ", ".join(map(str, numbers[:12])) + (" ..." if len(numbers) > 12 else "")
        rule = f"must be a spot of {Path(photo.shot.file).name} ({some or 'it has none'})"
        raise InputError(option, rule, number)
    return numbers.index(number)


def overruled(
    photos: Sequence[PhotoMeasurement], names: Sequence[str], overrule: Overrule
) -> list[PhotoMeasurement]:
    """The photos with the spots dropped and added that a person named; other spots keep their numbers.

    Raises
    ------
    InputError
        No such shot or spot, a place off the disc, or a spot that is there already.
    """
    result = list(photos)
    last = [max((spot.id for spot in photo.shot.spots), default=0) for photo in photos]
    for index, photo in enumerate(photos):
        for spot in overrule.kept.get(photo.shot.file, ()):
            if _found_at(result[index], spot.x, spot.y) is None:
                last[index] = spot.id if spot.id > last[index] else last[index] + 1
                result[index] = _with_kept(result[index], replace(spot, id=last[index]))
    gone: dict[int, set[int]] = {}
    for index, photo in enumerate(result):
        places = np.reshape(overrule.dropped_px.get(photo.shot.file, ()), (-1, 2))
        gone[index] = {spot.id for spot in _at_places(photo, places)}
        result[index] = replace(photo, shot=replace(photo.shot, dropped_px=tuple(places.ravel()) or None))
    for shot, number in overrule.drop:
        index = shot_index("--drop-spot", shot, photos, names)
        spot_place("--drop-spot", result[index], number)
        gone.setdefault(index, set()).add(number)
    for index, numbers in gone.items():
        result[index] = _without(result[index], numbers)
    for shot, column, row in overrule.add:
        index = shot_index("--add-spot", shot, photos, names)
        last[index] += 1
        result[index] = _with_added(result[index], column, row, last[index])
    return result


def _without(photo: PhotoMeasurement, numbers: set[int]) -> PhotoMeasurement:
    keep = [i for i, spot in enumerate(photo.shot.spots) if spot.id not in numbers]
    refused = tuple(
        (spot.column, spot.row, "dropped by hand")
        for spot, shown in zip(photo.findings.spots, photo.shot.spots, strict=True)
        if shown.id in numbers
    )
    findings = replace(
        photo.findings,
        spots=tuple(photo.findings.spots[i] for i in keep),
        refused=photo.findings.refused + refused,
    )
    fresh = [(round(column, 2), round(row, 2)) for column, row, _ in refused]
    before = np.reshape(photo.shot.dropped_px or (), (-1, 2))
    places = fresh + [(place[0], place[1]) for place in before.tolist() if not _near(place, fresh, photo)]
    flat = tuple(value for place in sorted(places) for value in place)
    shot = replace(photo.shot, spots=tuple(photo.shot.spots[i] for i in keep), dropped_px=flat or None)
    return replace(photo, findings=findings, shot=shot)


def _near(place: Sequence[float], others: Sequence[Sequence[float]], photo: PhotoMeasurement) -> list[int]:
    """Which of the pixel places are the same as `place`."""
    reach = _SAME_PLACE * photo.limb.disc.a + 1.0
    return [i for i, other in enumerate(others) if np.hypot(other[0] - place[0], other[1] - place[1]) < reach]


def _at_places(photo: PhotoMeasurement, places: np.ndarray) -> list[Spot]:
    """The photo's detected spots at places that were dropped earlier; spots by hand stay."""
    seen = [(spot.column, spot.row) for spot in photo.findings.spots]
    near = {i for place in places for i in _near(place, seen, photo)}
    return [photo.shot.spots[i] for i in sorted(near) if not photo.shot.spots[i].by_hand]


def _found_at(photo: PhotoMeasurement, x: float, y: float) -> int | None:
    """Number of the spot at a place, if there is one."""
    gaps = [(np.hypot(spot.x - x, spot.y - y), spot.id) for spot in photo.shot.spots]
    return min(gaps)[1] if gaps and min(gaps)[0] < _SAME_PLACE else None


def _with_kept(photo: PhotoMeasurement, spot: Spot) -> PhotoMeasurement:
    seen = spot_of_file(photo.limb, spot)
    findings = replace(photo.findings, spots=(*photo.findings.spots, seen))
    return replace(photo, findings=findings, shot=replace(photo.shot, spots=(*photo.shot.spots, spot)))


def _with_added(photo: PhotoMeasurement, column: float, row: float, number: int) -> PhotoMeasurement:
    name = Path(photo.shot.file).name
    x, y = (float(v) for v in photo.limb.disc.to_disc(np.array(column), np.array(row)))
    if np.hypot(x, y) > 0.99:
        raise InputError("--add-spot", f"must lie on the disc of {name}", (column, row))
    seen, measured = measure_at(load_photo(photo.path), photo.limb, column, row)
    there = _found_at(photo, seen.x, seen.y)
    if there is not None:
        raise InputError(
            "--add-spot", f"must not be there already: it is spot {there} of {name}", (column, row)
        )
    if not measured:
        warnings.warn(
            f"{name}: nothing dark stands out at {column:g}, {row:g}; the added spot is placed there as given",
            WhichsunWarning,
            stacklevel=4,
        )
    spot = replace(outing_spots([seen])[0], id=number, by_hand=True)
    findings = replace(photo.findings, spots=(*photo.findings.spots, seen))
    return replace(photo, findings=findings, shot=replace(photo.shot, spots=(*photo.shot.spots, spot)))


@dataclass(frozen=True)
class HandMatched:
    """A match by hand found in the photos: places of the photos in their list, spot numbers, and as it is kept."""

    a: int
    id_a: int
    b: int
    id_b: int
    kept: HandMatch


def matched_by_hand(
    photos: Sequence[PhotoMeasurement], overrule: Overrule
) -> tuple[list[HandMatched], list[HandMatch]]:
    """The matches by hand, those given now and those of the earlier outing file that they leave standing.

    A match of the earlier file goes where one of its spots was dropped or matched anew. Where a spot is not
    found this time a warning tells so, and the match is returned apart, to be kept without effect. Matches of
    shots that are not among `photos` are left out.

    Raises
    ------
    InputError
        There are not two photos, or one has no such spot.
    """
    if overrule.match and len(photos) < 2:
        raise InputError("--match", "needs two photos or more", len(photos))
    last = len(photos) - 1
    found = []
    for id_a, id_b in overrule.match:
        a, b = spot_place("--match", photos[0], id_a), spot_place("--match", photos[-1], id_b)
        places = _pixel_place(photos[0], a), _pixel_place(photos[-1], b)
        kept = HandMatch(photos[0].shot.file, places[0], photos[-1].shot.file, places[1])
        found.append(HandMatched(0, id_a, last, id_b, kept))
    idle = []
    numbers = {photo.shot.file: index for index, photo in enumerate(photos)}
    for match in overrule.kept_matches:
        if match.shot_a not in numbers or match.shot_b not in numbers:
            continue
        ends = (numbers[match.shot_a], match.place_a_px), (numbers[match.shot_b], match.place_b_px)
        ids = [_spot_again(photos[index], place) for index, place in ends]
        known = [(index, number) for (index, _), number in zip(ends, ids, strict=True) if number is not None]
        if len(known) == 2:
            (a, id_a), (b, id_b) = sorted(known)
            again = HandMatched(a, id_a, b, id_b, match)
            if not any(_share_a_spot(again, one) for one in found):
                found.append(again)
        elif not any(_was_dropped(photos[index], place) for index, place in ends):
            idle.append(match)
            _warn_lost(match, photos, ends, ids)
    return sorted(found, key=lambda one: (one.a, one.b, one.id_a)), idle


def _share_a_spot(one: HandMatched, other: HandMatched) -> bool:
    if (one.a, one.b) != (other.a, other.b):
        return False
    return one.id_a == other.id_a or one.id_b == other.id_b


def _spot_again(photo: PhotoMeasurement, place: tuple[float, float]) -> int | None:
    """Number of the spot at a place where one was matched by hand."""
    gaps = [
        (float(np.hypot(seen.column - place[0], seen.row - place[1])), spot.id)
        for seen, spot in zip(photo.findings.spots, photo.shot.spots, strict=True)
    ]
    return min(gaps)[1] if gaps and min(gaps)[0] < _MATCHED_AGAIN * photo.limb.disc.a + 1.0 else None


def _was_dropped(photo: PhotoMeasurement, place: tuple[float, float]) -> bool:
    return bool(_near(place, np.reshape(photo.shot.dropped_px or (), (-1, 2)).tolist(), photo))


def _warn_lost(
    match: HandMatch,
    photos: Sequence[PhotoMeasurement],
    ends: Sequence[tuple[int, tuple[float, float]]],
    ids: Sequence[int | None],
) -> None:
    lost = " and ".join(
        f"at {place[0]:.0f}, {place[1]:.0f} of {Path(photos[index].shot.file).name}"
        for (index, place), number in zip(ends, ids, strict=True)
        if number is None
    )
    names = f"{Path(match.shot_a).name} and {Path(match.shot_b).name}"
    warnings.warn(
        f"{names}: no spot {lost} now, where one was matched by hand; the match has no effect (add the spot with "
        "--add-spot, or take the [[match]] out of the outing file)",
        WhichsunWarning,
        stacklevel=4,
    )


def _pixel_place(photo: PhotoMeasurement, index: int) -> tuple[float, float]:
    spot = photo.findings.spots[index]
    return round(float(spot.column), 2), round(float(spot.row), 2)

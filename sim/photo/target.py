"""The turn of one spot alone, as a person with a protractor would draw it, beside that of the pattern."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ...models.errors import InputError
from .measured import PhotoMeasurement, SpotMatch, TargetTurn
from .overrule import Overrule, shot_index, spot_place
from .pairing import turn_of

_INNER, _OUTER = 0.2, 0.8
_LEAST_RADIUS = 0.05
_MATCHED = 0.5


def target_turn(
    photos: Sequence[PhotoMeasurement],
    matches: Sequence[SpotMatch],
    names: Sequence[str],
    overrule: Overrule,
) -> TargetTurn | None:
    """Turn from the first to the last photo of the spot that was named.

    By default it is the largest spot between 0.2 and 0.8 limb radii from the centre in both photos, where
    an angle is steady and the spot is not foreshortened much; else the largest that is matched.

    Raises
    ------
    InputError
        The named spot is not there, or is not matched.
    """
    if len(photos) < 2:
        if overrule.target is not None:
            raise InputError("--target", "needs two photos or more", len(photos))
        return None
    first, last = photos[0], photos[-1]
    pairs = {
        one.id_a: one.id_b
        for one in matches
        if (one.shot_a, one.shot_b) == (first.shot.file, last.shot.file) and one.probability > _MATCHED
    }
    chosen = _named(photos, names, overrule, pairs) if overrule.target else _default(first, last, pairs)
    if chosen is None:
        return None
    i, j = (spot_place("--target", p, n) for p, n in zip((first, last), (chosen, pairs[chosen]), strict=True))
    days = None if first.days is None or last.days is None else last.days - first.days
    turn = turn_of(first, last, [(i, j)], days)
    if turn is None:
        return None
    return TargetTurn(
        first.shot.file,
        chosen,
        last.shot.file,
        pairs[chosen],
        turn.turn_deg,
        turn.sigma_deg,
        turn.low95_deg,
        turn.high95_deg,
    )


def _named(
    photos: Sequence[PhotoMeasurement], names: Sequence[str], overrule: Overrule, pairs: dict[int, int]
) -> int:
    """Number in the first photo of the spot named in either end's."""
    shot, number = overrule.target or ("", 0)
    index = shot_index("--target", shot, photos, names)
    spot_place("--target", photos[index], number)
    if index not in (0, len(photos) - 1):
        raise InputError("--target", "must be a spot of the first or the last photo", shot)
    found = number if index == 0 and number in pairs else None
    if index > 0:
        found = next((a for a, b in pairs.items() if b == number), None)
    if found is None:
        raise InputError(
            "--target",
            "must be matched between the first and the last photo",
            f"{shot}:{number}",
            "match it by --match FIRST:LAST",
        )
    return found


def _default(first: PhotoMeasurement, last: PhotoMeasurement, pairs: dict[int, int]) -> int | None:
    radii, weights = [], []
    for photo in (first, last):
        radii.append({spot.id: math.hypot(spot.x, spot.y) for spot in photo.shot.spots})
        weights.append({spot.id: spot.area_msh or 0.0 for spot in photo.shot.spots})

    def worth(a: int) -> tuple[bool, float]:
        b = pairs[a]
        steady = all(_INNER < radius < _OUTER for radius in (radii[0][a], radii[1][b]))
        return steady, weights[0][a] + weights[1][b]

    far = [a for a, b in pairs.items() if min(radii[0][a], radii[1][b]) > _LEAST_RADIUS]
    return max(far, key=worth, default=None)

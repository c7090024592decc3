"""Dust and hot pixels: dark specks that stand on the same pixels while the Sun's face moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...models.geometry import Array
from .discmap import DiscMap
from .many import pairs_to_compare
from .matching import SpotTable, match_spots
from .spots import MeasuredSpot

_SAME_PX = 1.0
_MOVED_PX = 3.0
_NEAR_CENTRE = 0.12
_FOUND_AGAIN = 0.03  # limb radii


@dataclass(frozen=True)
class DustShot:
    """What the search needs of one photo; `size` is (rows, columns), `days` counts from any epoch.

    `faint`: dips too weak for a spot, where a speck seen in another photo may stand.
    """

    spots: tuple[MeasuredSpot, ...]
    disc: DiscMap
    size: tuple[int, int]
    days: float | None
    faint: tuple[MeasuredSpot, ...] = ()

    @property
    def dips(self) -> tuple[MeasuredSpot, ...]:
        """Spots, then faint dips."""
        return (*self.spots, *self.faint)


def spot_table(spots: Sequence[MeasuredSpot]) -> SpotTable:
    """The spots as arrays for matching; covariances without the part that a photo's spots share."""
    return SpotTable(
        np.array([[spot.x, spot.y] for spot in spots]).reshape(-1, 2),
        np.array([spot.own_covariance for spot in spots]).reshape(-1, 2, 2),
        np.array([spot.area_msh for spot in spots]),
        np.array([spot.darkness for spot in spots]),
    )


def fixed_specks(shots: Sequence[DustShot]) -> list[set[int]]:
    """Per photo the indices of spots that are dust on the sensor, the lens or the scan.

    Two spots on the same pixel (within 1 px) of two photos of one size are dust when a real spot there
    would have moved by more than 3 px: the other spots, matched among themselves, carry that place
    elsewhere and no spot is found there; or, where they cannot be matched, the disc itself stands elsewhere
    in the frame, or greater spots of both photos have all left their places.
    """
    dust: list[set[int]] = [set() for _ in shots]
    last = len(shots) - 1
    # Of a long series each photo is held against its neighbour, the first and the last one.
    for i, j in sorted({*pairs_to_compare(len(shots)), *((i, last) for i in range(last))}):
        first, second = shots[i], shots[j]
        pairs = _coincident(first, second) if first.size == second.size else []
        if not pairs:
            continue
        rest_a = sorted(set(range(len(first.spots))) - {a for a, _ in pairs})
        rest_b = sorted(set(range(len(second.spots))) - {b for _, b in pairs})
        rotation = _rotation_of(first, second, rest_a, rest_b)
        for a, b in pairs:
            if _must_have_moved(first, second, (a, b), (rest_a, rest_b), rotation):
                dust[i].add(a)
                dust[j].add(b)
    return [{k for k in found if k < len(shot.spots)} for found, shot in zip(dust, shots, strict=True)]


def _coincident(first: DustShot, second: DustShot) -> list[tuple[int, int]]:
    here, there = (
        np.array([[dip.column, dip.row] for dip in shot.dips]).reshape(-1, 2) for shot in (first, second)
    )
    near = np.hypot(*np.moveaxis(here[:, None] - there, -1, 0)) < _SAME_PX
    near[len(first.spots) :, len(second.spots) :] = False
    return [(int(a), int(b)) for a, b in np.argwhere(near)]


def _must_have_moved(
    first: DustShot,
    second: DustShot,
    pair: tuple[int, int],
    rest: tuple[list[int], list[int]],
    rotation: Array | None,
) -> bool:
    """Whether a real spot could not stand on one pixel in both; `rest`: the spots that do not, `rotation`: theirs."""
    (a, b), (rest_a, rest_b) = pair, rest
    one, other = first.dips[a], second.dips[b]
    if rotation is not None:
        ahead, behind = _carried(rotation, one), _carried(rotation.T, other)
        if _any_at(ahead, second.spots) or _any_at(behind, first.spots):
            return False  # two spots of the Sun that passed the same pixel
        column, row = second.disc.to_pixels(ahead[0], ahead[1])
        return bool(ahead[2] < 0 or np.hypot(column - other.column, row - other.row) > _MOVED_PX)
    if second.disc.a * np.hypot(other.x - one.x, other.y - one.y) > _MOVED_PX:
        return True
    return bool(rest_a and rest_b) and _alone_in_place(first, second, a, b, rest_a, rest_b)


def _rotation_of(first: DustShot, second: DustShot, rest_a: list[int], rest_b: list[int]) -> Array | None:
    """The rotation that the other spots show, where they are surely matched."""
    if not rest_a or not rest_b:
        return None
    days = None if first.days is None or second.days is None else second.days - first.days
    matching = match_spots(
        spot_table([first.spots[k] for k in rest_a]), spot_table([second.spots[k] for k in rest_b]), days
    )
    sure = any(match.probability > 0.8 for match in matching.matches)
    return matching.rotation if sure else None


def _carried(rotation: Array, spot: MeasuredSpot) -> Array:
    """Where the rotation puts a spot: x, y, and z towards the observer."""
    return rotation @ np.array([spot.x, spot.y, np.sqrt(max(1 - spot.x**2 - spot.y**2, 0))])


def _any_at(place: Array, spots: tuple[MeasuredSpot, ...]) -> bool:
    return place[2] > 0 and any(
        np.hypot(spot.x - place[0], spot.y - place[1]) < _FOUND_AGAIN for spot in spots
    )


def _alone_in_place(
    first: DustShot, second: DustShot, a: int, b: int, rest_a: list[int], rest_b: list[int]
) -> bool:
    """Whether greater spots of both photos left their places while this one, off the centre, did not."""
    one, other = first.dips[a], second.dips[b]

    def greater(spots: tuple[MeasuredSpot, ...], rest: list[int], than: MeasuredSpot) -> list[MeasuredSpot]:
        weight = than.area_msh * than.darkness
        return [spots[k] for k in rest if spots[k].area_msh * spots[k].darkness > weight]

    before, after = greater(first.spots, rest_a, one), greater(second.spots, rest_b, other)
    still = any(np.hypot(p.column - q.column, p.row - q.row) < _MOVED_PX for p in before for q in after)
    return bool(before) and bool(after) and not still and np.hypot(one.x, one.y) > _NEAR_CENTRE

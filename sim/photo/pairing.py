"""Photos of one outing side by side: dust out, spots matched, turns measured, doubts told."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np

from ...models.errors import WhichsunWarning
from ...models.geometry import Array
from .dust import DustShot, fixed_specks, spot_table
from .matching import Match, Matching, match_spots, mirror_verdict
from .measured import PhotoMeasurement, ShotTurn, SpotMatch, outing_spots
from .turning import Turn, pattern_turn

_USED_IN_TURN = 0.5
_DOUBTFUL = 0.9


NOT_RIGID = 0.15
"""Scatter in limb radii above which a pattern did not turn as one; twelve hours of a distant Sun leave 0.07."""


def _warn(text: str) -> None:
    warnings.warn(text, WhichsunWarning, stacklevel=3)


def without_dust(photos: list[PhotoMeasurement]) -> list[PhotoMeasurement]:
    """The photos without the specks that stand on the same pixels in two of them; warns of each."""
    if len(photos) < 2:
        return photos
    shots = [DustShot(p.findings.spots, p.limb.disc, p.size_px, p.days) for p in photos]
    cleaned = []
    for photo, dust in zip(photos, fixed_specks(shots), strict=True):
        if dust:
            kept = tuple(spot for i, spot in enumerate(photo.findings.spots) if i not in dust)
            specks = tuple(
                (spot.column, spot.row, "dust: on the same pixels in another photo")
                for i, spot in enumerate(photo.findings.spots)
                if i in dust
            )
            findings = replace(photo.findings, spots=kept, refused=photo.findings.refused + specks)
            photo = replace(photo, findings=findings, shot=replace(photo.shot, spots=outing_spots(kept)))
            _warn(
                f"{photo.shot.file}: {len(dust)} dark speck(s) on the same pixels as in another photo taken for dust"
            )
        cleaned.append(photo)
    return cleaned


def compare_photos(photos: list[PhotoMeasurement]) -> tuple[list[SpotMatch], list[ShotTurn]]:
    """Matches and turns of every pair of photos that both show spots, in their order."""
    matches: list[SpotMatch] = []
    turns: list[ShotTurn] = []
    for i, first in enumerate(photos):
        for second in photos[i + 1 :]:
            if first.findings.spots and second.findings.spots:
                found, turn = _compare_pair(first, second)
                matches += found
                turns.append(turn)
    return matches, turns


def _compare_pair(first: PhotoMeasurement, second: PhotoMeasurement) -> tuple[list[SpotMatch], ShotTurn]:
    name_a, name_b = first.shot.file, second.shot.file
    a, b = spot_table(first.findings.spots), spot_table(second.findings.spots)
    days = None if first.days is None or second.days is None else second.days - first.days
    if days is not None and days < 0:
        _warn(f"{name_b} was taken before {name_a}; give the photos in the order of time")
    plain, flipped = match_spots(a, b, days), match_spots(a, b.mirrored(), days)
    mirrored = mirror_verdict(plain, flipped)
    matching = flipped if mirrored else plain
    matches = [
        SpotMatch(name_a, one.a + 1, name_b, one.b + 1, round(one.probability, 4)) for one in matching.matches
    ]
    used = [one for one in matching.matches if one.probability > _USED_IN_TURN]
    _warn_doubts(name_a, name_b, matching, mirrored)
    turn = None if mirrored else _turn(first, second, used, days)
    if turn is None:
        return matches, ShotTurn(name_a, name_b, None, None, 0, mirrored)
    if turn.scatter > NOT_RIGID:
        _warn(
            f"{name_a} and {name_b}: the spots did not turn as one pattern, {turn.scatter:.2f} disc radii are "
            "left over (rms); a single angle means little here"
        )
    return matches, ShotTurn(
        name_a, name_b, turn.turn_deg, turn.sigma_deg, turn.spots_used, mirrored, turn.scatter
    )


def _turn(
    first: PhotoMeasurement, second: PhotoMeasurement, used: list[Match], days: float | None
) -> Turn | None:
    if not used:
        return None
    pick_a, pick_b = [one.a for one in used], [one.b for one in used]
    a, b = spot_table(first.findings.spots).part(pick_a), spot_table(second.findings.spots).part(pick_b)
    centre = math.hypot(_centre_sigma(first), _centre_sigma(second))
    rolls = (first.shot.roll_sigma_deg, second.shot.roll_sigma_deg)
    return pattern_turn(a.xy, b.xy, (a.covariance, b.covariance), centre, rolls, days)


def _centre_sigma(photo: PhotoMeasurement) -> float:
    """Sigma of the centre along its worse direction, limb radii."""
    across: Array = photo.limb.covariance[:2, :2]
    return math.sqrt(float(np.linalg.eigvalsh(across)[-1])) / photo.limb.disc.a


def _warn_doubts(name_a: str, name_b: str, matching: Matching, mirrored: bool | None) -> None:
    if mirrored:
        _warn(
            f"{name_a} and {name_b}: one of them is mirrored (star diagonal or front camera), so no turn is given; "
            "measure again with --mirrored true for that one and --mirrored false for the other"
        )
    used = [one for one in matching.matches if one.probability > _USED_IN_TURN]
    if not used:
        _warn(f"{name_a} and {name_b}: no spot could be matched")
    if matching.rival_probability > 0.05:
        _warn(
            f"{name_a} and {name_b}: the matching is ambiguous; another one turns the disc by "
            f"{matching.rival_turn_deg:.0f} deg (probability {matching.rival_probability:.2f})"
        )
    doubtful = [f"{one.a + 1}:{one.b + 1}" for one in used if one.probability < _DOUBTFUL]
    if doubtful:
        _warn(f"{name_a} and {name_b}: doubtful matches {', '.join(doubtful)}")

"""Photos of one outing side by side: dust out, spots matched, turns measured, doubts told."""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ...models.errors import WhichsunWarning
from ...models.geometry import Array
from .dust import DustShot, fixed_specks, spot_table
from .limb import Limb
from .many import pairs_to_compare
from .matching import Matching, match_spots, mirror_verdict
from .measured import PhotoMeasurement, ShotTurn, SpotMatch, outing_spots
from .overrule import HandMatched
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
    shots = [DustShot(p.findings.spots, p.limb.disc, p.size_px, p.days, p.findings.faint) for p in photos]
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


def compare_photos(
    photos: list[PhotoMeasurement],
    forced: Sequence[HandMatched] = (),
    progress: Callable[[int], None] | None = None,
) -> tuple[list[SpotMatch], list[ShotTurn]]:
    """Matches and turns of the pairs of photos that both show spots, in their order.

    All pairs of a few photos; of a series each with the first and with the one before it, and every pair in
    which a person matched spots (`forced`).
    `progress` is called with the number of pairs done.
    """
    matches: list[SpotMatch] = []
    turns: list[ShotTurn] = []
    by_hand = {(one.a, one.b) for one in forced}
    for done, (i, j) in enumerate(sorted(by_hand | {*pairs_to_compare(len(photos))}), start=1):
        first, second = photos[i], photos[j]
        if first.findings.spots and second.findings.spots:
            said = [(one.id_a, one.id_b) for one in forced if (one.a, one.b) == (i, j)]
            found, turn = _compare_pair(first, second, said)
            matches += found
            turns.append(turn)
        if progress is not None:
            progress(done)
    return matches, turns


def _compare_pair(
    first: PhotoMeasurement, second: PhotoMeasurement, forced: Sequence[tuple[int, int]] = ()
) -> tuple[list[SpotMatch], ShotTurn]:
    name_a, name_b = first.shot.file, second.shot.file
    ids_a, ids_b = ([spot.id for spot in photo.shot.spots] for photo in (first, second))
    a, b = spot_table(first.findings.spots), spot_table(second.findings.spots)
    days = None if first.days is None or second.days is None else second.days - first.days
    if days is not None and days < 0:
        _warn(f"{name_b} was taken before {name_a}; give the photos in the order of time")
    pairs = [(ids_a.index(one), ids_b.index(other)) for one, other in forced]
    plain, flipped = match_spots(a, b, days, pairs), match_spots(a, b.mirrored(), days, pairs)
    mirrored = mirror_verdict(plain, flipped)
    matching = flipped if mirrored else plain
    matches = [
        SpotMatch(
            name_a, ids_a[one.a], name_b, ids_b[one.b], round(one.probability, 4), (one.a, one.b) in pairs
        )
        for one in matching.matches
    ]
    used = [one for one in matching.matches if one.probability > _USED_IN_TURN]
    doubtful = [f"{ids_a[one.a]}:{ids_b[one.b]}" for one in used if one.probability < _DOUBTFUL]
    _warn_doubts(name_a, name_b, matching, mirrored, doubtful)
    smeared = first.limb.smeared or second.limb.smeared
    turn = None if mirrored or smeared else turn_of(first, second, [(one.a, one.b) for one in used], days)
    if turn is None:
        return matches, ShotTurn(name_a, name_b, None, None, 0, mirrored)
    if turn.scatter > NOT_RIGID:
        _warn(
            f"{name_a} and {name_b}: the spots did not turn as one pattern, {turn.scatter:.2f} disc radii are "
            "left over (rms); a single angle means little here"
        )
    return matches, ShotTurn(
        name_a,
        name_b,
        turn.turn_deg,
        turn.sigma_deg,
        turn.spots_used,
        mirrored,
        turn.scatter,
        turn.low95_deg,
        turn.high95_deg,
    )


def turn_of(
    first: PhotoMeasurement, second: PhotoMeasurement, pairs: Sequence[tuple[int, int]], days: float | None
) -> Turn | None:
    """Turn of the matched spots (places in the two photos' lists) with all that is uncertain of it."""
    if not pairs:
        return None
    pick_a, pick_b = (list(side) for side in zip(*pairs, strict=True))
    a, b = spot_table(first.findings.spots).part(pick_a), spot_table(second.findings.spots).part(pick_b)
    modes = limb_modes(first.limb, a.xy), limb_modes(second.limb, b.xy)
    rolls = (first.shot.roll_sigma_deg, second.shot.roll_sigma_deg)
    return pattern_turn(a.xy, b.xy, (a.covariance, b.covariance), modes, rolls, days)


def limb_modes(limb: Limb, xy: Array) -> Array:
    """What the limb's uncertainty does to all places alike: independent displacements, shape (5, n, 2).

    Their squares summed over the modes are :func:`whichsun.sim.photo.limb.place_covariance` for each place.
    """
    disc = limb.disc
    cos, sin = math.cos(disc.tilt), math.sin(disc.tilt)
    across, high = cos * xy[:, 0] + sin * xy[:, 1], -sin * xy[:, 0] + cos * xy[:, 1]
    slope, none, one = disc.b + 2 * disc.c * high, np.zeros(len(xy)), np.ones(len(xy))
    # Derivatives of (across, high) by (right, up, a, b, c) at a fixed pixel.
    by_across = np.stack([-one / disc.a, none, -across / disc.a, none, none])
    by_high = np.stack([none, -1 / slope, none, -high / slope, -(high**2) / slope])
    derivative = np.stack([cos * by_across - sin * by_high, sin * by_across + cos * by_high], axis=-1)
    values, vectors = np.linalg.eigh(limb.covariance)
    half = vectors * np.sqrt(np.maximum(values, 0))
    return np.einsum("pk,pni->kni", half, derivative)


def _warn_doubts(
    name_a: str, name_b: str, matching: Matching, mirrored: bool | None, doubtful: list[str]
) -> None:
    if mirrored:
        _warn(
            f"{name_a} and {name_b}: one of them is mirrored (star diagonal or front camera), so no turn is given; "
            "measure again with --mirrored true for that one and --mirrored false for the other"
        )
    if not any(one.probability > _USED_IN_TURN for one in matching.matches):
        _warn(f"{name_a} and {name_b}: no spot could be matched")
    if matching.rival_probability > 0.05:
        _warn(
            f"{name_a} and {name_b}: the matching is ambiguous; another one turns the disc by "
            f"{matching.rival_turn_deg:.0f} deg (probability {matching.rival_probability:.2f})"
        )
    if doubtful:
        _warn(f"{name_a} and {name_b}: doubtful matches {', '.join(doubtful)}")

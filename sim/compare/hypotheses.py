"""Blunders as hypotheses of every model: a mirrored shot, one upside down, a clock wrong by an hour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .data import OutingData

MIRRORED, UPSIDE_DOWN, HOUR = 0.02, 0.01, 0.01  # prior shares: per shot, per shot, per hour either way
FLIPPED = (
    0.04  # all given turns of spots have the wrong sign (mirrored photos, or the other sense of turning)
)
FLAG_ODDS = 20.0


@dataclass(frozen=True)
class Repair:
    """What would have to be undone, in words, its prior share and the outing with it undone."""

    kind: str
    words: str
    prior: float
    data: OutingData


def repairs_of(
    data: OutingData, files: tuple[str, ...], *, attitude_free: bool = False
) -> tuple[Repair, ...]:
    """All hypotheses for an outing, the first being that nothing is wrong; their shares sum to 1.

    With `attitude_free` only mirroring makes a difference.
    """
    found = []
    files = files if data.has_spots else ()
    for shot, file in enumerate(files):
        if data.may_mirror[shot]:
            found.append(Repair("mirrored", f"{file} is mirrored", MIRRORED, data.mirrored((shot,))))
    for shot, file in enumerate(files):
        free = not np.isfinite(data.roll_sigma[shot]) or data.equatorial[shot]
        if not free and not attitude_free:
            found.append(
                Repair("upside-down", f"{file} is upside down", UPSIDE_DOWN, data.upside_down((shot,)))
            )
    if any(one.may_flip for one in data.quantities):
        words = "the given turn has the wrong sign or comes from mirrored photos"
        found.append(Repair("mirrored", words, FLIPPED, data.flipped_turns()))
    if not attitude_free and data.has_clock_times:
        for hours in (-1.0, 1.0):
            way = "later" if hours > 0 else "earlier"
            words = f"all times are an hour off (true times {way})"
            found.append(Repair("time-zone", words, HOUR, data.shifted(hours)))
    rest = 1.0 - sum(repair.prior for repair in found)
    return (Repair("none", "nothing wrong", rest, data), *found)

"""False spots on real pictures: finds that are not there any more 1.5 hours later, and misses the other way.

Run by hand on a folder of full-disc pictures with YYYYMMDD_HHMM in their names, solar north up:
``python tests/validation/real_false_spots.py FOLDER``. A spot is found again when, carried by the Sun's rotation
(14.2 deg a day, synodic 13.2), one stands within 0.02 limb radii of its place.
"""

from __future__ import annotations

import argparse
import datetime as dt
import re
import warnings
from itertools import pairwise
from pathlib import Path

import numpy as np
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.spots import find_spots

SYNODIC_DEG_PER_DAY = 13.2
AGAIN = 0.02  # limb radii
LONGEST_H = 1.6


def time_of(path):
    """UTC of a picture by its name."""
    return dt.datetime.strptime(re.search(r"\d{8}_\d{4}", path.name)[0], "%Y%m%d_%H%M")


def carried(spot, hours):
    """Disc place after the Sun's rotation, towards the right with north up; None over the limb."""
    angle = np.deg2rad(SYNODIC_DEG_PER_DAY * hours / 24)
    z = np.sqrt(max(1 - spot.x**2 - spot.y**2, 0))
    x, depth = spot.x * np.cos(angle) + z * np.sin(angle), z * np.cos(angle) - spot.x * np.sin(angle)
    return np.array([x, spot.y]) if depth > 0.2 else None


def main():
    """Find, carry, look again, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    paths = sorted(path for path in parser.parse_args().folder.glob("*.jpg"))
    found = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for path in paths:
            photo = load_photo(path)
            found[path] = find_spots(photo, measure_limb(photo)).spots
    total = again = 0
    for first, second in pairwise(paths):
        hours = (time_of(second) - time_of(first)).total_seconds() / 3600
        if hours > LONGEST_H:
            continue
        for one, other, ahead in ((first, second, hours), (second, first, -hours)):
            lost = []
            for spot in found[one]:
                place = carried(spot, ahead)
                if place is None:
                    continue
                gap = min((np.hypot(s.x - place[0], s.y - place[1]) for s in found[other]), default=9)
                total, again = total + 1, again + (gap < AGAIN)
                if gap >= AGAIN:
                    lost.append(f"{spot.column:.0f},{spot.row:.0f} ({100 * spot.darkness:.0f} % deep)")
            print(
                f"{one.name} in {other.name}: {len(found[one])} spots, not there: {', '.join(lost) or 'none'}"
            )
    print(f"{again} of {total} finds stand in the picture {LONGEST_H} h or less away")


if __name__ == "__main__":
    main()

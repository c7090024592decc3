"""How wide a spot has to be in the picture to be found, and how well its place is then measured.

By hand: python tests/validation/small_spots.py --photos 60. What it prints is what sim/plan/camera_numbers.py holds
(`FOUND_WIDTHS_PX`, `FOUND_SHARES`). Invented photos with noise of 0.5 to 3 steps, blur of 0.7 to 2 px and the spots of
`invented_photos.py`, whose penumbra is a quarter darker than the face; widths are those of the unforeshortened spot.
"""

from __future__ import annotations

import argparse
import itertools
import tempfile
import warnings
from pathlib import Path

import numpy as np
from invented_photos import random_photo
from whichsun.models.errors import PictureError
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.spots import find_spots

RADII_PX = (30.0, 75.0, 150.0, 300.0)
EDGES_PX = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0)
NEAR, SAFE_RADIUS = 0.05, 0.85


def rows_of(seed: int, radius: float, ripple: float) -> tuple[list[tuple[float, bool, float]], int]:
    """(width, found, error along an axis) of every spot of one photo, pixels; and the false finds."""
    rng = np.random.default_rng([seed, int(radius), int(10 * ripple)])
    given = {"kind": "steady", "radius": radius, "wide_px": (EDGES_PX[0], EDGES_PX[-1])}
    if ripple:
        given |= {"kind": "ripple", "ripple": ripple}
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = Path(folder) / "photo.jpg"
        truth = random_photo(rng, path, known_tone=True, given=given)
        try:
            photo = load_photo(path)
            limb = measure_limb(photo, roll_deg=truth.roll)
            spots = find_spots(photo, limb).spots
        except PictureError:
            return [], 0
    places = np.array([(s.x, s.y) for s in spots]).reshape(-1, 2)
    rows, near_any = [], np.zeros(len(places), bool)
    for place, size in zip(truth.xy, truth.sizes, strict=True):
        gap = np.hypot(*(places - place).T)
        near_any |= gap < NEAR
        if np.hypot(*place) < SAFE_RADIUS:
            found = bool(len(gap)) and float(gap.min()) < max(NEAR, 3 / radius)
            error = radius * float(gap.min()) / np.sqrt(2) if found else np.nan
            rows.append((2 * size * radius, found, error))
    return rows, int(np.sum(~near_any))


def main() -> None:
    """Draw, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=60, help="per size of the disc")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--ripple-px", type=float, default=0.0)
    asked = parser.parse_args()
    print("disc px | " + " | ".join(f"{a:g}-{b:g}" for a, b in itertools.pairwise(EDGES_PX)))
    every = []
    for radius in RADII_PX:
        rows, false = [], 0
        for index in range(asked.photos):
            more, wrong = rows_of(1000 * asked.seed + index, radius, asked.ripple_px)
            rows, false = rows + more, false + wrong
        every += rows
        print(f"{2 * radius:7.0f} | {shares(rows)}  ({false} false)", flush=True)
    print(f"    all | {shares(every)}")
    print(f"  place | {places(every)}")


def shares(rows) -> str:
    """Share of spots found in each class of width."""
    wide, found, _ = np.array(rows).T
    cells = []
    for low, high in itertools.pairwise(EDGES_PX):
        here = found[(wide >= low) & (wide < high)]
        cells.append(f"{np.mean(here):.2f} ({len(here)})" if len(here) else "-")
    return " | ".join(cells)


def places(rows) -> str:
    """Median error of the found, as a Gaussian's sigma along an axis, pixels."""
    wide, found, error = np.array(rows).T
    cells = []
    for low, high in itertools.pairwise(EDGES_PX):
        here = error[(wide >= low) & (wide < high) & (found > 0)]
        # The length of two Gaussian axes has its median at 1.177 sigma; `error` is that length over root 2.
        cells.append(f"{np.median(here) * np.sqrt(2) / 1.177:.3f}" if len(here) else "-")
    return " | ".join(cells)


if __name__ == "__main__":
    main()

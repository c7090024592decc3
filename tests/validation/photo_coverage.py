"""Errors of the photo measurement against truth, and coverage of its stated intervals, on random invented photos.

Run by hand: ``python tests/validation/photo_coverage.py --photos 2000 --seed 1 --save rows.jsonl``. Runs are added
by giving their files: ``--add a.jsonl b.jsonl`` (``--photos 0`` only prints). Photos are numbered, so a run with
another ``--seed`` draws others and one with another number of workers the same.

Truth and picture come from the project's own renderer, so what both could get wrong alike (the limb-darkening
law) is not tested here. The air's refraction is integrated anew (``weather.py``).
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
import warnings
from collections import Counter, defaultdict
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from invented_photos import CLASSES, random_photo
from rich.progress import Progress
from whichsun.models.errors import PictureError
from whichsun.sim.photo.dust import spot_table
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.pairing import limb_modes
from whichsun.sim.photo.spots import find_spots
from whichsun.sim.photo.turning import pattern_turn

NEAR = 0.05  # limb radii within which a find is the true spot
SAFE_RADIUS = 0.94  # beyond it a spot need not be found
LARGE_PX = 10  # width of a spot that the targets speak of
QUANTITIES = {
    "across": "centre across, px",
    "along": "centre along, px",
    "difference": "a - b, px",
    "radius": "radius, px",
    "large": "spot of 10 px and more, x and y, px",
    "small": "smaller spot, x and y, px",
    "turn": "turn, no evolution or roll, deg",
    "tilt": "direction of the squash, deg",
}


def measured_photo(job: tuple[int, int], known: dict) -> dict:
    """Draw, measure and compare one photo; plain data."""
    seed, index = job
    rng = np.random.default_rng([seed, index])
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = Path(folder) / "photo.jpg"
        truth = random_photo(rng, path, **known)
        row = {"seed": seed, "index": index, "kind": truth.kind, "drawn": truth.drawn}
        try:
            photo = load_photo(path)
            limb = measure_limb(photo, roll_deg=truth.roll)
        except PictureError as error:
            return row | {"refused": str(error)[len(path.name) :][:48]}
        return row | compared(truth, limb, find_spots(photo, limb).spots)


def compared(truth, limb, spots) -> dict:
    """Errors of limb, spots and turn, with their covariances."""
    disc = limb.disc
    right, up = disc.along_axes(*(np.array(v) for v in truth.centre))
    error = [-float(right), -float(up), *(np.array([disc.a, disc.b, disc.c]) - truth.axes)]
    pairs, found, rows = [], [], []
    taken = set()
    for i, place in enumerate(truth.xy):
        gaps = [np.hypot(spot.x - place[0], spot.y - place[1]) for spot in spots]
        best = int(np.argmin(gaps)) if gaps else -1
        near = best >= 0 and gaps[best] < NEAR and best not in taken
        wide = truth.sizes[i] * truth.axes[0] * 2
        if near:
            taken.add(best)
            pairs.append((i, best))
            spot = spots[best]
            rows.append(
                {
                    "wide_px": wide,
                    "place": list(place),
                    "error": [spot.x - place[0], spot.y - place[1]],
                    "covariance": spot.covariance.tolist(),
                    "own": spot.own_covariance.tolist(),
                    "area": spot.area_msh / (truth.sizes[i] ** 2 / 2 * 1e6),
                }
            )
        if truth.visible[i] and np.hypot(*place) < SAFE_RADIUS and wide >= 8:
            found.append(bool(near))
    gap = [min((np.hypot(*(p - (s.x, s.y))) for p in truth.xy), default=9) for s in spots]
    return {
        "radius_px": disc.a,
        "edge_px": limb.edge_sigma_px,
        "ripple_px": limb.ripple_px,
        "limb_error": [float(v) for v in error],
        "limb_covariance": limb.covariance.tolist(),
        "spots": rows,
        "found": found,
        "false": int(sum(g > NEAR for g in gap)),
        "doubled": int(sum(g <= NEAR for g in gap)) - len(taken),
        "turn": turn_error(truth, limb, spots, pairs),
        "tilt": None if limb.tilt_deg is None else [limb.tilt_deg, limb.tilt_sigma_deg],
    }


def turn_error(truth, limb, spots, pairs) -> list[float] | None:
    """Turn against the true places, its sigma and its half 95 % interval: the photo's own part, without evolution."""
    if not pairs:
        return None
    i, j = (list(side) for side in zip(*pairs, strict=True))
    seen = spot_table(spots).part(j)
    own, modes = np.zeros((len(i), 2, 2)), np.zeros((1, len(i), 2))
    turn = pattern_turn(
        truth.xy[i], seen.xy, (own, seen.covariance), (modes, limb_modes(limb, seen.xy)), (0, 0), 0.0
    )
    if turn is None or turn.sigma_deg is None:
        return None
    return [turn.turn_deg, turn.sigma_deg, turn.high95_deg - turn.turn_deg]


def errors_of(rows) -> dict[tuple[str, str], list[tuple[float, float, float]]]:
    """(class, quantity) to (error, sigma, half 95 %)."""
    table = defaultdict(list)
    difference = np.array([0, 0, 1, -1, 0])
    for row in rows:
        if "refused" in row:
            continue
        kind, error = row["kind"], row["limb_error"]
        covariance = np.array(row["limb_covariance"])

        def add(name, value, sigma, half95=None, kind=kind):
            table[kind, name].append((value, sigma, 1.96 * sigma if half95 is None else half95))

        for name, index in (("across", 0), ("along", 1), ("radius", 2)):
            add(name, error[index], np.sqrt(covariance[index, index]))
        add("difference", error[2] - error[3], np.sqrt(difference @ covariance @ difference))
        for spot in row["spots"]:
            for axis in range(2):
                add(
                    "large" if spot["wide_px"] >= LARGE_PX else "small",
                    spot["error"][axis] * row["radius_px"],
                    np.sqrt(spot["covariance"][axis][axis]) * row["radius_px"],
                )
        if row["turn"] is not None:
            add("turn", *row["turn"])
        if row.get("tilt") is not None:
            add("tilt", *row["tilt"])
    return table


def show(rows) -> None:
    """Print the tables in Markdown."""
    good = [row for row in rows if "refused" not in row]
    counts = Counter(row["kind"] for row in good)
    refused = Counter(f"{row['kind']}: {row['refused']}" for row in rows if "refused" in row)
    table = errors_of(good)
    kinds = [kind for kind in CLASSES if counts[kind]]
    print(f"{len(rows)} photos; refused: {dict(refused) or 'none'}\n")
    print("Shares of errors inside the stated 68 % / 95 % intervals (robust spread of error over sigma).\n")
    print("| quantity | " + " | ".join(f"{kind}, n {counts[kind]:,}" for kind in kinds) + " |")
    print("|---" * (len(kinds) + 1) + "|")
    for name, words in QUANTITIES.items():
        print(f"| {words} | " + " | ".join(_shares(table[kind, name]) for kind in kinds) + " |")
    print("\nErrors: rms, as a Gaussian's from the median size (median).\n")
    print("| quantity | " + " | ".join(kinds) + " |")
    print("|---" * (len(kinds) + 1) + "|")
    for name, words in QUANTITIES.items():
        print(f"| {words} | " + " | ".join(_sizes(table[kind, name]) for kind in kinds) + " |")
    found = [f for row in good for f in row["found"]]
    print(
        f"\nSpots of 8 px and more inside r = {SAFE_RADIUS}: {100 * np.mean(found):.2f} % of {len(found)} found."
    )
    print(f"False spots {sum(r['false'] for r in good)}, doubled {sum(r['doubled'] for r in good)}.")
    for large in (True, False):
        area = [s["area"] for r in good for s in r["spots"] if (s["wide_px"] >= LARGE_PX) == large]
        low, middle, high = np.percentile(area, [16, 50, 84])
        words = "10 px and more" if large else "smaller"
        print(f"Area over truth, spots of {words}: {middle:.2f}, 68 % from {low:.2f} to {high:.2f}.")


def _shares(values) -> str:
    if not values:
        return "-"
    error, sigma, half95 = np.array(values).T
    z = error / sigma
    robust = 1.4826 * np.median(np.abs(z - np.median(z)))
    inside68, inside95 = np.mean(np.abs(z) < 1), np.mean(np.abs(error) < half95)
    return f"{100 * inside68:.0f} / {100 * inside95:.0f} ({robust:.2f})"


def _sizes(values) -> str:
    if not values:
        return "-"
    error = np.array(values)[:, 0]
    return f"{1.4826 * np.median(np.abs(error)):.3g} ({np.median(error):+.2g})"


def main() -> None:
    """Draw, measure, compare, print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--photos", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="number of the first photo")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2, help="processes")
    parser.add_argument("--seconds", type=float, default=np.inf, help="stop after this time")
    parser.add_argument("--known-tone", action="store_true", help="every photo has the sRGB tone curve")
    parser.add_argument("--known-air", action="store_true", help="every photo has the standard atmosphere")
    parser.add_argument("--save", type=Path, help="add the rows to this file of JSON lines")
    parser.add_argument("--add", type=Path, nargs="*", default=[], help="files of earlier runs to count in")
    given = parser.parse_args()
    rows = [json.loads(line) for path in given.add for line in path.read_text().splitlines()]
    one = partial(measured_photo, known={"known_tone": given.known_tone, "known_air": given.known_air})
    jobs = [(given.seed, given.first + i) for i in range(given.photos)]
    start = time.monotonic()
    with get_context("spawn").Pool(given.workers) as pool, Progress(disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task("photos", total=len(jobs))
        out = given.save.open("a") if given.save else None
        for done, row in enumerate(pool.imap(one, jobs, chunksize=4), start=1):
            rows.append(row)
            if out is not None:
                print(json.dumps(row), file=out, flush=True)
            bar.advance(task)
            if not sys.stderr.isatty() and done % 100 == 0:
                print(
                    f"... {done} of {len(jobs)}, {time.monotonic() - start:.0f} s",
                    file=sys.stderr,
                    flush=True,
                )
            if time.monotonic() - start > given.seconds:
                pool.terminate()
                break
    show(rows)


if __name__ == "__main__":
    main()

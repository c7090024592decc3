"""What the photo measurement reaches against its targets, on invented photos of set sizes.

Run by hand: ``python tests/validation/photo_targets.py --photos 12``. The disc's surroundings are cut to the disc,
not drawn out to 24 megapixels: the limb does not see them. Tone curve sRGB, since the targets speak of it; spots
are 10 to 60 px wide (larger ones err by their ragged outlines, 0.15 % of the width).
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from functools import partial
from multiprocessing import get_context

import numpy as np
from photo_coverage import LARGE_PX, measured_photo

CASES = {
    "steady, 2500 px, noise 3": {"kind": "steady", "radius": 1250.0, "noise": 3.0},
    "steady, 2500 px, noise 6": {"kind": "steady", "radius": 1250.0, "noise": 6.0},
    "steady, 500 px, noise 3": {"kind": "steady", "radius": 250.0, "noise": 3.0},
    "steady, 500 px, noise 6": {"kind": "steady", "radius": 250.0, "noise": 6.0},
    "ripple 1.3 px, 2500 px": {"kind": "ripple", "radius": 1250.0, "noise": 3.0, "ripple": 1.3},
    "ripple 0.5 px, 500 px": {"kind": "ripple", "radius": 250.0, "noise": 3.0, "ripple": 0.5},
    "lower half hidden, 2500 px": {"kind": "cut", "radius": 1250.0, "noise": 3.0, "horizon": 0.0},
    "lower half hidden, 500 px": {"kind": "cut", "radius": 250.0, "noise": 3.0, "horizon": 0.0},
    "half hidden, ripple 1.3 px, 2500 px": {
        "kind": "cut", "radius": 1250.0, "noise": 3.0, "horizon": 0.0, "ripple": 1.3,
    },
    "half hidden, ripple 0.5 px, 500 px": {
        "kind": "cut", "radius": 250.0, "noise": 3.0, "horizon": 0.0, "ripple": 0.5,
    },
}  # fmt: skip


def targets(case: dict) -> dict[str, float]:
    """What is asked of the rms, pixels."""
    ripple, cut = case.get("ripple", 0.0), case["kind"] == "cut"
    asked = {}
    if cut:
        asked["along"] = 2.5 * ripple if ripple else 0.3
    else:
        asked["centre"] = 0.15 * ripple if ripple else 0.03
    if not ripple and not cut and case["noise"] <= 3:
        asked |= {"a - b": 0.06, "radius": 0.3}
    if not cut:
        asked["spots"] = 1.1 * ripple if ripple else (0.1 if case["noise"] <= 3 else 0.15)
    return asked


def main() -> None:
    """Draw, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=12, help="per case")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    print("Root mean square in pixels (target); false spots a photo.\n")
    names = ("centre", "along", "a - b", "radius", "spots")
    head = ("centre, an axis", "along the vertical", "a - b", "radius", f"spots of {LARGE_PX} px, an axis")
    print("| photos | n | " + " | ".join(head) + " | false |")
    print("|---" * (len(head) + 3) + "|")
    with get_context("spawn").Pool(asked.workers) as pool:
        for name, case in CASES.items():
            known = {"known_tone": True, "given": case | {"wide_px": (10.5, 60.0)}}
            jobs = [(asked.seed, i) for i in range(asked.photos)]
            rows = pool.map(partial(measured_photo, known=known), jobs, chunksize=1)
            rows = [row for row in rows if "refused" not in row]
            errors = defaultdict(list)
            for row in rows:
                limb = row["limb_error"]
                errors["centre"] += limb[:2]
                errors["along"].append(limb[1])
                errors["a - b"].append(limb[2] - limb[3])
                errors["radius"].append(limb[2])
                for spot in row["spots"]:
                    if spot["wide_px"] >= LARGE_PX:
                        errors["spots"] += [v * row["radius_px"] for v in spot["error"]]
            limit = targets(case)
            cells = [
                f"{np.sqrt(np.mean(np.square(errors[key]))):.3f}"
                + (f" ({limit[key]:.2g})" if key in limit else "")
                for key in names
            ]
            false = sum(row["false"] for row in rows) / max(len(rows), 1)
            print(f"| {name} | {len(rows)} | " + " | ".join(cells) + f" | {false:.2f} |", flush=True)


if __name__ == "__main__":
    main()

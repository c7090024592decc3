"""Errors of the photo measurement against truth, and coverage of its stated intervals, on random invented photos.

Run by hand: ``python tests/validation/photo_coverage.py --photos 2000``. The table's columns: how many values,
the median error, the robust spread of error over sigma (1 is right), and the share of errors inside the stated
68 % and 95 % intervals. Truth and picture come from the project's own renderer, so what both could get wrong
alike (the refraction formula, the limb-darkening law) is not tested here.
"""

from __future__ import annotations

import argparse
import tempfile
import time
import warnings
from collections import defaultdict
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage
from whichsun.models.errors import PictureError
from whichsun.models.geometry import SunView
from whichsun.models.observables import unproject
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc, to_picture
from whichsun.sim.atmosphere import vertical_table
from whichsun.sim.photo.dust import spot_table
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import load_photo
from whichsun.sim.photo.pairing import limb_modes
from whichsun.sim.photo.spots import find_spots
from whichsun.sim.photo.turning import pattern_turn

TINTS = {
    "white": (1, 1, 1),
    "orange": (0.95, 0.75, 0.45),
    "red": (1.0, 0.45, 0.12),
    "green": (0.5, 1.0, 0.55),
}
SEMIDIAMETER_RAD = np.deg2rad(16 / 60)
NEAR = 0.05  # limb radii within which a find is the true spot
SAFE_RADIUS = 0.94  # beyond it a spot need not be found


def random_places(rng, count):
    """Spots apart from one another by more than their sizes: places (n, 2), heliographic radii (n,)."""
    places, sizes = [], []
    for _ in range(400):
        if len(places) == count:
            break
        r, angle, size = (
            0.93 * np.sqrt(rng.uniform()),
            rng.uniform(0, 2 * np.pi),
            np.exp(rng.uniform(-4.2, -2.9)),
        )
        place = np.array([r * np.cos(angle), r * np.sin(angle)])
        if all(
            np.hypot(*(place - other)) > 2.5 * (size + s) + 0.03
            for other, s in zip(places, sizes, strict=True)
        ):
            places.append(place)
            sizes.append(size)
    return np.array(places), np.array(sizes)


def rippled(linear, rng, rms_px, radius_px):
    """The picture displaced along both axes by smooth random fields: fine ones, and a fifth of that wide ones."""
    shape = linear.shape[:2]
    shifts = []
    for _ in range(2):
        noise = rng.standard_normal(shape).astype(np.float32)
        fine = ndimage.gaussian_filter(noise, 0.012 * radius_px, mode="wrap")
        coarse = rng.standard_normal((13, 13))
        wide = ndimage.zoom(coarse, np.array(shape) / 13, order=3, grid_mode=True, mode="nearest")
        shifts.append(rms_px * (fine / fine.std() + 0.2 * wide / wide.std()).astype(np.float32))
    rows, columns = np.indices(shape, dtype=np.float32)
    where = np.stack([rows + shifts[0], columns + shifts[1]])
    return np.stack(
        [ndimage.map_coordinates(linear[..., k], where, order=1, mode="nearest") for k in range(3)], -1
    )


def random_photo(rng, path):
    """Draw one photo; the class it belongs to and its truth."""
    radius = 0.5 * np.exp(rng.uniform(np.log(300), np.log(900)))
    kind = rng.choice(["steady", "steady", "noisy", "ripple", "cut"])
    altitude = np.deg2rad(np.exp(rng.uniform(np.log(1.0), np.log(60.0))))
    roll = rng.uniform(-20, 20)
    side = int(2.3 * radius) + 24
    centre = (side - 1) / 2 + rng.uniform(-8, 8, 2)
    direction = np.array([np.cos(altitude), 0, np.sin(altitude)])
    view = SunView(direction, np.array(214.9), np.eye(3), np.full(3, np.nan), np.array(695700.0))
    xy, sizes = random_places(rng, int(rng.integers(1, 21)))
    spots = SurfaceSpots(unproject(view, xy[:, 0], xy[:, 1]), sizes, seed=int(rng.integers(1 << 30)))
    table = vertical_table(altitude, SEMIDIAMETER_RAD)
    horizon = rng.uniform(-0.7, 0.0) if kind == "cut" else None
    frame = PictureFrame(side, side, tuple(centre), radius, roll)
    linear = render_disc(view, frame, spots, vertical_table=table, horizon=horizon, sky=rng.uniform(0, 0.03))
    ripple = 0.0
    if kind == "ripple":
        ripple = rng.uniform(0.1, 0.6) * radius / 250
        linear = rippled(linear, rng, ripple, radius)
    noise = rng.uniform(3, 6) if kind == "noisy" else rng.uniform(0.5, 3)
    tint = TINTS[str(rng.choice(list(TINTS)))]
    rgb = to_picture(
        linear,
        exposure=rng.uniform(0.3, 0.92),
        tint_rgb=tint,
        blur_px=rng.uniform(0.7, 2.0),
        haze=rng.choice([0, rng.uniform(0, 0.1)]),
        glow=rng.choice([0, rng.uniform(0, 0.06)]),
        noise_dn=noise,
        rng=rng,
    )
    Image.fromarray(rgb).save(path, quality=92)
    apparent, true = table
    along = radius * (np.interp(1, true, apparent) - np.interp(-1, true, apparent)) / 2
    visible = np.ones(len(xy), bool)
    if horizon is not None:
        visible = np.interp(xy[:, 1], true, apparent) > horizon + 0.05 + sizes
    return str(kind), {
        "centre": centre, "a": radius, "b": along, "xy": xy, "sizes": sizes, "visible": visible, "roll": roll,
        "ripple": ripple,
    }  # fmt: skip


def compare(kind, truth, limb, spots, table):
    """Add this photo's errors and sigmas to `table`: (class, quantity) to rows (error, low and high limits)."""

    def add(quantity, error, sigma, half95=None):
        table[kind, quantity].append((error, sigma, 1.96 * sigma if half95 is None else half95))

    disc, scale = limb.disc, 1.0
    right, up = disc.along_axes(*(np.array(v) for v in truth["centre"]))
    add("centre across, px", -float(right) * scale, np.sqrt(limb.covariance[0, 0]))
    add("centre along, px", -float(up) * scale, np.sqrt(limb.covariance[1, 1]))
    add("radius, px", disc.a - truth["a"], np.sqrt(limb.covariance[2, 2]))
    difference = np.array([0, 0, 1, -1, 0])
    add(
        "a - b, px",
        disc.a - disc.b - truth["a"] + truth["b"],
        np.sqrt(difference @ limb.covariance @ difference),
    )
    pairs = []
    taken = set()
    for i, place in enumerate(truth["xy"]):
        gaps = [np.hypot(spot.x - place[0], spot.y - place[1]) for spot in spots]
        best = int(np.argmin(gaps)) if gaps else -1
        found = best >= 0 and gaps[best] < NEAR and best not in taken
        wide = truth["sizes"][i] * truth["a"] * 2
        if found:
            taken.add(best)
            pairs.append((i, best))
            spot = spots[best]
            error = np.array([spot.x, spot.y]) - place
            group = "spot over 10 px" if wide >= 10 else "smaller spot"
            for axis, name in enumerate("xy"):
                add(
                    f"{group}, {name} in px",
                    error[axis] * disc.a,
                    np.sqrt(spot.covariance[axis, axis]) * disc.a,
                )
            true_area = truth["sizes"][i] ** 2 / 2 * 1e6
            table[kind, f"area over truth, {'10 px' if wide >= 10 else 'smaller'}"].append(
                spot.area_msh / true_area
            )
        if truth["visible"][i] and np.hypot(*place) < SAFE_RADIUS and wide >= 8:
            table[kind, "found"].append(found)
    near = [min((np.hypot(*(p - (s.x, s.y))) for p in truth["xy"]), default=9) for s in spots]
    table[kind, "false"].append(sum(gap > NEAR for gap in near))
    table[kind, "doubled"].append(sum(gap <= NEAR for gap in near) - len(taken))
    if pairs:
        i, j = (list(side) for side in zip(*pairs, strict=True))
        seen = spot_table(spots).part(j)
        none = np.zeros((len(i), 2, 2)), np.zeros((1, len(i), 2))
        turn = pattern_turn(
            truth["xy"][i],
            seen.xy,
            (none[0], seen.covariance),
            (none[1], limb_modes(limb, seen.xy)),
            (0, 0),
            0.0,
        )
        if turn is not None and turn.sigma_deg is not None:
            add("turn, deg", turn.turn_deg, turn.sigma_deg, turn.high95_deg - turn.turn_deg)


def show(table, failed, photos, seconds):
    """Print the tables."""
    print(f"{photos} photos in {seconds:.0f} s; refused: {dict(failed)}")
    head = f"{'class':8s} {'quantity':26s} {'n':>6s} {'rms*':>8s} {'bias':>8s} {'z':>6s} {'68 %':>6s} {'95 %':>6s}"
    print(head + "\n" + "-" * len(head))
    for key in sorted(table):
        rows = np.array(table[key], float)
        if rows.ndim != 2:
            continue
        error, sigma, half95 = rows.T
        z = error / sigma
        robust = 1.4826 * np.median(np.abs(z - np.median(z)))
        spread = 1.4826 * np.median(np.abs(error))
        inside68, inside95 = np.mean(np.abs(z) < 1), np.mean(np.abs(error) < half95)
        print(
            f"{key[0]:8s} {key[1]:26s} {len(rows):6d} {spread:8.4f} {np.median(error):+8.4f} {robust:6.2f} "
            f"{100 * inside68:6.1f} {100 * inside95:6.1f}"
        )
    print("* from the median, as for a Gaussian")
    for key in sorted(table):
        values = np.array(table[key], float)
        if values.ndim == 1 and key[1].startswith("area"):
            low, middle, high = np.percentile(values, [16, 50, 84])
            print(
                f"{key[0]:8s} {key[1]:26s} {len(values):6d} median {middle:.2f}, 68 % from {low:.2f} to {high:.2f}"
            )
        elif values.ndim == 1:
            print(f"{key[0]:8s} {key[1]:26s} {len(values):6d} mean {values.mean():.4f}")


def main():
    """Draw, measure, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=np.inf, help="stop after this time")
    given = parser.parse_args()
    table, failed = defaultdict(list), defaultdict(int)
    start, done = time.monotonic(), 0
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for index in range(given.photos):
            if time.monotonic() - start > given.seconds:
                break
            rng = np.random.default_rng([given.seed, index])
            path = Path(folder) / f"{index % 2}.jpg"
            kind, truth = random_photo(rng, path)
            done += 1
            try:
                photo = load_photo(path)
                limb = measure_limb(photo, roll_deg=truth["roll"])
            except PictureError as error:
                failed[f"{kind}: {str(error)[len(path.name) :][:48]}"] += 1
                continue
            compare(kind, truth, limb, find_spots(photo, limb).spots, table)
            if done % 100 == 0:
                print(f"... {done} photos, {time.monotonic() - start:.0f} s", flush=True)
    show(table, failed, done, time.monotonic() - start)


if __name__ == "__main__":
    main()

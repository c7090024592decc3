"""How long a pool of angles takes and how that grows: ratios of one run.

    python tests/benchmarks/bench_pool.py [--sizes 10000,100000,1000000] [--kind pattern]

Invented submissions of a distant Sun are scored under all models, flags and latitudes included. Times are wall and
processor time; the growth is per row against the smallest size; peak memory is that of the whole process so far, so
sizes are best given growing. What is being done is told once a minute.
"""

from __future__ import annotations

import argparse
import resource
import time

import numpy as np
from whichsun.models.observables import wrap_angle
from whichsun.models.registry import get_model
from whichsun.sim.outing import TURN_KINDS
from whichsun.sim.pool.predict import groups_of, predict_turns
from whichsun.sim.pool.reading import PoolSource
from whichsun.sim.pool.result import result_of
from whichsun.sim.pool.scoring import PoolOptions, score_pool
from whichsun.sim.pool.submissions import KIND_NUMBER, Submissions
from whichsun.sim.rotation import rotation_law


def invented(count: int, kind: str, placed: bool, seed: int = 1) -> Submissions:
    """Turns under the distant sphere with scatter 2 deg and a common offset of 1.8 deg; 3 in 100 flipped."""
    rng = np.random.default_rng(seed)
    longitude = rng.uniform(-180, 180, count)
    noon = np.floor(rng.uniform(9000, 9365, count)) - longitude / 360
    half = rng.uniform(3, 5.5, count) / 24
    place = (rng.uniform(-180, 180, count), rng.uniform(0.3, 0.85, count))
    nothing = np.full(count, np.nan)
    rows = Submissions(
        np.array([f"s{i}" for i in range(count)]),
        np.rad2deg(np.arcsin(rng.uniform(-0.87, 0.87, count))),
        longitude,
        noon - half,
        noon + half,
        nothing,
        np.full(count, 1.0),
        np.full(count, KIND_NUMBER[kind]),
        place[0] if placed else nothing,
        place[1] if placed else nothing,
        np.array([f"line {i}" for i in range(count)]),
    )
    model, parts = get_model("distant-sphere"), []
    for start in range(0, count, 20_000):
        groups = groups_of(rows[start : start + 20_000])
        parts.append(
            predict_turns(groups, lambda i, s: model.view(i, s, {}), rotation_law("howard-1984"), 1).turn
        )
    turn = np.rad2deg(np.concatenate(parts)[:, 0]) + 1.8 + 2 * rng.standard_t(4, count)
    turn = np.where(rng.random(count) < 0.03, -turn, turn)
    wrapped = np.rad2deg(wrap_angle(np.deg2rad(turn)))
    return Submissions(*(wrapped if name == "turn_deg" else value for name, value in vars(rows).items()))


def teller():
    """Progress of a pool, once a minute."""
    begun, last = time.perf_counter(), [time.perf_counter()]

    def tell(done: int, of: int, words: str) -> None:
        now = time.perf_counter()
        if now - last[0] > 60:
            last[0] = now
            spent = f"{now - begun:.0f} s, processor {time.process_time():.0f} s"
            print(f"    ... {words}, {100 * done / of:.0f} % of its part, {spent}", flush=True)

    return tell


def peak_gb() -> float:
    """Most memory that this process ever held, in GB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6  # kB where this is run: Linux


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", default="10000,100000")
    parser.add_argument("--kind", choices=TURN_KINDS, default="spot")
    parser.add_argument("--without-place", action="store_true")
    options = parser.parse_args()
    score_pool(invented(50, options.kind, not options.without_place))  # imports and tables
    first = None
    for size in (int(text) for text in options.sizes.split(",")):
        rows = invented(size, options.kind, not options.without_place)
        wall, cpu = time.perf_counter(), time.process_time()
        scores = score_pool(rows, options=PoolOptions(progress=teller()))
        result = result_of(scores, PoolSource(rows))
        wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
        first = first or (cpu / size)
        print(
            f"{size:>9,} rows: {wall:8.1f} s, processor {cpu:8.1f} s, {1e6 * cpu / size:7.1f} us a row, "
            f"growth {cpu / size / first:5.2f}, peak {peak_gb():.2f} GB; "
            f"{result['verdict']['kind']} {result['verdict']['model']}",
            flush=True,
        )


if __name__ == "__main__":
    main()

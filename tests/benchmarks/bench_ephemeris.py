"""Full SunViews a second against direct ERFA, both in one run: python tests/benchmarks/bench_ephemeris.py

One day, 1,000 sites x 100 instants, one thread. Goal: 2 million a second on one core.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import statistics
import time

import numpy as np
from whichsun.models import ephemeris
from whichsun.models.geometry import view_of
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model, model_names


def timed(work, runs=9):
    """Median seconds of `work` after one warm-up."""
    work()
    seconds = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds)


def main():
    rng = np.random.default_rng(1)
    sites = Site(rng.uniform(-80, 80, (1000, 1)), rng.uniform(-180, 180, (1000, 1)), 0.0)
    day = Instants.from_utc_days(9000 + np.linspace(0, 1, 100))
    tt = 9000 + np.linspace(0, 1, 1000)
    direct = timed(lambda: ephemeris.celestial_sun(tt), 3) / tt.size
    print(f"direct ERFA, the slow part alone: {1e-6 / direct:.4f} million a second")
    for name in model_names():
        model = get_model(name)
        seconds = timed(lambda model=model: view_of(model, day, sites)) / 1e5
        print(
            f"{name:15s} {1e-6 / seconds:6.2f} million full SunViews a second, {direct / seconds:7.1f} x direct ERFA"
        )


if __name__ == "__main__":
    main()

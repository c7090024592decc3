"""Evidences of all models against dynesty's static nested sampling: python tests/benchmarks/bench_evidence.py

Two shots with six spots each, drawn under the distant sphere and under the nearby plane; every
variant of the models that always take part, same prior and likelihood for both routes, one thread, processor time.
Goal: the whole at least 50 times faster than 250 live points.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import argparse
import time

import numpy as np
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import DEFAULT_MODELS
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.drawing import Design, draw_outing
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.nested import nested
from whichsun.sim.compare.problem import problem_of
from whichsun.sim.outing import OutingSite
from whichsun.sim.rotation import rotation_law

LAW = "howard-1984"
DESIGN = Design(OutingSite(47.0, 8.0), ("2024-03-25T06:40:00Z", "2024-03-25T17:20:00Z"))
TRUTHS = {"distant-sphere": {}, "nearby-plane": {"face": "facing-pole", "height_km": 5000.0}}
RUNS = 3


def six_and_six(truth):
    """The first drawn outing with six spots in both shots."""
    rng = np.random.default_rng(12)
    while True:
        outing = draw_outing(rng, get_model(truth), TRUTHS[truth], DESIGN, rotation_law(LAW))
        if all(len(shot.spots) == 6 for shot in outing.shots):
            return outing


def processor_seconds(work):
    """Result and processor seconds of one call."""
    start = time.process_time()
    result = work()
    return result, time.process_time() - start


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--live", type=int, default=250, help="live points of the nested sampling")
    parser.add_argument("--only", default="", help="text that the variants' names must hold")
    asked = parser.parse_args()
    print("| truth | variant | ln Z | nested | fast s | nested s | times |")
    print("|---|---|---|---|---|---|---|")
    sums = np.zeros(2)
    for truth in TRUTHS:
        data = data_of(six_and_six(truth))
        for name in DEFAULT_MODELS:
            model = get_model(name)
            for variant in model.variants:
                if variant.attitude_free or asked.only not in f"{name} {variant.name}":
                    continue
                problem = problem_of(model, variant, data, LAW)
                tries = [
                    processor_seconds(lambda p=problem: integrate(p, np.random.default_rng(1)))
                    for _ in range(RUNS)
                ]
                fast, fast_s = tries[0][0], float(np.median([seconds for _, seconds in tries]))
                slow, slow_s = processor_seconds(
                    lambda p=problem: nested(p, np.random.default_rng(2), asked.live)
                )
                sums += fast_s, slow_s
                print(
                    f"| {truth} | {name} {variant.name} | {fast.ln_evidence:.2f} +- {fast.error:.2f} | "
                    f"{slow.ln_evidence:.2f} +- {slow.error:.2f} | {fast_s:.2f} | {slow_s:.1f} | "
                    f"{slow_s / fast_s:.0f} |",
                    flush=True,
                )
    print(f"\nall together: {sums[0]:.2f} s against {sums[1]:.0f} s, {sums[1] / sums[0]:.0f} times faster")


if __name__ == "__main__":
    main()

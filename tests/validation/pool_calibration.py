"""Are a pool's claims as good as their odds, and do its intervals cover? Made-up pools, by hand.

    python tests/validation/pool_calibration.py [--pools 200] [--rows 20] [--seed 1]

Model first (distant sphere or nearby plane with any of its face rules), then its parameters, the common offset and
the noise scale from their priors, then everyone's blunders by the shares of the mixture, then the turns of single
spots with their places. Nothing is drawn anew. Printed: claims right and wrong with what the claimed odds allow, and
how often the 95 % intervals of offset, noise and height hold the truth (binomial error beside it).
"""

from __future__ import annotations

import argparse
import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
from whichsun.models.registry import get_model
from whichsun.sim.compare.problem import Axis
from whichsun.sim.pool.mixture import ANY, HOUR, LN_TAU, LN_TAU_SIGMA, OFFSET_SIGMA, SIGN_OR_MIRROR
from whichsun.sim.pool.reading import PoolSource
from whichsun.sim.pool.result import result_of
from whichsun.sim.pool.scoring import score_pool
from whichsun.sim.pool.submissions import Submissions


def draw_rows(*arguments, **options) -> Submissions:
    """The rows of the tests."""
    path = Path(__file__).parents[1] / "sim" / "pool" / "conftest.py"
    spec = importlib.util.spec_from_file_location("pool_rows", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.draw_rows(*arguments, **options)


def made_up(rng: np.random.Generator, count: int) -> tuple[str, dict, Submissions]:
    """Truth and rows of one pool."""
    model = str(rng.choice(["distant-sphere", "nearby-plane"]))
    known = {p.name: p for p in get_model("nearby-plane").parameters}
    given: dict = {}
    if model == "nearby-plane":
        given["face"] = str(rng.choice(["facing-pole", "fixed", "spinning"]))
        given["height_km"] = float(Axis.of(known["height_km"]).value(rng.random()))
        if given["face"] == "spinning":
            given["rate_deg_per_day"] = float(Axis.of(known["rate_deg_per_day"]).value(rng.random()))
    truth = {
        "offset_deg": float(np.rad2deg(OFFSET_SIGMA) * rng.standard_normal()),
        "noise_deg": float(np.rad2deg(np.exp(LN_TAU + LN_TAU_SIGMA * rng.standard_normal()))),
        **given,
    }
    kind = rng.random(count)
    flipped = tuple(int(i) for i in np.flatnonzero(kind < SIGN_OR_MIRROR / 2))
    late = {
        int(i): float(rng.choice([-1.0, 1.0]))
        for i in np.flatnonzero((kind > SIGN_OR_MIRROR / 2) & (kind < SIGN_OR_MIRROR / 2 + 2 * HOUR))
    }
    rows = draw_rows(
        count,
        model=model,
        given=given,
        tau_deg=truth["noise_deg"],
        offset_deg=truth["offset_deg"],
        flipped=flipped,
        late_hours=late,
        seed=int(rng.integers(1 << 31)),
    )
    any_turn = kind > 1 - ANY
    return (
        model,
        truth,
        replace(rows, turn_deg=np.where(any_turn, rng.uniform(-180, 180, count), rows.turn_deg)),
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pools", type=int, default=200)
    parser.add_argument("--rows", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    right = wrong = 0
    allowed = 0.0
    kinds: dict[str, int] = {}
    held: dict[str, list[bool]] = {"offset_deg": [], "noise_deg": [], "height_km": []}
    for _ in range(options.pools):
        model, truth, rows = made_up(rng, options.rows)
        rows = rows[np.isfinite(rows.turn_deg)]
        result = result_of(score_pool(rows), PoolSource(rows))
        verdict = result["verdict"]
        kinds[verdict["kind"]] = kinds.get(verdict["kind"], 0) + 1
        if verdict["kind"] == "favours":
            right, wrong = right + (verdict["model"] == model), wrong + (verdict["model"] != model)
            allowed += 1 / (1 + np.exp(min(verdict["ln_bayes_factor"], 700)))
        scales = result["noise_and_offset"][model]
        for name in ("offset_deg", "noise_deg"):
            held[name].append(scales[name]["low95"] <= truth[name] <= scales[name]["high95"])
        leader = next(r for r in result["models"] if r["model"] == model and r["variant"] is None)
        height = leader["parameters"].get("height_km")
        if height and truth["face"] in leader["best_variant"]:
            held["height_km"].append(height["low95"] <= truth["height_km"] <= height["high95"])
    print(
        f"{options.pools} pools of {options.rows} rows: {kinds}; claims right {right}, wrong {wrong}, ",
        end="",
    )
    print(f"allowed by the odds {allowed:.2f}")
    for name, found in held.items():
        error = np.sqrt(0.95 * 0.05 / max(len(found), 1))
        print(
            f"{name}: 95 % intervals hold the truth in {np.mean(found):.3f} of {len(found)} (+- {error:.3f})"
        )


if __name__ == "__main__":
    main()

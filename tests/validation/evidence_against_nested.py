"""The fast route to the evidence against two slow ones, on invented outings of many kinds.

Run by hand: ``python tests/validation/evidence_against_nested.py --cases 12``. Every variant that has an attitude
of its own is integrated both ways: same prior, same likelihood. The slow routes are nested sampling with dynesty and
(``--against plain``) the plain mean of the likelihood over the prior, by many scrambled Sobol points: it knows nothing
of modes, its error is the scatter of independent scramblings, and it serves as the judge where the other two differ.
The table gives the difference in ln evidence, the slow route's own stated error, and how many times faster the fast
one was; asked is a difference of at most 0.1 beyond that error. A row takes 10 s to some minutes; rows already in the
file of ``--save`` are not done again.
"""

from __future__ import annotations

import argparse
import json
import time
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from invented_outings import invented_outings
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import DEFAULT_MODELS
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.nested import nested
from whichsun.sim.compare.numeric import ln_sum, sobol_points
from whichsun.sim.compare.problem import Problem, problem_of

ASKED = 0.1
SCRAMBLINGS = 4
FREE_ROLL = 16  # times the points where rolls are free: a mode fills much less of the prior
_BATCH = 2**14
KINDS = (
    {"sigma": 0.004},
    {"sigma": 0.01},
    {"sigma": 0.03, "roll_sigma_deg": 3.0},
    {"sigma": 0.004, "mount": "hand-held"},
    {"sigma": 0.004, "false": 2.0},
    {"sigma": 0.01, "mount": "equatorial"},
)


def problems(case: int) -> list[tuple[str, str, Problem]]:
    """Kind of outing, model and variant, and the problem, for every variant of the headline's models."""
    kind = KINDS[case % len(KINDS)]
    truth, outing = invented_outings().draw_world(np.random.default_rng([11, case]), **kind)
    data = data_of(outing)
    words = f"{truth}, {'+'.join(map(str, data.counts))} spots, " + ", ".join(
        f"{k} {v}" for k, v in kind.items()
    )
    found = []
    for name in DEFAULT_MODELS:
        model = get_model(name)
        for variant in model.variants:
            if not variant.attitude_free and not variant.rigid:
                problem = problem_of(model, variant, data, "howard-1984")
                found.append((words, f"{name} {variant.name}".strip(), problem))
    return found


def plain(problem: Problem, points: int, rng: np.random.Generator) -> tuple[float, float, float]:
    """ln of the likelihood's mean over the prior, its standard error, and the effective number of points."""
    nuisances, logs = problem.nuisances, []
    for _ in range(SCRAMBLINGS):
        unit = sobol_points(points // SCRAMBLINGS, len(nuisances.sigma) + 1, rng)
        parts = [
            problem.ln_whole(
                some[:, 0] if problem.axes else np.full(len(some), 0.5), nuisances.draw(some[:, 1:])
            )
            for some in np.split(unit, range(_BATCH, len(unit), _BATCH))
        ]
        logs.append(np.concatenate(parts))
    total = np.array([ln_sum(part) for part in logs]) - np.log(points / SCRAMBLINGS)
    mean = float(ln_sum(total) - np.log(SCRAMBLINGS))
    share = np.exp(np.concatenate(logs) - ln_sum(np.concatenate(logs)))
    error = float(np.std(np.exp(total - mean), ddof=1) / np.sqrt(SCRAMBLINGS))
    return mean, error, float(1 / (share**2).sum())


def compared(job: tuple[int, int, str, int]) -> dict:
    """Both evidences of one variant on one outing; job: case, place in :func:`problems`, slow route, its points."""
    case, index, by, points = job
    words, name, problem = problems(case)[index]
    start = time.perf_counter()
    fast = integrate(problem, np.random.default_rng(1))
    middle = time.perf_counter()
    if by == "nested":
        slow = nested(problem, np.random.default_rng(2), points)
        value, error, effective = slow.ln_evidence, slow.error, float(1 / (slow.weight**2).sum())
    else:
        free = bool(problem.nuisances.uniform[: problem.data.n_shots].any())
        value, error, effective = plain(problem, points * FREE_ROLL**free, np.random.default_rng(2))
    end = time.perf_counter()
    return {
        "case": case,
        "index": index,
        "outing": words,
        "variant": name,
        "fast": fast.ln_evidence,
        "fast_error": fast.error,
        "effective": fast.effective,
        "fast_s": middle - start,
        "by": by,
        "slow": value,
        "slow_error": error,
        "slow_effective": effective,
        "slow_s": end - middle,
    }


def show(rows: list[dict]) -> None:
    """Print the table, as Markdown, and what lies beyond the limit."""
    print(
        "| variant | n | median difference | largest | beyond 0.1 and one stated error | times faster, median |"
    )
    print("|---|---|---|---|---|---|")
    for name in dict.fromkeys(row["variant"] for row in rows):
        mine = [row for row in rows if row["variant"] == name]
        gap = np.array([row["fast"] - row["slow"] for row in mine])
        over = np.abs(gap) - np.array([row["slow_error"] for row in mine]) > ASKED
        times = np.median([row["slow_s"] / row["fast_s"] for row in mine])
        worst = gap[np.argmax(np.abs(gap))]
        print(f"| {name} | {len(mine)} | {np.median(gap):+.3f} | {worst:+.3f} | {over.sum()} | {times:.0f} |")
    print()
    for row in rows:
        gap = row["fast"] - row["slow"]
        if abs(gap) - row["slow_error"] > ASKED:
            print(
                f"case {row['case']} ({row['outing']}), {row['variant']}: fast {row['fast']:.3f} +- "
                f"{row['fast_error']:.3f} ({row['effective']:.0f} effective), {row['by']} {row['slow']:.3f} +- "
                f"{row['slow_error']:.3f} ({row['slow_effective']:.0f} effective)"
            )


def main() -> None:
    """Integrate, save, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=12)
    parser.add_argument("--against", choices=("nested", "plain"), default="nested")
    parser.add_argument("--live", type=int, default=500, help="live points of the nested sampling")
    parser.add_argument("--points", type=int, default=2**18, help="of the plain mean, a power of two")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--save", type=Path, help="file of JSON lines; its rows are not done again")
    asked = parser.parse_args()
    rows = []
    if asked.save and asked.save.is_file():
        rows = [json.loads(line) for line in asked.save.read_text().splitlines()]
    done = {(row["case"], row["index"]) for row in rows}
    points = asked.live if asked.against == "nested" else asked.points
    jobs = [
        (c, i, asked.against, points)
        for c in range(asked.cases)
        for i in range(len(problems(c)))
        if (c, i) not in done
    ]
    with get_context("spawn").Pool(asked.workers) as pool:
        for count, row in enumerate(pool.imap_unordered(compared, jobs), start=1):
            rows.append(row)
            print(f"... {count} of {len(jobs)}", flush=True)
            if asked.save:
                with asked.save.open("a") as file:
                    file.write(json.dumps(row) + "\n")
    show(rows)


if __name__ == "__main__":
    main()

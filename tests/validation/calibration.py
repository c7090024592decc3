"""Simulation-based calibration of the score: is what it claims as often right as it says?

Run by hand: ``python tests/validation/calibration.py --outings 2000 --save calibration.jsonl --figure
scenarios/gallery/calibration.png``. The model is drawn first, then its parameters from their priors, then site,
day, hours, spots and photos; an outing is drawn anew only where its data cannot be scored (a shot without spots),
never for what model or parameters it came from. Every outing is scored by all models as `score` does. Ranks of the
true parameters among the weighted posterior draws should be uniform (Talts et al. 2018, from memory); among
claims at 20 to 1 no more may be wrong than the claimed odds allow (Poisson, 1 %).

Classes: `good` and `weak` obey the assumptions; the others break one each. Outings already in the file of ``--save``
are not scored again, so that a run can be stopped and carried on, and made longer. ``--scheduler ADDRESS`` does the
work on a Dask engine whose workers need nothing but this version of whichsun: every outing has seeds of its own and
is drawn here, so that rows, tables and the finished file are the same to the last digit whoever does it.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

import numpy as np
from invented_outings import invented_outings
from scipy import stats
from whichsun.models.errors import InputError
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import Options, scored_models
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.latitude import latitude_problem
from whichsun.sim.compare.problem import problem_of
from whichsun.sim.compare.verdict import FAVOURS, judge
from whichsun.sim.files import write_whole
from whichsun.sim.outing import Outing
from whichsun.sim.workers import Processes, executor_for

CLASSES: dict[str, dict] = {
    "good": {},
    "weak": {"sigma": 0.03, "roll_sigma_deg": 3.0, "half_hours": (0.5, 1.5)},
    "places twice as bad": {"place_factor": 2.0},
    "level three times as bad": {"roll_factor": 3.0},
    "spots in groups": {"groups": True},
    "four times the false spots": {"false": 1.2},
    "a level blunder": {"blunder_deg": 15.0},
    "a mirrored shot": {"mirrored": (1,)},
}
OBEYING = ("good", "weak")
LAW = "howard-1984"


def ranks_of(truth: str, given: dict, latitude_deg: float, data, seed: int) -> dict[str, float]:
    """Place of each true parameter among the posterior draws under the true variant, 0 to 1."""
    rng = np.random.default_rng([seed, 9])
    if truth == "distant-sphere":
        problem = latitude_problem(data, LAW)
        true = {"latitude_deg": latitude_deg}
    else:
        model = get_model(truth)
        fixed = {"face": given["face"]} if "face" in given else {}
        variant = next(
            v for v in model.variants if not v.rigid and all(v.fixed.get(k) == x for k, x in fixed.items())
        )
        problem = problem_of(model, variant, data, LAW)
        true = {axis.name: given[axis.name] for axis in problem.axes}
    found = integrate(problem, rng)
    values = problem.values(found.u, found.eta)
    return {
        f"{truth} {name}": float(found.weight[values[name][:, 0] < value].sum())
        for name, value in true.items()
    }


def drawn(kind: str, number: int) -> tuple[str, int, str, dict, Outing]:
    """Outing `number` of a class with its truth: the work of :func:`one`."""
    rng = np.random.default_rng([31, list(CLASSES).index(kind), number])
    invented = invented_outings()
    while True:
        truth, given, outing = invented.draw_calibration(rng, **CLASSES[kind])
        try:
            data_of(outing)
        except InputError:
            continue
        return kind, number, truth, given, outing


def one(work: tuple[str, int, str, dict, Outing]) -> dict:
    """Score an outing of :func:`drawn`. Workers elsewhere know whichsun only, nothing of this folder."""
    kind, number, truth, given, outing = work
    data = data_of(outing)
    options = Options(law=LAW, seed=number + 1, check=False)
    _, scores, added = scored_models(outing, None, options)
    verdict = judge(data, scores, added, tuple(s.file for s in outing.shots), options)
    value = {score.model: score.ln_evidence for score in scores}
    row = {
        "class": kind,
        "number": number,
        "truth": truth,
        "counts": data.counts.tolist(),
        "ln_evidence": value,
        "verdict": verdict.kind,
        "model": verdict.model,
        "ln_bayes_factor": verdict.ln_bayes_factor,
        "flags": list(verdict.flags),
    }
    if kind in OBEYING:
        row["ranks"] = ranks_of(truth, given, outing.site.latitude_deg, data, number)
    return row


def claims_row(rows: list[dict]) -> tuple[int, int, float]:
    """Claims at 20 to 1 between the sphere and the plane, how many are wrong, and how many the odds allow for."""
    claims = wrong = 0
    allowed = 0.0
    for row in rows:
        if row["truth"] == "nearby-sphere":
            continue
        factor = row["ln_evidence"]["distant-sphere"] - row["ln_evidence"]["nearby-plane"]
        if abs(factor) >= FAVOURS:
            claims += 1
            wrong += (factor > 0) != (row["truth"] == "distant-sphere")
            allowed += 1 / (1 + np.exp(abs(factor)))
    return claims, wrong, allowed


def show(rows: list[dict]) -> None:
    """Print the tables, as Markdown."""
    print(
        "| outings | n | claims at 20 to 1 | wrong | expected | allowed (99 %) | verdicts right / wrong / open |"
    )
    print("|---|---|---|---|---|---|---|")
    for kind in CLASSES:
        mine = [row for row in rows if row["class"] == kind]
        if not mine:
            continue
        claims, wrong, expected = claims_row(mine)
        limit = int(stats.poisson.ppf(0.99, max(expected, 1e-9)))
        contest = [row for row in mine if row["truth"] != "nearby-sphere"]
        named = [row for row in contest if row["verdict"] == "favours"]
        right = sum(row["model"] == row["truth"] for row in named)
        text = f"{right} / {len(named) - right} / {len(contest) - len(named)}"
        print(f"| {kind} | {len(contest)} | {claims} | {wrong} | {expected:.1f} | {limit} | {text} |")
    print()
    print("| parameter | outings | n | inside 95 % (99 % band) | Kolmogorov-Smirnov p | p after Holm |")
    print("|---|---|---|---|---|---|")
    table = []
    for kind in OBEYING:
        ranks = ranks_by_name([row for row in rows if row["class"] == kind])
        for name, values in sorted(ranks.items()):
            table.append((name, kind, values, float(stats.kstest(values, "uniform").pvalue)))
    for (name, kind, values, p), holm in zip(table, holm_of([t[3] for t in table]), strict=True):
        inside = float(np.mean((values > 0.025) & (values < 0.975)))
        low, high = (stats.binom.ppf(q, len(values), 0.95) / len(values) for q in (0.005, 0.995))
        band = f"{100 * inside:.1f} % ({100 * low:.1f} to {100 * high:.1f})"
        print(f"| {name} | {kind} | {len(values)} | {band} | {p:.3f} | {holm:.3f} |")


def ranks_by_name(rows: list[dict]) -> dict[str, np.ndarray]:
    """Ranks of each parameter."""
    ranks: dict[str, list[float]] = {}
    for row in rows:
        for name, value in row.get("ranks", {}).items():
            ranks.setdefault(name, []).append(value)
    return {name: np.array(values) for name, values in ranks.items()}


def holm_of(p: list[float]) -> list[float]:
    """Holm's step-down adjustment of p-values for several tests."""
    order = np.argsort(p)
    adjusted, worst = np.empty(len(p)), 0.0
    for place, index in enumerate(order):
        worst = max(worst, min(1.0, (len(p) - place) * p[index]))
        adjusted[index] = worst
    return adjusted.tolist()


def line_of(row: dict) -> str:
    """A row of the file."""
    return json.dumps(row) + "\n"


def scored(jobs: list[tuple[str, int]], scheduler: str | None, workers: int, save: Path | None) -> list[dict]:
    """Rows of `jobs` (class, number), each added to the file as it is done."""
    works = [drawn(*job) for job in jobs]
    print(f"... {len(works)} outings drawn", flush=True)
    rows, start = [], time.monotonic()
    # Processes even for one worker: they, as Dask's workers, do linear algebra on one thread each.
    with executor_for(scheduler, lambda: Processes(workers)) as executor:
        for count, (_, row) in enumerate(executor.run(one, works), start=1):
            rows.append(row)
            if save:
                with save.open("a") as file:
                    file.write(line_of(row))
            if count % 20 == 0:
                spent = time.monotonic() - start
                left = spent / count * (len(works) - count)
                print(f"... {count} of {len(works)}, {spent:.0f} s, about {left:.0f} s left", flush=True)
    return rows


def main() -> None:
    """Draw, score, save, print, draw the figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--outings", type=int, default=2000, help="of each class that obeys the assumptions")
    parser.add_argument(
        "--broken", type=int, default=None, help="of each other class; a quarter where not given"
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--scheduler", metavar="ADDRESS", help="of a Dask scheduler that does the work instead"
    )
    parser.add_argument("--save", type=Path, help="file of JSON lines; its outings are not scored again")
    parser.add_argument("--figure", type=Path, help="PNG with rank histograms and claims")
    parser.add_argument("--only-show", action="store_true", help="tables and figure of what is saved")
    asked = parser.parse_args()
    rows = []
    if asked.save and asked.save.is_file():
        rows = [json.loads(line) for line in asked.save.read_text().splitlines()]
    done = {(row["class"], row["number"]) for row in rows}
    broken = asked.outings // 4 if asked.broken is None else asked.broken
    jobs = [
        (kind, number)
        for number in range(max(asked.outings, broken))
        for kind in CLASSES
        if number < (asked.outings if kind in OBEYING else broken) and (kind, number) not in done
    ]
    if jobs and not asked.only_show:
        rows += scored(jobs, asked.scheduler, asked.workers, asked.save)
    rows.sort(key=lambda row: (list(CLASSES).index(row["class"]), row["number"]))
    if asked.save:
        write_whole(asked.save, "".join(line_of(row) for row in rows))
    show(rows)
    if asked.figure:
        from calibration_figure import calibration_figure

        asked.figure.write_bytes(calibration_figure(rows))


if __name__ == "__main__":
    main()

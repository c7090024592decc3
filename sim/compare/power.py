"""Before going out: how strong the evidence of a planned outing is going to be, by simulated outings.

Each model in turn is the truth, its parameters drawn from their priors; outings are drawn by ``drawing.py`` and scored
as `score` does, with two short cuts: blunders are neither drawn nor looked for, and evidences come from coarse scans
(within 0.5 of a full score's in 22 trials). The check whether the best model fits at all is left out (it takes 1 % of
true models).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import GeometryModel, view_of
from ...models.observables import altitude
from ...models.place import Instants, Site
from ...models.registry import get_model
from ..rotation import rotation_law
from .contest import Options, score_model, told_nobody
from .data import MOST_HOURS_APART, data_of
from .drawing import Design, draw_outing, draw_truth
from .verdict import FAVOURS, judge

COMPARED = ("distant-sphere", "nearby-plane")
OUTINGS = 40
SURE, LIKELY, HARDLY = 0.8, 0.5, 0.2
_UP_DEG = -50 / 60  # altitude of the Sun's centre at rise and set, by convention
_LOW_DEG = 1.0  # below it a longer outing is not proposed: haze and refraction
_ANY_ROLL_DEG = 60.0  # a wider normal prior tells no more than none
_EARLIER_MIN = (60, 45, 30, 15)
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Trial:
    """One simulated outing, scored.

    Attributes
    ----------
    truth : str
    ln_evidence : dict of str to float
        By model; empty where the photos had no spots to score.
    kind, model : str or None
        The verdict.
    """

    truth: str
    ln_evidence: dict[str, float]
    kind: str | None
    model: str | None


@dataclass(frozen=True)
class ExpectedEvidence:
    """What an outing is going to show.

    Attributes
    ----------
    design : Design
    models : tuple of str
    trials : tuple of Trial
    """

    design: Design
    models: tuple[str, ...]
    trials: tuple[Trial, ...]

    def ln_bayes_factors(self, truth: str, against: str) -> np.ndarray:
        """ln Bayes factor of a true model against another, one per outing; 0 where nothing could be scored."""
        return np.array(
            [
                trial.ln_evidence[truth] - trial.ln_evidence[against] if trial.ln_evidence else 0.0
                for trial in self.trials
                if trial.truth == truth
            ]
        )

    def shares(self, truth: str) -> dict[str, float]:
        """Shares of a true model's outings that end `right`, `wrong`, `undecided`; without spots is undecided.

        Where none of the models is said to fit, it is undecided too.
        """
        mine = [trial for trial in self.trials if trial.truth == truth]
        named = [trial for trial in mine if trial.kind == "favours"]
        right = sum(trial.model == truth for trial in named)
        parts = {"right": right, "wrong": len(named) - right, "undecided": len(mine) - len(named)}
        return {name: count / len(mine) for name, count in parts.items()}

    @property
    def share_decided(self) -> float:
        """Share of outings that are decided for the right model, under the truth where it is smallest."""
        return min(self.shares(truth)["right"] for truth in self.models)

    @property
    def decides(self) -> bool:
        """Whether the right verdict is likelier than not, whichever model is true."""
        return self.share_decided >= LIKELY

    @property
    def words(self) -> str:
        """What to expect, as a sentence."""
        share, names = self.share_decided, " and ".join(self.models)
        worst = min(self.models, key=lambda truth: self.shares(truth)["right"])
        among = f"of the simulated outings with {worst} as the truth"
        count = f"{100 * share:.0f} % {among} were decided"
        few = f"only {count}" if share else f"none {among} was decided"
        if share >= SURE:
            return f"This outing will most likely decide between {names}: at the least, {count}."
        if share >= LIKELY:
            return f"This outing will probably decide between {names}: at the least, {count}."
        if share >= HARDLY:
            return f"Do not count on this outing to decide between {names}: {few}."
        return f"This outing cannot decide between {names}: {few}."

    def truths(self) -> list[dict[str, Any]]:
        """One row for each model as the truth: outings, those without spots, and the shares of verdicts."""
        rows = []
        for truth in self.models:
            mine = [trial for trial in self.trials if trial.truth == truth]
            empty = sum(not trial.ln_evidence for trial in mine)
            rows.append({"truth": truth, "outings": len(mine), "without_spots": empty, **self.shares(truth)})
        return rows

    def pairs(self) -> list[dict[str, Any]]:
        """For each true model against each other one: median and central 68 % of the ln Bayes factor."""
        rows = []
        for truth in self.models:
            for against in self.models:
                if against == truth:
                    continue
                factor = self.ln_bayes_factors(truth, against)
                low, median, high = (float(v) for v in np.quantile(factor, (0.16, 0.5, 0.84)))
                rows.append(
                    {
                        "truth": truth,
                        "against": against,
                        "ln_bayes_factor_median": median,
                        "ln_bayes_factor_low68": low,
                        "ln_bayes_factor_high68": high,
                        "share_above_20_to_1": float(np.mean(factor >= FAVOURS)),
                    }
                )
        return rows

    def to_json(self) -> dict[str, Any]:
        """What every kind of expectation says."""
        return {
            "decides": self.decides,
            "share_decided": self.share_decided,
            "words": self.words,
            "truths": self.truths(),
            "pairs": self.pairs(),
        }


def expected_evidence(
    design: Design,
    models: Sequence[str | GeometryModel] = COMPARED,
    *,
    outings: int = OUTINGS,
    options: Options | None = None,
    processes: int | None = 1,
    progress: Progress | None = None,
    scheduler: str | None = None,
) -> ExpectedEvidence:
    """Simulate and score outings of a design with each model as the truth.

    Parameters
    ----------
    design : Design
    models : sequence of str or GeometryModel
        Two or more; models by name are needed for more than one process.
    outings : int
        For each true model. A share is then known to 1/(2 sqrt(outings)) or better.
    options : Options, optional
        Rotation law, held parameters, maps and seed; outing k of a truth is drawn from the seed, the truth and k alone,
        so that two designs meet the same spots and the same luck as far as they can.
    processes : int, optional
        That share the work; None takes one per core. The numbers do not depend on it.
    progress : callable, optional
        Called with (outings done, outings in all, words).
    scheduler : str, optional
        Address of a Dask scheduler whose workers do the work instead.

    Raises
    ------
    InputError
        Fewer than two models or times, times out of order, too far apart or with the Sun below the horizon; a
        scheduler that cannot be reached.
    UnknownNameError
        An unknown model or law.
    """
    from ..workers import Here, Processes, executor_for, workers_for

    options = options or Options()
    names = tuple(_model(model).name for model in models)
    if len(set(names)) < 2 or len(set(names)) < len(names):
        raise InputError("models", "must name at least two different models", ", ".join(names))
    if not 1 <= outings <= 100_000:
        raise InputError("outings", "must be between 1 and 100000", outings)
    rotation_law(options.law)
    check_times(design)
    bare = replace(options, repairs=False, rough=True, check=True, progress=told_nobody, tell=told_nobody)
    tasks = [(design, tuple(models), bare, place, k) for k in range(outings) for place in range(len(names))]
    workers = workers_for(processes, len(tasks))
    told = progress or told_nobody
    told(0, len(tasks), "simulated outings")
    trials: list[Any] = [None] * len(tasks)
    alone = workers == 1 or not all(isinstance(model, str) for model in models)
    with executor_for(scheduler, Here if alone else lambda: Processes(workers)) as executor:
        for done, (place, trial) in enumerate(executor.run(_trial, tasks), start=1):
            trials[place] = trial
            told(done, len(tasks), "simulated outings")
    return ExpectedEvidence(design, names, tuple(trials))


def _model(model: str | GeometryModel) -> GeometryModel:
    return get_model(model) if isinstance(model, str) else model


def _trial(task: tuple[Design, tuple[str | GeometryModel, ...], Options, int, int]) -> Trial:
    """Draw and score one outing; also the work of the other processes."""
    design, given, options, place, number = task
    models = [_model(model) for model in given]
    rng = np.random.default_rng([options.seed, place, number])
    variant, values = draw_truth(rng, models[place], options)
    law = rotation_law("rigid" if variant.rigid else options.law)
    outing = draw_outing(rng, models[place], values, design, law, roll_sigmas_deg=roll_sigmas_deg(design))
    truth = models[place].name
    try:
        data = data_of(outing)
    except InputError:  # photos without spots: times and site were checked before
        return Trial(truth, {}, None, None)
    files = tuple(shot.file for shot in outing.shots)
    scores = [score_model(model, data, files, options, lambda words: None) for model in models]
    verdict = judge(data, scores, tuple(model.name for model in models), files, options)
    value = {score.model: float(score.ln_evidence) for score in scores}
    return Trial(truth, value, verdict.kind, verdict.model)


def check_times(design: Design) -> None:
    """Refuse times at which nobody can photograph the Sun, or that no outing may hold."""
    if len(design.times_utc) < 2:
        raise InputError("at", "must be given at least twice", len(design.times_utc), "one time per photo")
    instants = Instants.from_utc(list(design.times_utc))
    hours = 24 * np.diff(instants.utc_days)
    if not np.all(hours > 0):
        raise InputError("at", "must be times that follow each other", ", ".join(design.times_utc))
    if hours.sum() > MOST_HOURS_APART:
        raise InputError("at", f"must lie within {MOST_HOURS_APART:.0f} h", f"{hours.sum():.0f} h")
    for time, high in zip(design.times_utc, _altitude_deg(design, instants), strict=True):
        if high < _UP_DEG:
            hint = f"the Sun's centre stands at {high:.1f} deg; `whichsun sweep` lists rise and set"
            raise InputError("at", "must be a time at which the Sun is up at the site", time, hint)


def _altitude_deg(design: Design, instants: Instants) -> np.ndarray:
    site = Site(design.site.latitude_deg, design.site.longitude_deg, design.site.height_m)
    return np.rad2deg(altitude(view_of(get_model("distant-sphere"), instants, site)))


def roll_sigmas_deg(design: Design) -> tuple[float, ...]:
    """Uncertainty of the roll about the line of sight, for each photo.

    A tripod whose axis leans by delta turns the picture by delta / cos(altitude): seen from a Sun high up, the zenith
    is near (spherical triangle Sun, zenith, tripod's axis). An equatorial mount does not feel it.
    """
    level = design.roll_sigma_deg
    if design.mount != "level-tripod":
        return (level,) * len(design.times_utc)
    high = np.deg2rad(_altitude_deg(design, Instants.from_utc(list(design.times_utc))))
    return tuple(float(v) for v in np.minimum(level / np.maximum(np.cos(high), 1e-3), _ANY_ROLL_DEG))


def changes(design: Design) -> list[tuple[str, Design]]:
    """What a person may do about an outing: words, and the design with that done.

    A longer baseline only as far as the Sun stands above 1 degree.
    """
    found = []
    longer = _longer(design)
    if longer is not None:
        found.append(longer)
    many = min(2 * design.spots_found, 60.0)
    found.append((f"a day with twice the spots ({many:g} in a photo)", replace(design, spots_found=many)))
    if design.mount == "hand-held":
        level = replace(design, mount="level-tripod", roll_sigma_deg=0.7)
        found.append(("a level tripod (to 0.7 deg) instead of a hand-held camera", level))
    else:
        roll = design.roll_sigma_deg / 3
        words = f"the camera's level known three times as well (to {roll:.2g} deg)"
        found.append((words, replace(design, roll_sigma_deg=max(roll, 1e-3))))
    place = max(design.place_sigma / 2, 1e-5)
    words = f"spots measured twice as well (to {place:.2g} disc radii: longer lens, sharper photo)"
    found.append((words, replace(design, place_sigma=place)))
    return found


def _longer(design: Design) -> tuple[str, Design] | None:
    days = Instants.from_utc(list(design.times_utc)).utc_days
    for minutes in _EARLIER_MIN:
        moved = days.copy()
        moved[0] -= minutes / 1440
        moved[-1] += minutes / 1440
        instants = Instants.from_utc_days(moved)
        high = _altitude_deg(design, instants)
        if min(high[0], high[-1]) > _LOW_DEG and (moved[-1] - moved[0]) * 24 <= MOST_HOURS_APART:
            words = (
                f"a longer baseline: the first photo {minutes} min earlier and the last {minutes} min later"
            )
            return words, replace(design, times_utc=tuple(instants.iso()))
    return None


def what_if(
    design: Design,
    models: Sequence[str | GeometryModel] = COMPARED,
    *,
    outings: int = OUTINGS,
    options: Options | None = None,
    processes: int | None = 1,
    progress: Progress | None = None,
    scheduler: str | None = None,
) -> list[tuple[str, ExpectedEvidence]]:
    """The same as :func:`expected_evidence` for each of :func:`changes`, most helpful first."""
    told = progress or told_nobody
    wanted = changes(design)
    found = []
    for place, (words, changed) in enumerate(wanted):

        def step(done: int, of: int, _: str, place: int = place) -> None:
            told(place * of + done, len(wanted) * of, "simulated changes")

        result = expected_evidence(
            changed,
            models,
            outings=outings,
            options=options,
            processes=processes,
            progress=step,
            scheduler=scheduler,
        )
        found.append((words, result))
    return most_helpful_first(found)


def most_helpful_first(changed: Sequence[tuple[str, ExpectedEvidence]]) -> list[tuple[str, ExpectedEvidence]]:
    """Changes by what they would bring, as :func:`advice` wants them."""
    return sorted(changed, key=lambda one: _usefulness(one[1]), reverse=True)


def _usefulness(result: ExpectedEvidence) -> tuple[float, float]:
    medians = [row["ln_bayes_factor_median"] for row in result.pairs()]
    return result.share_decided, min(medians)


def advice(base: ExpectedEvidence, changed: Sequence[tuple[str, ExpectedEvidence]]) -> str:
    """In a sentence, which change helps most; `changed` as :func:`what_if` sorts it."""
    better = [(words, one) for words, one in changed if _usefulness(one) > _usefulness(base)]
    if not better:
        return "None of the simulated changes would raise the evidence noticeably."
    words, most = better[0]
    before, after = _usefulness(base), _usefulness(most)
    return (
        f"What would raise it most: {words} (decided {100 * before[0]:.0f} -> {100 * after[0]:.0f} %, "
        f"weakest median of ln B {before[1]:.1f} -> {after[1]:.1f})."
    )

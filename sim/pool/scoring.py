"""Score many people's angles and photos together: evidences, details of every row, doubts."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import erfa
import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array, GeometryModel
from ...models.registry import get_model
from ..compare.contest import (
    DEFAULT_MODELS,
    ModelScore,
    Options,
    VariantScore,
    joined,
    score_variant,
    variants_of,
    weights_of,
)
from ..compare.data import OutingData, data_of
from ..compare.numeric import ln_sum
from ..compare.priors import PRIORS
from ..compare.problem import PRIOR_MAPS, Axis
from ..outing import Outing
from ..rotation import DEFAULT_LAW, rotation_law
from ..workers import executor_for
from .integrate import Board, PoolEvidence, integrate, laplace, mode_of
from .meter import afterwards
from .photos import PhotoTable, PhotoWork, ln_photos, photo_starts, photos_alone, scan_photos
from .runner import Checkpoint, Runner
from .shared import Shared
from .submissions import Submissions
from .target import PoolVariant

LN_ANY = -np.log(2 * np.pi)  # ln density of a turn that may be anything


@dataclass(frozen=True)
class PoolOptions:
    """How to score a pool.

    Attributes
    ----------
    law, given, maps, seed
        As in ``compare.contest.Options``.
    scheduler : str or None
        Address of a Dask scheduler; None uses this machine.
    checkpoint : Path or None
        File for results of blocks, to go on from after a stop.
    check : bool
        Whether the verdict is tried with doubled uncertainties and other priors.
    progress : callable
        Called with (done, of, words).
    """

    law: str = DEFAULT_LAW
    given: Mapping[str, Any] = field(default_factory=dict)
    maps: tuple[str, ...] = ()
    seed: int = 1
    scheduler: str | None = None
    checkpoint: Path | None = None
    check: bool = True
    progress: Callable[[int, int, str], None] = lambda done, of, words: None


@dataclass(frozen=True)
class Entry:
    """One variant in the contest with all that was found for it.

    Attributes
    ----------
    weight : float
        Prior share in its model's mean; 0 for the free voice.
    ln_evidence, error : float
    evidence : PoolEvidence or None
        None where attitudes are free.
    photos : tuple of PhotoTable
    doubled : float or None
        ln evidence of the model with doubled uncertainties, by the normal approximation, for the best variant.
    """

    geometry: GeometryModel
    worker: PoolVariant
    weight: float
    ln_evidence: float
    error: float
    evidence: PoolEvidence | None
    photos: tuple[PhotoTable, ...]
    doubled: float | None = None

    def prior_shifts(self) -> dict[str, float]:
        """Change of ln evidence when the first free parameter takes another prior, by its name."""
        if self.evidence is None or not self.worker.axes:
            return {}
        axis, points, weight = self.worker.axes[0], self.evidence.points, self.evidence.weight
        names = [name for name in PRIORS if name != axis.prior and (name == "uniform" or axis.low > 0)]
        with np.errstate(divide="ignore"):
            ln_weight = np.log(weight)
        return {n: float(ln_sum(_ln_ratio(axis, n, points[:, 0]) + ln_weight)) for n in names}


def _ln_ratio(axis: Axis, prior: str, place: Array) -> Array:
    """ln density of another prior in the place where the axis' own is uniform."""
    there, step = PRIOR_MAPS[prior][0], 1e-4
    low, high = axis.value(np.clip(place - step, 0, 1)), axis.value(np.clip(place + step, 0, 1))
    whole = abs(there(np.float64(axis.high)) - there(np.float64(axis.low)))
    width = np.clip(place + step, 0, 1) - np.clip(place - step, 0, 1)
    return np.log(np.maximum(np.abs(there(high) - there(low)) / whole / width, 1e-300))


@dataclass(frozen=True)
class PoolScores:
    """Result of :func:`score_pool`.

    Attributes
    ----------
    rows : Submissions
        In the order in which they were handed in.
    models : tuple of ModelScore
    entries : dict of model name to tuple of Entry
        By model, in the order of its variants.
    details : dict of model name to ndarray, shape (n, 8)
        Densities of the components of each row under the model's best variant at its best values, then
        turn (rad) and tilt (rad, nan for rows that are not averaged over spots).
    added : tuple of str
    options : PoolOptions
    """

    rows: Submissions
    outings: tuple[tuple[str, Outing], ...]
    models: tuple[ModelScore, ...]
    entries: dict[str, tuple[Entry, ...]]
    details: dict[str, Array]
    added: tuple[str, ...]
    options: PoolOptions

    def leader(self, model: str) -> Entry:
        """Entry of a model's best variant."""
        score = next(score for score in self.models if score.model == model)
        return self.entries[model][score.best]


def score_pool(
    rows: Submissions,
    outings: Sequence[tuple[str, Outing]] = (),
    models: Sequence[str | GeometryModel] | None = None,
    options: PoolOptions | None = None,
) -> PoolScores:
    """Score every model against everyone's angles and photos.

    Parameters
    ----------
    rows : Submissions
        Angles.
    outings : sequence of (name, Outing)
        Outings with photos; their observables are not looked at.
    models : sequence of str or GeometryModel, optional
        Models added to the contest; a text is also how workers elsewhere find it.
    options : PoolOptions, optional

    Raises
    ------
    InputError
        Nothing to score, an outing that cannot be scored, a scheduler that cannot be reached.
    UnknownNameError
        An unknown model, law, map or parameter.
    """
    options = options or PoolOptions()
    if not len(rows) and not outings:
        raise InputError("source", "must hold at least one submission that can be scored")
    rotation_law(options.law)
    contest = Options(law=options.law, given=options.given, maps=options.maps, seed=options.seed)
    chosen = _chosen(models or (), options)
    workers = {
        model.name: [
            PoolVariant.of(model, v, options.law, options.given, told) for v in variants_of(model, contest)
        ]
        for model, told in chosen
    }
    order = np.lexsort((rows.latitude_deg, rows.from_day))
    checkpoint = Checkpoint(options.checkpoint)
    data = [data_of(replace(outing, observables=())) for _, outing in outings]
    with _no_erfa_warnings(), executor_for(options.scheduler) as executor:
        runner = Runner(executor, checkpoint, options.progress)
        shared = Shared(runner, rows[order], options.seed, doubled=options.check)
        tables = _scanned(runner, outings, data, workers, chosen, options)
        entries = _evidences(shared, workers, chosen, tables)
        scores = []
        for model, _ in chosen:
            free = _with_free(model, entries[model.name], data, outings, len(rows), contest)
            entries[model.name] = free
            parts = tuple(
                VariantScore(model.name, e.worker.variant, e.ln_evidence, e.error, e.weight, (), None, None)
                for e in free
            )
            scores.append(joined(model, parts))
        details = {}
        for score in scores:
            leader = entries[score.model][score.best]
            if leader.evidence is not None:
                details[score.model] = shared.details(leader.worker, leader.evidence)[np.argsort(order)]
            else:
                details[score.model] = np.empty((0, 8))
        if options.check and len(rows):
            _double(shared, scores, entries)
        checkpoint.save()
    added = tuple((get_model(m) if isinstance(m, str) else m).name for m in models or ())
    return PoolScores(rows, tuple(outings), tuple(scores), entries, details, added, options)


@contextmanager
def _no_erfa_warnings() -> Iterator[None]:
    """Silence ERFA for as long as threads work: what each of them sets for itself, another would undo.

    What it says of distant years is said by our own warnings.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        yield


def _chosen(
    models: Sequence[str | GeometryModel], options: PoolOptions
) -> list[tuple[GeometryModel, str | None]]:
    """Models of the contest, each with the text by which a worker elsewhere finds it."""
    chosen: list[tuple[GeometryModel, str | None]] = [(get_model(name), name) for name in DEFAULT_MODELS]
    for one in models:
        model = get_model(one) if isinstance(one, str) else one
        if all(model.name != other.name for other, _ in chosen):
            chosen.append((model, one if isinstance(one, str) else None))
    known = {p.name for model, _ in chosen for p in model.parameters}
    for name in options.given:
        if name not in known:
            raise InputError(name, f"must be a parameter of {', '.join(m.name for m, _ in chosen)}")
    return chosen


def _scanned(
    runner: Runner,
    outings: Sequence[tuple[str, Outing]],
    data: Sequence[OutingData],
    workers: Mapping[str, Sequence[PoolVariant]],
    chosen: Sequence[tuple[GeometryModel, str | None]],
    options: PoolOptions,
) -> dict[tuple[str, int], tuple[PhotoTable, ...]]:
    """Scans of all outings under all variants, by model name and variant number."""
    keys, works = [], []
    for model, _ in chosen:
        for number, worker in enumerate(workers[model.name]):
            if worker.variant.attitude_free:
                continue
            for (_, outing), one in zip(outings, data, strict=True):
                files = tuple(shot.file for shot in outing.shots)
                keys.append((model.name, number))
                works.append(PhotoWork(one, files, model, worker.variant, options.law, options.given))
    found: dict[tuple[str, int], list[PhotoTable]] = {key: [] for key in keys}
    for key, table in zip(keys, runner.each(scan_photos, works, "scanning photos"), strict=True):
        found[key].append(table)
    return {key: tuple(tables) for key, tables in found.items()}


def _evidences(
    shared: Shared,
    workers: Mapping[str, Sequence[PoolVariant]],
    chosen: Sequence[tuple[GeometryModel, str | None]],
    tables: Mapping[tuple[str, int], tuple[PhotoTable, ...]],
) -> dict[str, tuple[Entry, ...]]:
    """Entries of all variants but the free ones, by model; the free ones follow later."""
    keys, tasks, entries, board = [], [], {}, Board()
    for model, _ in chosen:
        weights = weights_of([worker.variant for worker in workers[model.name]])
        made = []
        for number, worker in enumerate(workers[model.name]):
            photos = tables.get((model.name, number), ())
            made.append(Entry(model, worker, float(weights[number]), np.nan, np.nan, None, photos))
            if worker.variant.attitude_free:
                continue
            free = len(worker.axes)
            if shared.count == 0:
                made[-1] = _with(made[-1], photos_alone(photos, free))
                continue
            rng = np.random.default_rng([shared.seed, len(tasks)])
            extra = _extra(photos)
            starts = photo_starts(photos, free) if photos and free else None
            keys.append((model.name, number))
            tasks.append((worker, integrate(free, shared.sizes, rng, extra, starts, board), 1.0))
        entries[model.name] = made
    most = [max(len(worker.axes) for worker in workers[model.name]) for model, _ in chosen]
    later = afterwards(shared.sizes, [free + 2 for free in most], doubled=shared.doubled)
    for (name, number), evidence in zip(keys, shared.run(tasks, "scoring angles", later=later), strict=True):
        entries[name][number] = _with(entries[name][number], evidence)
    return {name: tuple(made) for name, made in entries.items()}


def _extra(photos: Sequence[PhotoTable]) -> Callable[[Array], Array] | None:
    return (lambda places: ln_photos(photos, places)) if photos else None


def _with(entry: Entry, evidence: PoolEvidence) -> Entry:
    return replace(entry, ln_evidence=evidence.ln_evidence, error=evidence.error, evidence=evidence)


def _with_free(
    model: GeometryModel,
    entries: Sequence[Entry],
    data: Sequence[OutingData],
    outings: Sequence[tuple[str, Outing]],
    rows: int,
    contest: Options,
) -> tuple[Entry, ...]:
    """The entries with the free voice worked out: any turn for every angle, any attitude for every photo."""
    done = []
    for entry in entries:
        if entry.worker.variant.attitude_free:
            total, error = rows * LN_ANY, 0.0
            for (_, outing), one in zip(outings, data, strict=True):
                files = tuple(shot.file for shot in outing.shots)
                voice = score_variant(model, entry.worker.variant, 0.0, one, files, contest)
                total, error = total + voice.ln_evidence, float(np.hypot(error, voice.error))
            entry = replace(entry, ln_evidence=total, error=error)
        done.append(entry)
    return tuple(done)


def _double(shared: Shared, scores: Sequence[ModelScore], entries: dict[str, tuple[Entry, ...]]) -> None:
    """Fill in `doubled` of every model's best variant."""
    leaders = [entries[score.model][score.best] for score in scores]
    tasks = []
    for entry in leaders:
        assert entry.evidence is not None  # a free voice leads no model that has other variants
        start, extra = mode_of(entry.evidence), _extra(entry.photos)
        tasks.append((entry.worker, laplace(len(entry.worker.axes), shared.sizes, start, extra), 2.0))
    found = shared.run(tasks, "doubling the uncertainties", drawn=False)
    for score, evidence in zip(scores, found, strict=True):
        made = list(entries[score.model])
        diluted = score.ln_evidence - made[score.best].ln_evidence
        made[score.best] = replace(made[score.best], doubled=evidence.ln_evidence + diluted)
        entries[score.model] = tuple(made)

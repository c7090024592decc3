"""Score every model against one outing: evidences of all variants, repairs, checks, verdict."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import GeometryModel, Variant, resolve_values
from ...models.registry import get_model
from ..outing import Outing
from ..rotation import DEFAULT_LAW, rotation_law
from .attitude import integrate_attitudes
from .bestfit import BestFit, best_fit
from .cells import Evidence
from .data import OutingData, data_of
from .evidence import integrate
from .fallback import safe_evidence
from .hypotheses import Repair, repairs_of
from .likelihood import Scene
from .numeric import ln_sum, ln_t4
from .predictive import DRAWS, DRAWS_MANY_SHOTS, predictive_p
from .problem import Problem, problem_of
from .quantities_likelihood import ln_uniform

DEFAULT_MODELS = ("distant-sphere", "nearby-sphere", "nearby-plane")
NESTED = {"nearby-sphere": "distant-sphere"}  # read as a measurement, not as a rival
NESTED_ENTERS = 3.0
_WORTH_REFINING = 3.0  # a repair is integrated fully where its share grew from the prior's by this factor
_FREE_LN_RATIO = 0.7  # free attitudes: half the limb ratios are 1, half uniform up to a factor of 2


def told_nobody(*words: object) -> None:
    """No progress; a function with a name, because options travel to other processes."""


@dataclass(frozen=True)
class Options:
    """How to score.

    Attributes
    ----------
    law : str
        Rotation law of the spots, ``rigid`` for none.
    given : mapping
        Parameter values that are held instead of integrated.
    maps : tuple of str
        Maps for the variants that are laid on one; () keeps each variant's own.
    seed : int
        Of the random draws.
    repairs, check : bool
        Whether blunders are hypotheses, and whether p-values and doubled uncertainties are worked out.
    rough : bool
        Coarse scans only, for signs rather than numbers.
    progress : callable
        Called with (done, of, words) as the work goes on.
    tell : callable
        Called with words about what takes long within a step.
    """

    law: str = DEFAULT_LAW
    given: Mapping[str, Any] = field(default_factory=dict)
    maps: tuple[str, ...] = ()
    seed: int = 1
    repairs: bool = True
    check: bool = True
    rough: bool = False
    progress: Callable[[int, int, str], None] = told_nobody
    tell: Callable[[str], None] = told_nobody


@dataclass(frozen=True)
class VariantScore:
    """One variant against the outing.

    Attributes
    ----------
    ln_evidence, error : float
        With the repairs summed in by their prior shares.
    weight : float
        Prior share in the model's mean; 0 for a third voice.
    repair_odds : tuple of (Repair, float)
        Posterior odds of each repair against nothing being wrong.
    problem, evidence, repair : Problem, Evidence, Repair, or None
        Those of the likeliest repair; None where attitudes are free.
    """

    model: str
    variant: Variant
    ln_evidence: float
    error: float
    weight: float
    repair_odds: tuple[tuple[Repair, float], ...]
    problem: Problem | None
    evidence: Evidence | None
    repair: Repair | None = None
    fit: BestFit | None = None
    p_value: float | None = None

    @property
    def by(self) -> str:
        """How the evidence was integrated: ``"importance"`` or ``"nested"``."""
        return "importance" if self.evidence is None else self.evidence.by


@dataclass(frozen=True)
class ModelScore:
    """A model: the mean over its variants.

    Attributes
    ----------
    geometry : GeometryModel
    best : int
        Place of its best variant.
    """

    geometry: GeometryModel
    ln_evidence: float
    error: float
    variants: tuple[VariantScore, ...]
    best: int

    @property
    def model(self) -> str:
        """The model's name."""
        return self.geometry.name

    @property
    def by(self) -> str:
        """``"nested"`` where that integrated one of the variants in the mean."""
        slow = any(variant.by == "nested" for variant in self.variants if variant.weight > 0)
        return "nested" if slow else "importance"

    @property
    def leader(self) -> VariantScore:
        """The best variant."""
        return self.variants[self.best]


def variants_of(model: GeometryModel, options: Options) -> tuple[Variant, ...]:
    """The model's variants under the given values and maps, laid on each of the maps.

    A variant that fixes a parameter to another value than the given one drops out; where all do, one
    variant with the given values takes their place, its free parameters those of the first.
    """
    own = {p.name: p for p in model.parameters}
    given = {name: value for name, value in options.given.items() if name in own}
    resolve_values(model, given)
    chosen: list[Variant] = []
    for variant in model.variants:
        maps = options.maps if "map" in variant.fixed and "map" not in given else ()
        if maps and variant.attitude_free:
            maps = maps[:1]
        if not maps:
            fixed = {**variant.fixed, **({"map": given["map"]} if "map" in given and "map" in own else {})}
            chosen.append(replace(variant, fixed=fixed))
        for text in maps:
            label = f", {text}" if len(maps) > 1 else ""
            fixed = {**variant.fixed, "map": text}
            chosen.append(
                replace(variant, name=variant.name + label, fixed=fixed, group=variant.group + label)
            )
    kept = [v for v in chosen if all(v.fixed.get(name, value) == value for name, value in given.items())]
    return tuple(kept) or (Variant("as given", {}, chosen[0].free, rigid=chosen[0].rigid),)


def weights_of(variants: Sequence[Variant]) -> np.ndarray:
    """Prior shares: equal over groups, within a group over its variants; free attitudes stand apart."""
    groups: dict[str, int] = {}
    for variant in variants:
        if not variant.attitude_free:
            key = variant.group or variant.name
            groups[key] = groups.get(key, 0) + 1
    shares = [0.0 if v.attitude_free else 1 / len(groups) / groups[v.group or v.name] for v in variants]
    return np.array(shares)


def score_model(
    model: GeometryModel,
    data: OutingData,
    files: tuple[str, ...],
    options: Options,
    step: Callable[[str], None],
    *,
    voices: bool = True,
) -> ModelScore:
    """Evidence of all variants of a model; free attitudes only where anything tells of the attitude, and not
    without `voices`: they take no part in the mean.
    """
    variants = variants_of(model, options)
    if not (voices and data.has_attitude):
        variants = tuple(v for v in variants if not v.attitude_free) or variants
    scores = []
    for variant, weight in zip(variants, weights_of(variants), strict=True):
        step(f"{model.name} {variant.name}".strip())
        scores.append(score_variant(model, variant, float(weight), data, files, options))
    return joined(model, tuple(scores))


def joined(model: GeometryModel, scores: tuple[VariantScore, ...]) -> ModelScore:
    """Mean over variants of their evidences."""
    contest = [i for i, s in enumerate(scores) if s.weight > 0] or list(range(len(scores)))
    parts = np.array([scores[i].ln_evidence + np.log(max(scores[i].weight, 1e-300)) for i in contest])
    total = float(ln_sum(parts))
    share = np.exp(parts - total)
    error = float(np.sqrt(((share * np.array([scores[i].error for i in contest])) ** 2).sum()))
    best = max(contest, key=lambda i: scores[i].ln_evidence)
    return ModelScore(model, total, error, scores, best)


def score_variant(
    model: GeometryModel,
    variant: Variant,
    weight: float,
    data: OutingData,
    files: tuple[str, ...],
    options: Options,
) -> VariantScore:
    """Evidence of one variant with the repairs summed in."""
    if variant.attitude_free:
        return _score_free(model, variant, data, files, options)
    repairs = repairs_of(data, files) if options.repairs else (Repair("none", "", 1.0, data),)
    problems = [problem_of(model, variant, repair.data, options.law, options.given) for repair in repairs]
    words = f"{model.name} {variant.name}".strip()

    def fully(index: int) -> Evidence:
        rng = np.random.default_rng([options.seed, index])
        return safe_evidence(problems[index], rng, words, options.tell)

    def roughly(index: int) -> Evidence:
        return integrate(problems[index], np.random.default_rng([options.seed, index]), rough=True)

    results = [fully(0) if not options.rough else roughly(0), *map(roughly, range(1, len(problems)))]
    ln_parts = _ln_parts(repairs, [r.ln_evidence for r in results])
    share = np.exp(ln_parts - ln_sum(ln_parts))
    worth = share > _WORTH_REFINING * np.array([repair.prior for repair in repairs])
    for index in np.flatnonzero(worth & (np.arange(len(worth)) > 0) & (not options.rough)):
        results[index] = fully(int(index))
    ln_parts = _ln_parts(repairs, [r.ln_evidence for r in results])
    best = int(np.argmax(ln_parts))
    odds = tuple(
        (repair, float(np.exp(min(part - ln_parts[0], 700))))
        for repair, part in zip(repairs, ln_parts, strict=True)
    )
    return VariantScore(
        model.name,
        variant,
        float(ln_sum(ln_parts)),
        results[best].error if np.isfinite(results[best].error) else 0.1,
        weight,
        odds[1:],
        problems[best],
        results[best],
        repairs[best],
    )


def _ln_parts(repairs: Sequence[Repair], values: Sequence[float]) -> np.ndarray:
    return np.array([value + np.log(repair.prior) for repair, value in zip(repairs, values, strict=True)])


def _score_free(
    model: GeometryModel, variant: Variant, data: OutingData, files: tuple[str, ...], options: Options
) -> VariantScore:
    none = (Repair("none", "", 1.0, data),)
    repairs = repairs_of(data, files, attitude_free=True) if options.repairs else none
    given = {
        name: value for name, value in options.given.items() if name in {p.name for p in model.parameters}
    }
    values = resolve_values(model, {**given, **variant.fixed})
    distance = np.ones(0)
    if data.has_spots:
        distance = np.broadcast_to(model.view(data.instants, data.site, values).distance, data.days.shape)
    parts, errors = [], []
    for index, repair in enumerate(repairs):
        if not data.has_spots:
            parts.append(np.log(repair.prior))
            errors.append(0.0)
            continue
        scene = Scene.of(repair.data, rotation_law("rigid"))
        rng = np.random.default_rng([options.seed, index])
        result = integrate_attitudes(scene, distance, data.squash_sigma, rng)
        parts.append(result.ln_evidence + np.log(repair.prior))
        errors.append(result.error)
    limbs = 0.0
    for ratio in data.limb_ratios:
        equal = float(ln_t4(np.asarray(ratio.value / ratio.sigma))) - np.log(ratio.sigma)
        limbs += float(np.logaddexp(np.log(0.5) + equal, np.log(0.5 / (2 * _FREE_LN_RATIO))))
    total = float(ln_sum(parts))
    error = errors[int(np.argmax(parts))]
    odds = tuple(
        (repair, float(np.exp(min(part - parts[0], 700))))
        for repair, part in zip(repairs, parts, strict=True)
    )
    limbs += _free_quantities(data, options)
    return VariantScore(model.name, variant, total + limbs, error, 0.0, odds[1:], None, None)


def _rough(problem: Problem) -> Evidence:
    return integrate(problem, np.random.default_rng(0), rough=True)


def _free_quantities(data: OutingData, options: Options) -> float:
    """ln evidence of the quantities where attitudes are free: a turn may be anything, all else is as good as under
    the best of the models that always take part.
    """
    turns = tuple(one for one in data.quantities if one.of_attitude)
    others = tuple(one for one in data.quantities if not one.of_attitude)
    total = ln_uniform(turns)
    if others:
        alone = data.without_spots().with_quantities(others)
        total += max(
            _rough(problem_of(model, variant, alone, options.law, options.given)).ln_evidence
            for model in map(get_model, DEFAULT_MODELS)
            for variant in variants_of(model, options)
            if not variant.attitude_free
        )
    return total


def checked(score: ModelScore, options: Options) -> ModelScore:
    """Add best fits of all variants and the p-value of the best one."""
    variants = []
    for index, variant in enumerate(score.variants):
        if variant.problem is None or variant.evidence is None:
            variants.append(variant)
            continue
        fit, p = best_fit(variant.problem, variant.evidence), None
        if options.check and index == score.best:
            draws = DRAWS if variant.problem.data.n_shots <= 2 else DRAWS_MANY_SHOTS
            p = predictive_p(
                variant.problem, variant.evidence, np.random.default_rng([options.seed, 77]), draws
            )
        variants.append(replace(variant, fit=fit, p_value=p))
    return replace(score, variants=tuple(variants))


def scored_models(
    outing: Outing, models: Sequence[str | GeometryModel] | None, options: Options
) -> tuple[OutingData, list[ModelScore], tuple[str, ...]]:
    """Data, scores in the order of the models, and the names that the person added.

    Raises
    ------
    InputError
        The outing cannot be scored.
    UnknownNameError
        An unknown model, law, map or parameter.
    """
    rotation_law(options.law)
    data = data_of(outing)
    added = [get_model(m) if isinstance(m, str) else m for m in models or ()]
    chosen = [get_model(name) for name in DEFAULT_MODELS]
    names = {model.name for model in chosen}
    for model in added:
        if model.name not in names:
            chosen.append(model)
            names.add(model.name)
    known = {p.name for model in chosen for p in model.parameters}
    for name in options.given:
        if name not in known:
            raise InputError(name, f"must be a parameter of {', '.join(sorted(names))}")
    files = tuple(shot.file for shot in outing.shots)
    total = sum(len(variants_of(model, options)) for model in chosen) + len(chosen)
    done = 0

    def step(words: str) -> None:
        nonlocal done
        options.progress(done, total, words)
        done += 1

    def tell(words: str) -> None:
        options.progress(done, total, words)

    telling = replace(options, tell=tell)
    scores = []
    for model in chosen:
        score = score_model(model, data, files, telling, step)
        step(f"{model.name}: checking")
        scores.append(checked(score, options))
    options.progress(total, total, "done")
    return data, scores, tuple(model.name for model in added)

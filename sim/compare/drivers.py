"""What drives a verdict: the Bayes factor without each spot, each shot and each other quantity.

A measurement is left out and the outing scored again, at the draws that carry the evidence: with L the likelihood of
everything and L' that without the measurement, Z'/Z is the posterior mean of L'/L. A spot left out bounds that ratio
(L holds the term in which it is false, at least 0.1/pi times L'), so the draws serve; where they do not, the variant
is integrated anew.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models.geometry import Array
from .contest import ModelScore, VariantScore
from .data import LimbRatio, OutingData
from .evidence import integrate
from .leaving_out import evaluate_without
from .likelihood import Scene
from .numeric import ln_sum
from .poses import Poses
from .problem import Problem
from .quantities_likelihood import ln_densities
from .quantities_predict import forecast

DRAWS, DRAWS_MANY_SHOTS = 256, 64
MOST_SPOTS_MANY_SHOTS = 40
ROUGH_ERROR = 0.2  # of ln Z'/Z, above which a variant is integrated anew
MOST_ANEW = 12  # integrals of that kind in one call
_LEAST_SHARE = 1e-3


@dataclass(frozen=True)
class Driver:
    """One measurement and what the verdict would be without it.

    Attributes
    ----------
    kind : str
        ``"spot"`` (one detection), ``"shot"``, ``"limb-ratio"`` or ``"quantity"`` (an observable).
    shot : str or None
        Its photo.
    id : int or None
        The spot's number, or the observable's, from 1.
    name : str
        In words.
    without : float
        ln Bayes factor of best against second without it.
    contribution : float
        ln Bayes factor with everything less `without`: positive where it speaks for the best model. What both ends
        of a matched pair give is counted at both.
    error : float
        Numerical standard error of `contribution`.
    anew : bool
        Integrated anew instead of reweighted.
    model, second : str
        Best and second.
    """

    kind: str
    shot: str | None
    id: int | None
    name: str
    without: float
    contribution: float
    error: float
    anew: bool
    model: str
    second: str

    def to_json(self) -> dict:
        """Keys of the machine-readable output."""
        return {
            "kind": self.kind,
            "shot": self.shot,
            "id": self.id,
            "name": self.name,
            "ln_bayes_factor_without": self.without,
            "contribution": self.contribution,
            "contribution_error": self.error,
            "by": "integrated-anew" if self.anew else "reweighted-draws",
            "model": self.model,
            "against": self.second,
        }


@dataclass(frozen=True)
class LeftOut:
    """A measurement that can be left out: what it is, how the data look without it.

    `kept` are the shots that stay where some do not; `detection` is the spot's place among all of them.
    """

    kind: str
    shot: int | None
    id: int | None
    name: str
    drop: Callable[[OutingData], OutingData]
    kept: tuple[int, ...] | None = None
    detection: int | None = None


def left_outs(data: OutingData, files: Sequence[str]) -> list[LeftOut]:
    """Everything of an outing that is left out in turn: quantities, shots, spots."""
    found = [
        LeftOut(
            "limb-ratio",
            ratio.shot,
            None,
            f"the Sun's size in {files[ratio.shot]} against {files[0]}",
            lambda d, r=ratio: replace(d, limb_ratios=tuple(x for x in d.limb_ratios if x.shot != r.shot)),
        )
        for ratio in data.limb_ratios
    ]
    for one in data.quantities:
        words = f"the {one.name}"
        found.append(
            LeftOut("quantity", None, one.number + 1, words, lambda d, n=one.number: _no_quantity(d, n))
        )
    for shot in range(data.n_shots):
        kept = tuple(s for s in range(data.n_shots) if s != shot) if data.n_shots > 2 else ()
        words = f"photo {files[shot]}"
        found.append(LeftOut("shot", shot, None, words, lambda d, k=kept: without_shots(d, k), kept))
    numbers = [number for shot in data.ids for number in shot]
    for k, (shot, number) in enumerate(zip(data.detections.shot, numbers, strict=True)):
        words = f"spot {number} of {files[shot]}"
        found.append(LeftOut("spot", int(shot), number, words, lambda d, k=k: without_spot(d, k), None, k))
    return found


def _no_quantity(data: OutingData, number: int) -> OutingData:
    return data.with_quantities(one for one in data.quantities if one.number != number)


def without_spot(data: OutingData, k: int) -> OutingData:
    """The outing as if detection `k` had not been made; the world's rates stay."""
    valid = data.detections.valid.copy()
    valid[:, k] = False
    return replace(data, detections=replace(data.detections, valid=valid))


def without_shots(data: OutingData, kept: tuple[int, ...]) -> OutingData:
    """The outing with only the shots in `kept`, or with no photo; days still count from the outing's first shot."""
    if not kept:
        return data.without_spots()
    found, shots = data.detections, np.array(kept)
    own = np.isin(found.shot, shots)
    number = np.searchsorted(shots, found.shot[own])
    detections = replace(
        found,
        z=found.z[:, own],
        root=found.root[:, own],
        shot=number,
        valid=found.valid[:, own],
        area=found.area[own],
    )
    hidden = data.hidden and replace(
        data.hidden, grids=data.hidden.grids[shots], soft=data.hidden.soft[shots]
    )
    return replace(
        data,
        detections=detections,
        ids=tuple(data.ids[s] for s in kept),
        instants=data.instants[shots],
        days=data.days[shots],
        roll_sigma=data.roll_sigma[shots],
        equatorial=data.equatorial[shots],
        squash_sigma=data.squash_sigma[shots],
        may_mirror=data.may_mirror[shots],
        limb_ratios=_ratios_of(data.limb_ratios, kept),
        hidden=hidden,
    )


def _ratios_of(ratios: tuple[LimbRatio, ...], kept: tuple[int, ...]) -> tuple[LimbRatio, ...]:
    """Ratios among the kept shots, against the first of them that has one."""
    place = {shot: index for index, shot in enumerate(kept)}
    left = [ratio for ratio in ratios if ratio.shot in place]
    if not left or kept[0] == 0:
        return tuple(replace(ratio, shot=place[ratio.shot]) for ratio in left)
    first = next((ratio for ratio in left if place[ratio.shot] == 0), None)
    if first is None:
        return ()
    # each sigma holds the lens and both fits; the new pair's is taken as large as its larger one
    return tuple(
        LimbRatio(place[r.shot], r.value - first.value, max(r.sigma, first.sigma))
        for r in left
        if r is not first
    )


def find_drivers(
    data: OutingData,
    files: Sequence[str],
    best: ModelScore,
    second: ModelScore,
    seed: int = 1,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> list[Driver]:
    """Leave-one-out Bayes factors of `best` against `second`, the strongest contribution first.

    Parameters
    ----------
    data : OutingData
    files : sequence of str
        The photos' names.
    best, second : ModelScore
    seed : int
        For integrals done anew.
    progress : callable
        Called with (done, of).

    Notes
    -----
    With more than three shots only shots, quantities and the matched spots (at most 40, by their pull on the best
    fit) are left out. The likeliest repair of each variant is kept. Of two photos one alone says nothing of a turn:
    either left out leaves the other quantities.
    """
    chosen = left_outs(data, files)
    if data.n_shots > 3:
        chosen = _worth_while(chosen, best.leader)
    whole = best.ln_evidence - second.ln_evidence
    anew = [0]
    found = []
    draws = {
        id(variant): _draws_of(variant, DRAWS if data.n_shots < 4 else DRAWS_MANY_SHOTS)
        for model in (best, second)
        for variant in model.variants
        if variant.problem is not None
    }
    for done, one in enumerate(chosen):
        progress(done, len(chosen))
        ends = [_without(model, one, draws, anew, seed) for model in (best, second)]
        left = ends[0][0] - ends[1][0]
        found.append(
            Driver(
                one.kind,
                None if one.shot is None else files[one.shot],
                one.id,
                one.name,
                left,
                whole - left,
                float(np.hypot(ends[0][1], ends[1][1])),
                ends[0][2] or ends[1][2],
                best.model,
                second.model,
            )
        )
    progress(len(chosen), len(chosen))
    return sorted(found, key=lambda driver: -abs(driver.contribution))


def _worth_while(chosen: list[LeftOut], leader: VariantScore) -> list[LeftOut]:
    """Shots, quantities, and the matched spots that the best fit holds on to most."""
    spots = [one for one in chosen if one.kind == "spot"]
    rest = [one for one in chosen if one.kind != "spot"]
    if leader.fit is None:
        return rest
    matched = np.isfinite(leader.fit.predicted[:, 0])
    assert leader.problem is not None
    size = np.where(matched, -(leader.problem.data.detections.root[0] ** 2).sum((-1, -2)), -np.inf)
    order = [k for k in np.argsort(-size)[:MOST_SPOTS_MANY_SHOTS] if matched[k]]
    return rest + [spots[k] for k in sorted(order)]


@dataclass(frozen=True)
class _Draws:
    u: Array
    eta: Array
    ln_like: Array
    weight: Array
    poses: Poses
    by_quantity: Array  # (n, q): ln density of each quantity
    without: Array | None  # (detections, n), two shots: ln likelihood of the spots without each of them


def _draws_of(variant: VariantScore, count: int) -> _Draws:
    """Some draws that carry a variant's evidence, as evenly spread as its own, weights of sum 1."""
    problem, evidence = variant.problem, variant.evidence
    assert problem is not None
    assert evidence is not None
    if evidence.by == "nested":  # these stand in the order of their likelihood
        places = (np.arange(count) + 0.5) / count
        pick = np.searchsorted(np.cumsum(evidence.weight), places).clip(0, len(evidence.weight) - 1)
        weight = np.full(count, 1 / count)
    else:  # the first points of a Sobol sequence are spread like all of them
        pick = np.flatnonzero(evidence.weight[: _block(evidence.weight, count)] > 0)
        weight = evidence.weight[pick] / evidence.weight[pick].sum()
    u, eta = evidence.u[pick], evidence.eta[pick]
    quantities = problem.data.quantities
    found = ln_densities(quantities, forecast(problem, u, eta)) if quantities else np.zeros((len(u), 0))
    poses, without = problem.poses(u, eta), None
    if problem.data.n_shots == 2:
        every = np.arange(len(problem.scene.detections.shot))
        without = evaluate_without(problem.scene, poses, problem.rolls(eta), problem.squashes(eta), every)
    return _Draws(u, eta, evidence.ln_like[pick], weight, poses, found, without)


def _block(weight: Array, count: int) -> int:
    """How many draws from the first on have an effective number near `count`."""
    size = min(count, len(weight))
    while size < len(weight) and weight[:size].sum() ** 2 < 0.5 * count * (weight[:size] ** 2).sum():
        size *= 2
    return min(size, len(weight))


def _without(
    model: ModelScore, one: LeftOut, draws: dict[int, _Draws], anew: list[int], seed: int
) -> tuple[float, float, bool]:
    """ln evidence of a model without a measurement, its error, and whether anything was integrated anew."""
    contest = [v for v in model.variants if v.weight > 0 and v.problem is not None]
    values, errors, ways = [], [], []
    for variant in contest:
        ln_ratio, error = (0.0, 0.0) if one.kept == () else _ln_ratio(variant, one, draws[id(variant)])
        values.append(variant.ln_evidence + np.log(variant.weight) + ln_ratio)
        errors.append(error)
        ways.append(False)
    share = np.exp(np.array(values) - ln_sum(values))
    for index, variant in enumerate(contest):
        doubtful = errors[index] * share[index] > ROUGH_ERROR
        if one.kept == () or (doubtful and anew[0] < MOST_ANEW):
            anew[0] += one.kept != ()
            ln_ratio, errors[index] = _ln_ratio_anew(variant, one, seed)
            values[index] = variant.ln_evidence + np.log(variant.weight) + ln_ratio
            ways[index] = True
    share = np.exp(np.array(values) - ln_sum(values))
    return float(ln_sum(values)), float(np.sqrt(((share * np.array(errors)) ** 2).sum())), any(ways)


def _problem_without(problem: Problem, one: LeftOut) -> Problem:
    data = one.drop(problem.data)
    return replace(problem, data=data, scene=Scene.of(data, problem.scene.law))


def _ln_ratio_anew(variant: VariantScore, one: LeftOut, seed: int) -> tuple[float, float]:
    """ln of Z'/Z by an integral of its own, and its error; without any data Z' is 1."""
    assert variant.problem is not None
    assert variant.evidence is not None
    problem = _problem_without(variant.problem, one)
    if not problem.data.has_spots and not problem.data.quantities:
        return -variant.ln_evidence, 0.0
    again = integrate(problem, np.random.default_rng([seed, 9]))
    return again.ln_evidence - variant.evidence.ln_evidence, again.error


def _ln_ratio(variant: VariantScore, one: LeftOut, draws: _Draws) -> tuple[float, float]:
    """ln of Z'/Z by reweighting, and its standard error."""
    assert variant.problem is not None
    if one.kind == "quantity":
        numbers: list[int | None] = [other.number + 1 for other in variant.problem.data.quantities]
        change = -draws.by_quantity[:, numbers.index(one.id)]
    elif one.detection is not None and draws.without is not None:
        ln_photos = draws.without[one.detection] + variant.problem.ln_limbs(draws.poses)
        change = ln_photos + draws.by_quantity.sum(1) - draws.ln_like
    else:
        problem = _problem_without(variant.problem, one)
        eta, poses = draws.eta, draws.poses
        if one.kept is not None:
            eta = _kept_nuisances(variant.problem, eta, one.kept)
            poses = problem.poses(draws.u, eta)
        ln_photos = problem.evaluate(draws.u, eta, poses).ln_like + problem.ln_limbs(poses)
        change = ln_photos + draws.by_quantity.sum(1) - draws.ln_like
    ln_part = np.log(draws.weight) + change
    value = float(ln_sum(ln_part))
    excess = np.exp(ln_part - value) - draws.weight
    return value, float(np.sqrt((excess**2).sum()))


def _kept_nuisances(problem: Problem, eta: Array, kept: tuple[int, ...]) -> Array:
    """Nuisances of the kept shots; the mount's angle only where one of them needs it."""
    n = problem.data.n_shots
    columns = [*kept, *(n + shot for shot in kept), problem.nuisances.clock]
    mount = problem.nuisances.mount
    if mount is not None and problem.data.equatorial[list(kept)].any():
        columns.append(mount)
    columns += problem.nuisances.moving[1:]
    return eta[:, columns]

"""Everything that scoring an outing gives: models, verdict, latitude, turn; as JSON and as figure panels."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...models.ephemeris import earth_fixed_sun
from ...models.geometry import Array, GeometryModel
from ..outing import Outing
from .bestfit import BestFit, aicc
from .contest import NESTED, ModelScore, Options, VariantScore, scored_models
from .data import OutingData
from .drivers import Driver, find_drivers
from .latitude import Latitude, fit_latitude, weighted_quantiles
from .nearness import nearest_allowed
from .needed import HEIGHT, Needed, needed_on_maps, needed_rows
from .priors import alternative_shifts
from .robustness import Row, robustness_rows
from .turn import MeasuredTurn, Separation, computed_turns, measured_turn, rule_of_thumb, separation
from .verdict import Verdict, doubled_uncertainties, headline, judge

FAR_SIGMA = 3.0  # standard errors from which on a spot is named
_REGION_KEYS = ("fitted_deg", "low95_deg", "high95_deg", "share")


@dataclass(frozen=True)
class Scores:
    """Result of :func:`score_outing`.

    Attributes
    ----------
    outing : Outing
    data : OutingData
    models : tuple of ModelScore
    verdict : Verdict
    latitude : Latitude
    turn : MeasuredTurn
    unwrapped_deg : float
        The axis' turn at the fitted latitude, followed from shot to shot.
    separation : Separation or None
    nearest_km : dict of str to float
        For every nested model the nearest distance it still allows (Bayes factor 1/20).
    options : Options
    drivers : tuple of Driver
        What the Bayes factor of best against second would be without each measurement; empty if not asked for.
    robustness : tuple of Row
        The same under other priors and doubled uncertainties.
    needed : tuple of Needed
        Height and diameter that a nearby Sun would need.
    """

    outing: Outing
    data: OutingData
    models: tuple[ModelScore, ...]
    verdict: Verdict
    latitude: Latitude
    turn: MeasuredTurn
    unwrapped_deg: float
    separation: Separation | None
    nearest_km: dict[str, float | None]
    options: Options
    drivers: tuple[Driver, ...] = ()
    robustness: tuple[Row, ...] = ()
    needed: tuple[Needed, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """The keys of ``whichsun/score/1``."""
        verdict = self.verdict
        return {
            "verdict": {
                "kind": verdict.kind,
                "model": verdict.model,
                "ln_bayes_factor": verdict.ln_bayes_factor,
                "words": verdict.words,
                "against": verdict.second,
                "reasons": list(verdict.reasons),
                "flags": list(verdict.flags),
            },
            "models": [row for score in self.models for row in self._rows(score)],
            "latitude": self._latitude(),
            "turn": {**self.turn.to_json(), "unwrapped_axis_deg": self.unwrapped_deg},
            "nearest_sun_km": self.nearest_km,
            "drivers": [{**one.to_json(), "matched_to": self._partners(one)} for one in self.drivers],
            "robustness": [row.to_json() for row in self.robustness],
            "needed": [row.to_json() for row in self.needed],
            "data": {
                "photos": self.data.n_shots,
                "spots": len(self.data.detections.shot),
                "other_measurements": len(self.data.quantities),
            },
            "seed": self.options.seed,
            "rotation": self.options.law,
        }

    def _partners(self, driver: Driver) -> list[dict[str, Any]]:
        """Spots of other photos that the best model takes for the same as the driver's."""
        leader = next(score.leader for score in self.models if score.model == driver.model)
        if leader.fit is None or driver.kind != "spot":
            return []
        names = self._names()
        found = []
        for track in leader.fit.tracks:
            members = [names[k] for k in track]
            if (driver.shot, driver.id) in members:
                found += [
                    {"shot": shot, "id": number}
                    for shot, number in members
                    if (shot, number) != (driver.shot, driver.id)
                ]
        return found

    def _names(self) -> list[tuple[str, int]]:
        """Photo and number of every detection."""
        numbers = [i for shot in self.data.ids for i in shot]
        files = [shot.file for shot in self.outing.shots]
        return [(files[s], i) for s, i in zip(self.data.detections.shot, numbers, strict=True)]

    def _rows(self, score: ModelScore) -> list[dict[str, Any]]:
        leader = score.leader
        mean = {
            "model": score.model,
            "summary": score.geometry.summary,
            "variant": None,
            "ln_evidence": score.ln_evidence,
            "ln_evidence_error": score.error,
            "ln_evidence_by": score.by,
            **self._fit_keys(leader),
            "best_variant": leader.variant.name or None,
            "ln_evidence_other_priors": {
                name: score.ln_evidence + shift for name, shift in alternative_shifts(score).items()
            },
        }
        rows = [mean]
        for variant in score.variants:
            row = {
                "model": score.model,
                "variant": variant.variant.name or "only",
                "ln_evidence": variant.ln_evidence,
                "ln_evidence_error": variant.error,
                "ln_evidence_by": variant.by,
                **self._fit_keys(variant),
                "weight": variant.weight,
            }
            rows.append(row)
        return rows

    def _fit_keys(self, score: VariantScore) -> dict[str, Any]:
        fit = score.fit
        if fit is None or score.problem is None:
            empty = ("chi2", "dof", "p_value", "aicc")
            return {**dict.fromkeys(empty), "parameters": {}, "matches": [], "residuals": []}
        found = score.problem.data.detections
        names = self._names()
        matches = []
        for match in fit.matches:
            (shot_a, id_a), (shot_b, id_b) = names[match.first], names[match.second]
            matches.append(
                {
                    "shot_a": shot_a,
                    "id_a": id_a,
                    "shot_b": shot_b,
                    "id_b": id_b,
                    "probability": match.probability,
                }
            )
        residuals = []
        for k in np.flatnonzero(np.isfinite(fit.predicted[:, 0])):
            shot, number = names[k]
            (dx, dy), (zx, zy) = found.z[0, k] - fit.predicted[k], fit.standard[k]
            residuals.append(
                {
                    "shot": shot,
                    "id": number,
                    "dx": float(dx),
                    "dy": float(dy),
                    "zx": float(zx),
                    "zy": float(zy),
                }
            )
        residuals += [one.to_json() for one in fit.quantities]
        measured = 2 * len(found.shot) + len(self.data.limb_ratios) + len(fit.quantities)
        return {
            "chi2": fit.chi2,
            "dof": fit.dof,
            "p_value": score.p_value,
            "aicc": aicc(fit.ln_like, fit.fitted, measured),
            "parameters": parameters_of(score),
            "matches": matches,
            "residuals": residuals,
        }

    def _latitude(self) -> dict[str, Any]:
        fit, turn = self.latitude, self.turn.turn_deg
        return {
            "rule_of_thumb_deg": None if turn is None else rule_of_thumb(turn),
            "fitted_deg": fit.fitted_deg if fit.known else None,
            "low95_deg": fit.low95_deg,
            "high95_deg": fit.high95_deg,
            "hemisphere": fit.hemisphere if fit.known else None,
            "hemisphere_probability": fit.hemisphere_probability,
            "given_deg": float(self.data.site.latitude_deg),
            "regions": [{key: getattr(region, key) for key in _REGION_KEYS} for region in fit.regions],
            "separation_deg": None if self.separation is None else dict(vars(self.separation)),
        }

    def panels(self) -> list[dict[str, Any]]:
        """Panels for ``render.residuals.draw_residuals``: the best variant of each model that matches spots."""
        panels = []
        for score in self.models:
            fit, problem = score.leader.fit, score.leader.problem
            if fit is None or problem is None:
                continue
            found = problem.data.detections
            there = np.isfinite(fit.predicted[:, 0])
            ids = np.array([i for shot in self.data.ids for i in shot])
            lines = [*_fit_lines(fit), *_far_line(fit, ids), f"ln evidence {score.ln_evidence:.1f}"]
            panels.append(
                {
                    "model": score.model,
                    "title": f"{score.model} {score.leader.variant.name}".strip(),
                    "measured": found.z[0, there],
                    "predicted": fit.predicted[there],
                    "shot": found.shot[there],
                    "labels": [str(i) for i in ids[there]],
                    "unmatched": found.z[0, ~there],
                    "lines": lines,
                }
            )
        return panels


def _fit_lines(fit: BestFit) -> list[str]:
    spots = int(np.isfinite(fit.predicted[:, 0]).sum())
    total = len(fit.predicted)
    lines = [f"{spots} of {total} spots matched"]
    return lines + ([f"chi-square {fit.chi2:.1f} on {fit.dof}"] if fit.dof else [])


def _far_line(fit: BestFit, ids: Array) -> list[str]:
    """The spot that lies farthest off, where it lies beyond what its uncertainty explains."""
    size = np.abs(np.nan_to_num(fit.standard)).max(axis=1, initial=0.0)
    if size.max(initial=0.0) <= FAR_SIGMA:
        return []
    worst = int(np.argmax(size))
    return [f"farthest: spot {ids[worst]}, {size[worst]:.1f} sigma"]


def parameters_of(score: VariantScore) -> dict[str, dict[str, Any]]:
    """Median, standard deviation and central 95 % of each free parameter, from the weighted draws."""
    problem, evidence = score.problem, score.evidence
    if problem is None or evidence is None or len(evidence.weight) == 0:
        return {}
    result = {}
    with np.errstate(over="ignore"):
        values = problem.values(evidence.u, evidence.eta)
    for axis in problem.axes:
        value: Array = values[axis.name][:, 0]
        low, middle, high = weighted_quantiles(value, evidence.weight, (0.025, 0.5, 0.975))
        mean = float((value * evidence.weight).sum() / evidence.weight.sum())
        spread = float(np.sqrt(((value - mean) ** 2 * evidence.weight).sum() / evidence.weight.sum()))
        result[axis.name] = {
            "value": middle,
            "sigma": spread,
            "low95": low,
            "high95": high,
            "unit": axis.unit,
        }
    return result


def score_outing(
    outing: Outing,
    models: Sequence[str | GeometryModel] | None = None,
    options: Options | None = None,
    *,
    drivers: bool = True,
) -> Scores:
    """Score every model against an outing.

    Parameters
    ----------
    outing : Outing
    models : sequence of str or GeometryModel, optional
        Models added to the contest, by name, ``path/to/file.py:ClassName`` or as objects.
    options : Options, optional
    drivers : bool
        Whether to score again without every measurement.

    Returns
    -------
    Scores

    Raises
    ------
    InputError
        The outing cannot be scored (one shot, no site, no time, wrong order, no common spots).
    UnknownNameError
        An unknown model, law, map or parameter.
    """
    options = options or Options()
    data, scores, added = scored_models(outing, models, options)
    files = tuple(shot.file for shot in outing.shots)
    ranked = headline(scores, added)
    doubled = doubled_uncertainties(data, ranked, files, options) if options.check else {}
    verdict = judge(data, scores, added, files, options, doubled)
    driving, rows = _explained(data, files, ranked, doubled, options, drivers)
    latitude = fit_latitude(data, options.law, np.random.default_rng([options.seed, 5]))
    turn = measured_turn(outing)
    declination = float(np.mean(earth_fixed_sun(data.middle).declination))
    parts = separation(data, turn, latitude.fitted_deg, declination, options.law) if latitude.known else None
    whole = computed_turns(data, latitude.fitted_deg, options.law)[2] if latitude.known else float("nan")
    nearest = {
        score.model: nearest_allowed(score.leader.problem, score.leader.evidence)
        for score in scores
        if score.model in NESTED and score.leader.problem and score.leader.evidence
    }
    return Scores(
        outing,
        data,
        tuple(scores),
        verdict,
        latitude,
        turn,
        whole,
        parts,
        nearest,
        options,
        driving,
        rows,
        tuple(needed_rows(scores, outing.shots)),
    )


def _explained(
    data: OutingData,
    files: Sequence[str],
    ranked: Sequence[ModelScore],
    doubled: Mapping[str, float],
    options: Options,
    drivers: bool,
) -> tuple[tuple[Driver, ...], tuple[Row, ...]]:
    """Drivers and the table of robustness of best against second; empty where nobody contests."""
    if len(ranked) < 2:
        return (), ()
    best, second = ranked[:2]
    found: list[Driver] = []
    if drivers:
        found = find_drivers(
            data,
            files,
            best,
            second,
            options.seed,
            lambda done, of: options.progress(done, of, "what drives the verdict"),
        )
    rows: list[Row] = []
    if options.check:
        rows = robustness_rows(
            best, second, doubled, options.seed, lambda done, of: options.progress(done, of, "other priors")
        )
    return tuple(found), tuple(rows)


def with_needed_heights(scores: Scores) -> Scores:
    """The same with the needed heights on every built-in map, for every model with a map and a free height."""
    rows: list[Needed] = []
    for score in scores.models:
        names = {parameter.name for parameter in score.geometry.parameters}
        if {"map", HEIGHT} <= names:
            rows += needed_on_maps(
                score.geometry,
                scores.data,
                scores.outing.shots,
                scores.options,
                progress=scores.options.progress,
            )
    return replace(scores, needed=tuple(rows))

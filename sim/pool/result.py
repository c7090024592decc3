"""The result of `pool`: keys of ``whichsun/pool/1`` and the panels of the figure."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ...models.geometry import Array
from ..compare.latitude import weighted_quantiles
from ..compare.turn import measured_turn
from ..compare.verdict import headline
from ..outing import TURN_KINDS, Observable, Outing
from .blunders import FLAG_ODDS, Flag, flags_of
from .fitted import fitted_latitudes
from .photos import PhotoTable
from .reading import PoolSource, outing_rows
from .scoring import Entry, PoolScores
from .submissions import KIND_NUMBER, Submissions
from .verdict import noise_p, pool_verdict, prior_shifts

_PHOTO_KINDS = {"mirrored": "mirrored", "upside-down": "outlier", "time-zone": "time-zone"}
NO_PLACE = (
    "{count} of {total} angles come without the place of their spot: what a near Sun would do to them depends "
    "on it, so they hardly test the nearby plane; ask for spot_vertex_angle_deg and spot_radius of the first photo"
)


def result_of(scores: PoolScores, source: PoolSource) -> dict[str, Any]:
    """Everything that the command prints, as plain values."""
    verdict = pool_verdict(scores)
    ranked = sorted(scores.models, key=lambda score: -score.ln_evidence)
    leading = verdict.model or next(s.model for s in ranked if scores.leader(s.model).evidence is not None)
    lead = scores.leader(leading)
    angles = len(scores.rows) > 0
    averaged = int(scores.rows.averaged.sum())
    return {
        "verdict": {
            "kind": verdict.kind,
            "model": verdict.model,
            "ln_bayes_factor": verdict.ln_bayes_factor,
            "words": verdict.words,
            "against": verdict.second,
            "reasons": list(verdict.reasons),
        },
        "models": [row for score in scores.models for row in _model_rows(scores, score.model)],
        "noise_deg": _shared(lead, -1) if angles else None,
        "offset_deg": _shared(lead, -2) if angles else None,
        "noise_and_offset": {s.model: _scales(scores.leader(s.model)) for s in scores.models}
        if angles
        else {},
        "submissions": [*_angles(scores, leading), *_photos(scores, leading)],
        "refused": [{"where": where, "reason": reason} for where, reason in source.refused],
        "counts": {
            "angles": len(scores.rows),
            "photo_outings": len(scores.outings),
            "refused": len(source.refused),
            "angles_without_spot_place": averaged,
        },
        "notes": [NO_PLACE.format(count=averaged, total=len(scores.rows))] if averaged else [],
        "seed": scores.options.seed,
        "rotation": scores.options.law,
    }


def _model_rows(scores: PoolScores, model: str) -> list[dict[str, Any]]:
    score = next(score for score in scores.models if score.model == model)
    leader = scores.leader(model)
    mean = {
        "model": model,
        "variant": None,
        "ln_evidence": score.ln_evidence,
        "ln_evidence_error": score.error,
        **_fit(scores, leader, scores.details[model]),
        "best_variant": leader.worker.variant.name or None,
        "ln_evidence_other_priors": {
            name: score.ln_evidence + shift for name, shift in prior_shifts(scores, model).items()
        },
        "ln_evidence_doubled_uncertainties": leader.doubled,
    }
    rows = [mean]
    for entry in scores.entries[model]:
        rows.append(
            {
                "model": model,
                "variant": entry.worker.variant.name or "only",
                "ln_evidence": entry.ln_evidence,
                "ln_evidence_error": entry.error,
                **_fit(scores, entry, scores.details[model] if entry is leader else None),
                "weight": entry.weight,
            }
        )
    return rows


def _fit(scores: PoolScores, entry: Entry, details: Array | None) -> dict[str, Any]:
    """Chi-square of the rows that are right, degrees of freedom, p of the noise, parameters."""
    chi2 = dof = None
    if details is not None and len(details) and entry.evidence is not None:
        middle, rows = entry.evidence.middle, scores.rows
        exact = ~np.isfinite(details[:, 7]) & (details[:, 0] > details[:, 1:6].sum(axis=1))
        scale2 = np.deg2rad(rows.sigma_deg) ** 2 + np.exp(2 * middle[-1])
        off = np.deg2rad(rows.turn_deg) - details[:, 6] - middle[-2]
        chi2 = float((((off + np.pi) % (2 * np.pi) - np.pi) ** 2 / scale2)[exact].sum())
        dof = max(int(exact.sum()) - len(middle), 0) or None
    return {
        "chi2": chi2 if dof else None,
        "dof": dof,
        "p_value": noise_p(entry, len(scores.rows)),
        "aicc": None,
        "parameters": _parameters(entry),
        "matches": [],
        "residuals": [],
    }


def _parameters(entry: Entry) -> dict[str, Any]:
    if entry.evidence is None:
        return {}
    points, weight = entry.evidence.points, entry.evidence.weight
    values = entry.worker.values(points[:, :-2])
    return {
        axis.name: {**_summary(values[axis.name], weight), "unit": axis.unit} for axis in entry.worker.axes
    }


def _summary(values: Array, weight: Array) -> dict[str, float]:
    low, middle, high = weighted_quantiles(values, weight, (0.025, 0.5, 0.975))
    mean = float(weight @ values)
    spread = float(np.sqrt(weight @ (values - mean) ** 2))
    return {"value": middle, "sigma": spread, "low95": low, "high95": high}


def _shared(entry: Entry, column: int) -> float | None:
    """Median of the offset (column -2) or of the noise scale (-1), degrees."""
    scales = _scales(entry)
    return scales["offset_deg" if column == -2 else "noise_deg"]["value"] if scales else None


def _scales(entry: Entry) -> dict[str, Any]:
    """Common offset and noise scale (degrees) with intervals under one variant."""
    if entry.evidence is None:
        return {}
    points, weight = entry.evidence.points, entry.evidence.weight
    return {
        "offset_deg": _summary(np.rad2deg(points[:, -2]), weight),
        "noise_deg": _summary(np.rad2deg(np.exp(points[:, -1])), weight),
    }


def _angles(scores: PoolScores, leading: str) -> list[dict[str, Any]]:
    rows = scores.rows
    if not len(rows):
        return []
    fitted = fitted_latitudes(rows, scores.options.law, scores.options.progress)
    flags = flags_of(scores, leading)
    names = [score.model for score in scores.models if score.model in _rivals(scores)]
    ln = np.stack([scores.details[name][:, :6].sum(axis=1) for name in names])
    best = np.argmax(ln, axis=0)
    columns = zip(
        rows.id.tolist(),
        rows.source.tolist(),
        rows.latitude_deg.tolist(),
        rows.turn_deg.tolist(),
        rows.sigma_deg.tolist(),
        rows.kind.tolist(),
        fitted.tolist(),
        best.tolist(),
        flags,
        strict=True,
    )
    return [
        {
            "id": name,
            "source": source,
            "latitude_deg": latitude,
            "turn_deg": turn,
            "sigma_deg": sigma,
            "turn_kind": TURN_KINDS[kind],
            "fitted_latitude_deg": fit if fit == fit else None,
            "best_model": names[number],
            "flags": [_flag_keys(flag) for flag in suspicions],
        }
        for name, source, latitude, turn, sigma, kind, fit, number, suspicions in columns
    ]


def _rivals(scores: PoolScores) -> set[str]:
    """Models that are compared row by row: those that contest."""
    return {score.model for score in headline(scores.models, scores.added)}


def _flag_keys(flag: Flag) -> dict[str, Any]:
    return {"kind": flag.kind, "repair": flag.repair, "odds": flag.odds if np.isfinite(flag.odds) else None}


def _photos(scores: PoolScores, leading: str) -> list[dict[str, Any]]:
    """Outings with photos: measured turn, latitude from it, best model, blunders that the leader would believe."""
    found = []
    rows = [photo_row(name, outing) for name, outing in scores.outings]
    known = Submissions.of([row for row in rows if row])
    fitted = iter(fitted_latitudes(known, scores.options.law).tolist())
    for number, ((name, outing), row) in enumerate(zip(scores.outings, rows, strict=True)):
        ln = {}
        for model in _rivals(scores):
            entry = scores.leader(model)
            if entry.evidence is not None:
                place = _place(entry)
                ln[model] = float(entry.photos[number].ln_at(place)[0])
        lead = scores.leader(leading)
        latitude = next(fitted) if row else None
        assert outing.site is not None  # only outings that can be scored come here
        found.append(
            {
                "id": name.removesuffix(".toml"),
                "source": name,
                "latitude_deg": outing.site.latitude_deg,
                "turn_deg": row["turn_deg"] if row else None,
                "sigma_deg": row["sigma_deg"] if row else None,
                "turn_kind": "pattern",
                "fitted_latitude_deg": latitude if latitude == latitude else None,
                "best_model": max(ln, key=lambda model: ln[model]),
                "flags": [_flag_keys(flag) for flag in _photo_flags(lead.photos[number], _place(lead))],
            }
        )
    return found


def _place(entry: Entry) -> Array:
    """Place of the shared parameters at the middle of the posterior, shape (1, k)."""
    assert entry.evidence is not None
    points, weight = entry.evidence.points[:, :-2], entry.evidence.weight
    return points[int(np.argmax(weight))][None]


def _photo_flags(table: PhotoTable, place: Array) -> list[Flag]:
    parts = table.ln_parts(place)[:, 0]
    odds = np.exp(np.minimum(parts - parts[0], 700))
    return [
        Flag(_PHOTO_KINDS.get(repair.kind, "outlier"), repair.words, float(value))
        for repair, value in zip(table.repairs[1:], odds[1:], strict=True)
        if value > FLAG_ODDS
    ]


def photo_row(name: str, outing: Outing) -> dict[str, Any] | None:
    """The turn of an outing's spot pattern as a row; None where no turn could be measured."""
    turn = measured_turn(outing)
    if turn.turn_deg is None or outing.site is None:
        return None
    times = (outing.shots[0].time_utc or "", outing.shots[-1].time_utc or "")
    seen = Observable("turn", turn.turn_deg, turn.sigma_deg or 1.0, times, "pattern")
    (row,) = outing_rows(replace(outing, observables=(seen,)), name, name)
    return {**row, "kind": KIND_NUMBER["pattern"]}

"""From evidences to a verdict: favours one, none fits, or undecided, each with its reasons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .contest import NESTED, NESTED_ENTERS, ModelScore, Options, score_model
from .data import OutingData
from .hypotheses import FLAG_ODDS
from .priors import alternative_shifts
from .words import FAVOURS, bayes_factor_words, odds_words

OVER_FREE = 1.0
NONE_FITS = 3.0
LEAST_P = 0.01


@dataclass(frozen=True)
class Verdict:
    """What the outing says.

    Attributes
    ----------
    kind : str
        ``"favours"``, ``"undecided"`` or ``"none-fits"``.
    model : str or None
        The favoured model; the leading one where undecided; None where none fits.
    second : str or None
    ln_bayes_factor : float or None
        Best against second.
    words : str
        The verdict as a sentence.
    reasons : tuple of str
        Why it is not stronger, or what it rests on.
    flags : tuple of str
        Blunders that the leading model would rather believe in (odds above 20).
    """

    kind: str
    model: str | None
    second: str | None
    ln_bayes_factor: float | None
    words: str
    reasons: tuple[str, ...]
    flags: tuple[str, ...]


def headline(scores: Sequence[ModelScore], added: Sequence[str]) -> list[ModelScore]:
    """Who contests: a nested model only when it beats its own limit or was asked for."""
    by_name = {score.model: score for score in scores}
    chosen = []
    for score in scores:
        limit = NESTED.get(score.model)
        if limit in by_name:
            gain = score.ln_evidence - by_name[limit].ln_evidence
            if gain < NESTED_ENTERS and score.model not in added:
                continue
        chosen.append(score)
    return sorted(chosen, key=lambda score: -score.ln_evidence)


def free_voice(scores: Sequence[ModelScore]) -> float:
    """ln evidence of the best story with free attitudes; -inf where no model has one."""
    voices = [v.ln_evidence for score in scores for v in score.variants if v.variant.attitude_free]
    return max(voices, default=-np.inf)


def judge(
    data: OutingData,
    scores: Sequence[ModelScore],
    added: Sequence[str],
    files: tuple[str, ...],
    options: Options,
    doubled: Mapping[str, float] | None = None,
) -> Verdict:
    """Apply the thresholds and the checks of robustness.

    `doubled` is what :func:`doubled_uncertainties` says, worked out here where it is not given and needed.
    """
    ranked = headline(scores, added)
    best, rivals = ranked[0], ranked[1:]
    free = free_voice(scores)
    flags = tuple(_flags(best))
    what = "photos" if data.has_spots else "measurements"
    p = best.leader.p_value
    second = rivals[0] if rivals else None
    factor = None if second is None else best.ln_evidence - second.ln_evidence
    if free - best.ln_evidence >= NONE_FITS or (p is not None and p < LEAST_P):
        reasons = tuple(_misfits(best, free, p))
        words = (
            f"None of the models fits these {what}; the least bad is {best.model}. "
            "Look for a mistake in times, site, level or mirroring."
        )
        return Verdict(
            "none-fits", None, None if second is None else second.model, factor, words, reasons, flags
        )
    doubts = _doubts(best, rivals, free)
    if not doubts and options.check:
        if doubled is None:
            doubled = doubled_uncertainties(data, ranked, files, options)
        doubts = _fragile(best, rivals, doubled)
    if doubts or second is None or factor is None:
        words = f"Undecided: these {what} do not tell the models apart safely; {best.model} leads"
        if factor is not None and second is not None:
            words += f" with odds of {odds_words(factor)} over {second.model}"
        return Verdict(
            "undecided", best.model, second and second.model, factor, words + ".", tuple(doubts), flags
        )
    words = (
        f"The {what} favour {best.model} over {second.model}: odds {odds_words(factor)}, "
        f"{bayes_factor_words(factor)} evidence."
    )
    return Verdict("favours", best.model, second.model, factor, words, (), flags)


def _flags(best: ModelScore) -> list[str]:
    found = []
    for repair, odds in best.leader.repair_odds:
        if odds > FLAG_ODDS:
            found.append(f"{repair.words}: odds {odds_words(float(np.log(odds)))} under {best.model}")
    return found


def _misfits(best: ModelScore, free: float, p: float | None) -> list[str]:
    reasons = []
    if free - best.ln_evidence >= NONE_FITS:
        gain = odds_words(free - best.ln_evidence)
        reasons.append(f"a Sun turned in any way from shot to shot explains the spots better ({gain})")
    if p is not None and p < LEAST_P:
        reasons.append(f"{best.model} would hardly ever produce spots that match as badly (p = {p:.3f})")
    return reasons


def too_close(best: ModelScore, rival: ModelScore) -> str:
    """That the lead is too small for a verdict, in words."""
    lead = odds_words(best.ln_evidence - rival.ln_evidence)
    asked = "20 to 1 is asked for, numerical error counted"
    return f"{best.model} is ahead of {rival.model} by too little ({lead}; {asked})"


def _doubts(best: ModelScore, rivals: Sequence[ModelScore], free: float) -> list[str]:
    doubts = []
    for rival in rivals:
        margin = best.ln_evidence - rival.ln_evidence - 2 * float(np.hypot(best.error, rival.error))
        if margin < FAVOURS:
            doubts.append(too_close(best, rival))
        elif rival.leader.ln_evidence >= best.ln_evidence:
            doubts.append(f"the variant '{rival.leader.variant.name}' of {rival.model} alone does as well")
    if best.ln_evidence - free < OVER_FREE:
        doubts.append(f"a Sun turned in any way explains the spots about as well as {best.model}")
    return doubts


def doubled_uncertainties(
    data: OutingData, models: Sequence[ModelScore], files: tuple[str, ...], options: Options
) -> dict[str, float]:
    """ln evidence of models by name with every stated uncertainty doubled.

    For signs rather than numbers: each model keeps its likeliest repair and scans are coarse.
    """
    quick = replace(options, repairs=False, rough=True)
    again = {}
    for one in models:
        repair = one.leader.repair
        kept, ln_prior = (data, 0.0) if repair is None else (repair.data, float(np.log(repair.prior)))
        wide = score_model(one.geometry, kept.widened(2.0), files, quick, lambda words: None, voices=False)
        again[one.model] = wide.ln_evidence + ln_prior
    return again


def _fragile(best: ModelScore, rivals: Sequence[ModelScore], doubled: Mapping[str, float]) -> list[str]:
    doubts = []
    for rival in rivals:
        if doubled[best.model] <= doubled[rival.model]:
            doubts.append(f"with all uncertainties doubled {rival.model} would lead")
        low = best.ln_evidence + min(alternative_shifts(best).values(), default=0.0)
        high = rival.ln_evidence + max(alternative_shifts(rival).values(), default=0.0)
        if low <= high:
            doubts.append(f"with another prior for its parameters {rival.model} would lead")
    return doubts

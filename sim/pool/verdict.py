"""What a pool says, by the thresholds of a single outing."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from ..compare.contest import ModelScore
from ..compare.numeric import ln_sum
from ..compare.verdict import FAVOURS, LEAST_P, NONE_FITS, OVER_FREE, Verdict, free_voice, headline, too_close
from ..compare.words import bayes_factor_words, odds_words
from .mixture import LN_TAU, LN_TAU_SIGMA
from .scoring import Entry, PoolScores

LEAST_ROWS = 5  # below this the noise is not tested


def noise_p(entry: Entry, rows: int) -> float | None:
    """Share of the noise scale's prior above what a variant needs: small when only wild errors could do it."""
    if entry.evidence is None or rows < LEAST_ROWS:
        return None
    return float(norm.sf((entry.evidence.middle[-1] - LN_TAU) / LN_TAU_SIGMA))


def pool_verdict(scores: PoolScores) -> Verdict:
    """Favours, undecided or none fits, with its reasons."""
    ranked = headline(scores.models, scores.added)
    best, rivals = ranked[0], ranked[1:]
    free = free_voice(scores.models)
    second = rivals[0] if rivals else None
    factor = None if second is None else best.ln_evidence - second.ln_evidence
    name = second and second.model
    p = noise_p(scores.leader(best.model), len(scores.rows))
    misfits = []
    if free - best.ln_evidence >= NONE_FITS:
        gain = odds_words(free - best.ln_evidence)
        misfits.append(f"turns of any size explain the submissions better ({gain})")
    if p is not None and p < LEAST_P:
        misfits.append(f"{best.model} needs errors that are far larger than people make (p = {p:.3f})")
    if misfits:
        words = f"None of the models fits these submissions; the least bad is {best.model}."
        return Verdict("none-fits", None, name, factor, words, tuple(misfits), ())
    doubts = [doubt for rival in rivals for doubt in _doubts(scores, best, rival)]
    if best.ln_evidence - free < OVER_FREE:
        doubts.append(f"turns of any size explain the submissions about as well as {best.model}")
    if doubts or second is None or factor is None:
        words = f"Undecided: these submissions do not tell the models apart safely; {best.model} leads"
        if factor is not None:
            words += f" with odds of {odds_words(factor)} over {name}"
        return Verdict("undecided", best.model, name, factor, words + ".", tuple(doubts), ())
    words = (
        f"The submissions favour {best.model} over {name}: odds {odds_words(factor)}, "
        f"{bayes_factor_words(factor)} evidence."
    )
    return Verdict("favours", best.model, name, factor, words, (), ())


def _doubts(scores: PoolScores, best: ModelScore, rival: ModelScore) -> list[str]:
    margin = best.ln_evidence - rival.ln_evidence - 2 * float(np.hypot(best.error, rival.error))
    if margin < FAVOURS:
        return [too_close(best, rival)]
    if rival.leader.ln_evidence >= best.ln_evidence:
        return [f"the variant '{rival.leader.variant.name}' of {rival.model} alone does as well"]
    doubts = []
    ours, theirs = scores.leader(best.model).doubled, scores.leader(rival.model).doubled
    if ours is not None and theirs is not None and ours <= theirs:
        doubts.append(f"with all stated uncertainties doubled {rival.model} would lead")
    low = best.ln_evidence + min(prior_shifts(scores, best.model).values(), default=0.0)
    high = rival.ln_evidence + max(prior_shifts(scores, rival.model).values(), default=0.0)
    if low <= high:
        doubts.append(f"with another prior for its parameters {rival.model} would lead")
    return doubts


def prior_shifts(scores: PoolScores, model: str) -> dict[str, float]:
    """Change of a model's ln evidence when all its variants take another prior, by the prior's name."""
    entries = [entry for entry in scores.entries[model] if entry.weight > 0]
    tables = [entry.prior_shifts() for entry in entries]
    names = {name for table in tables for name in table}

    def total(name: str | None) -> float:
        parts = [
            e.ln_evidence + np.log(e.weight) + table.get(name or "", 0.0)
            for e, table in zip(entries, tables, strict=True)
        ]
        return float(ln_sum(np.array(parts)))

    return {name: total(name) - total(None) for name in sorted(names)}

"""How the verdict changes under other priors and with every uncertainty doubled: a table, one line per change."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass

import numpy as np

from .contest import ModelScore
from .priors import SAME, Alternative, alternatives_of, shift_of
from .words import FAVOURS

ROUGH_ERROR = 0.1  # of ln evidence by a coarse scan: doubled uncertainties and wider ranges


@dataclass(frozen=True)
class Row:
    """The contest of best against second with one thing changed.

    Attributes
    ----------
    kind : str
        ``"as-scored"``, ``"uncertainties"`` or ``"prior"``.
    what : str
        In words.
    model : str or None
        Whose prior was changed.
    parameter, prior, range : str or None
        The prior taken instead; `range` is ``"same range"``, ``"narrower range"`` or ``"wider range"``.
    low, high : float or None
        Its bounds.
    ln_bayes_factor : float
        Of the model that is best as scored against the second.
    verdict : str
        ``"favours"`` or ``"undecided"``, by the odds alone (20 to 1).
    leads : str
        The model that leads.
    """

    kind: str
    what: str
    model: str | None
    parameter: str | None
    prior: str | None
    range: str | None
    low: float | None
    high: float | None
    ln_bayes_factor: float
    verdict: str
    leads: str

    def to_json(self) -> dict:
        """Keys of the machine-readable output."""
        return asdict(self)


def robustness_rows(
    best: ModelScore,
    second: ModelScore,
    doubled: Mapping[str, float],
    seed: int = 1,
    progress: Callable[[int, int], None] = lambda done, of: None,
) -> list[Row]:
    """The table for the two leading models.

    Parameters
    ----------
    best, second : ModelScore
    doubled : mapping
        ln evidence of models with every uncertainty doubled, by name; rows of models that it lacks are left out.
    seed : int
    progress : callable
        Called with (done, of).

    Notes
    -----
    A prior is changed for one model at a time, the other keeps its own. A narrower range may leave out the values
    that the photos ask for; the row shows what that costs.
    """
    whole = best.ln_evidence - second.ln_evidence
    margin = 2 * float(np.hypot(best.error, second.error))

    def row(
        kind: str,
        what: str,
        factor: float,
        error: float,
        model: str | None = None,
        other: Alternative | None = None,
    ) -> Row:
        return Row(
            kind,
            what,
            model,
            other and other.parameter,
            other and other.prior,
            other and other.range,
            other and other.low,
            other and other.high,
            factor,
            "favours" if abs(factor) - error >= FAVOURS else "undecided",
            best.model if factor >= 0 else second.model,
        )

    rows = [row("as-scored", "as scored", whole, margin)]
    if best.model in doubled and second.model in doubled:
        factor = doubled[best.model] - doubled[second.model]
        rows.append(row("uncertainties", "all uncertainties doubled", factor, 2 * ROUGH_ERROR))
    jobs = [
        (sign, model, other) for sign, model in ((1, best), (-1, second)) for other in alternatives_of(model)
    ]
    for done, (sign, model, other) in enumerate(jobs):
        progress(done, len(jobs))
        factor = whole + sign * shift_of(model, other, np.random.default_rng([seed, 11]))
        error = margin if other.range == SAME else max(margin, 2 * ROUGH_ERROR)
        rows.append(row("prior", f"{model.model}: {other.words}", factor, error, model.model, other))
    progress(len(jobs), len(jobs))
    return rows

"""Numbers of evidence in words, by a published scale."""

from __future__ import annotations

import math

FAVOURS = 3.0
"""ln Bayes factor that a claim asks for: odds of 20 to 1."""

_SCALE = (
    (1.0, "not worth more than a bare mention"),
    (3.0, "positive"),
    (5.0, "strong"),
    (math.inf, "very strong"),
)


def bayes_factor_words(ln_bayes_factor: float) -> str:
    """Strength of a Bayes factor given as its natural logarithm (its sign does not matter).

    Kass & Raftery 1995, J. Am. Stat. Assoc. 90, 773: 2 ln B from 0 to 2 not worth more than a bare mention,
    2 to 6 positive, 6 to 10 strong, above 10 very strong.
    """
    size = abs(ln_bayes_factor)
    return next(words for limit, words in _SCALE if size <= limit)


def odds_words(ln_bayes_factor: float) -> str:
    """Odds in words, such as ``about 400 to 1`` or ``more than a billion to 1``."""
    size = abs(ln_bayes_factor)
    if size > math.log(1e9):
        return "more than a billion to 1"
    odds = math.exp(size)
    if odds < 1.5:
        return "about even"
    digits = 10 ** max(math.floor(math.log10(odds)) - 1, 0)
    return f"about {round(odds / digits) * digits:,} to 1"


def times_words(ln_factor: float) -> str:
    """A factor in words, such as ``about 400 times``; its sign does not matter."""
    return odds_words(ln_factor).replace(" to 1", " times").replace("about even", "hardly")

"""Tables of expected evidence, shared by the commands that simulate outings; they see nothing but the JSON."""

from __future__ import annotations

from typing import Any

from .plumbing import print_table


def show_pairs(evidence: dict[str, Any], title: str) -> None:
    """For each true model: how often a verdict is right, and the logarithm of the Bayes factor against the others."""
    columns = ("if this is true", "right", "wrong", "undecided", "against", "ln B, median", "68 % of outings")
    rows = []
    for pair in evidence["pairs"]:
        truth = next(row for row in evidence["truths"] if row["truth"] == pair["truth"])
        rows.append(
            (
                pair["truth"],
                *(f"{100 * truth[key]:.0f} %" for key in ("right", "wrong", "undecided")),
                pair["against"],
                f"{pair['ln_bayes_factor_median']:.1f}",
                f"{pair['ln_bayes_factor_low68']:.1f} to {pair['ln_bayes_factor_high68']:.1f}",
            )
        )
    print_table(columns, rows, title=title)


def show_changes(evidence: dict[str, Any]) -> None:
    """What each simulated change would bring."""
    rows = []
    for one in [{"change": "as planned", **evidence}, *evidence["what_if"]]:
        least = min(pair["ln_bayes_factor_median"] for pair in one["pairs"])
        rows.append((one["change"], f"{100 * one['share_decided']:.0f} %", f"{least:.1f}"))
    columns = ("change", "decided rightly, at the least", "weakest median of ln B")
    print_table(columns, rows, title="What would raise it")

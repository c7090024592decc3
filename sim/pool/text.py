"""The result of `pool` as lines for people; what strangers wrote is shown as plain text only."""

from __future__ import annotations

from collections import Counter
from typing import Any

from ..compare.report import odds_to_best
from .reading import plain

COLUMNS = ("model", "variant", "ln evidence", "odds to the best", "p", "parameters")
FLAG_COLUMNS = ("id", "where", "kind", "what would explain it", "odds")


def head_lines(result: dict[str, Any]) -> list[str]:
    """The verdict first, then its reasons and what it rests on."""
    verdict, counts = result["verdict"], result["counts"]
    lines = [verdict["words"]]
    lines += [f"  because {reason}" for reason in verdict["reasons"]]
    lines += [f"  note: {note}" for note in result["notes"]]
    lines.append(
        f"From {counts['angles']:,} angles and {counts['photo_outings']:,} outings with photos; "
        f"{counts['refused']:,} refused."
    )
    return lines


def model_rows(result: dict[str, Any]) -> list[list[str]]:
    """Rows of the table of models and variants."""
    best = max(row["ln_evidence"] for row in result["models"] if row["variant"] is None)
    rows = []
    for row in result["models"]:
        mean = row["variant"] is None
        if row["variant"] == "only":
            continue
        error = row["ln_evidence_error"]
        rows.append(
            [
                plain(row["model"]) if mean else "",
                "" if mean and not row["best_variant"] else row["variant"] or "(mean of all)",
                f"{row['ln_evidence']:.2f} +- {error:.2f}",
                odds_to_best(row["ln_evidence"] - best),
                "-" if row["p_value"] is None else f"{row['p_value']:.3f}",
                ", ".join(
                    f"{name} {p['value']:.4g} ({p['low95']:.4g} to {p['high95']:.4g})"
                    for name, p in row["parameters"].items()
                ),
            ]
        )
    return rows


def noise_lines(result: dict[str, Any]) -> list[str]:
    """Scatter beyond the stated uncertainties and the common offset."""
    lines = [
        "Odds: how much better the leading model explains the submissions. p: share of the noise scale's prior above "
        "what the model needs; below 0.01 it does not fit. 'free': turns of any size, no rival.",
    ]
    for model, scales in result["noise_and_offset"].items():
        if scales:
            noise, offset = scales["noise_deg"], scales["offset_deg"]
            lines.append(
                f"{plain(model)}: scatter beyond what is stated {noise['value']:.2f} deg ({noise['low95']:.2f} to "
                f"{noise['high95']:.2f}), common offset {offset['value']:+.2f} deg ({offset['low95']:+.2f} to "
                f"{offset['high95']:+.2f})."
            )
    return lines


def flag_rows(result: dict[str, Any]) -> list[list[str]]:
    """Rows of the table of suspicions."""
    return [
        [
            plain(one["id"], 24),
            plain(one["source"], 24),
            flag["kind"],
            plain(flag["repair"], 120),
            "-" if flag["odds"] is None else f"{flag['odds']:.0f}" if flag["odds"] < 1e6 else "> 1e6",
        ]
        for one in result["submissions"]
        for flag in one["flags"]
    ]


def tail_lines(result: dict[str, Any], more: int, listed: int) -> list[str]:
    """What the tables leave out: further suspicions, refused rows."""
    lines = []
    if more > 0:
        kinds = Counter(flag["kind"] for one in result["submissions"] for flag in one["flags"])
        counts = ", ".join(f"{kind} {count:,}" for kind, count in kinds.most_common())
        lines.append(f"... and {more:,} more; --json lists all. In all: {counts}.")
    refused = result["refused"]
    lines += [f"Refused {plain(one['where'])}: {plain(one['reason'], 200)}" for one in refused[:listed]]
    if len(refused) > listed:
        lines.append(f"... and {len(refused) - listed:,} more refused; --json lists all.")
    return lines

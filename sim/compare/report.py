"""The result of `score` as lines of text for people."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from ..outing_observables import KINDS
from ..telling import number_words, parameter_name
from ..turns import turn_in_words
from .verdict import LEAST_P
from .words import odds_words


def model_rows(result: dict[str, Any]) -> list[list[str]]:
    """Rows of the table: model, variant, evidence, odds to the best, p, chi-square, AICc, spots matched."""
    best = max(row["ln_evidence"] for row in result["models"] if row["variant"] is None)
    rows = []
    single = {
        row["model"]
        for row in result["models"]
        if row["variant"] is None and sum(r["model"] == row["model"] for r in result["models"]) == 2
    }
    for row in result["models"]:
        if row["variant"] is not None and row["model"] in single:
            continue
        name = row["model"] if row["variant"] is None else ""
        variant = row["variant"] or ("" if row["model"] in single else "(mean of all)")
        rows.append(
            [
                name,
                variant,
                f"{row['ln_evidence']:.2f} +- {row['ln_evidence_error']:.2f}",
                odds_to_best(row["ln_evidence"] - best),
                _number(row["p_value"], "{:.3f}"),
                _number(row["chi2"], "{:.1f}") + (f" / {row['dof']}" if row["dof"] else ""),
                _number(row["aicc"], "{:.1f}"),
                str(len({(m["shot_b"], m["id_b"]) for m in row["matches"]}))
                if row["chi2"] is not None
                else "-",
            ]
        )
    return rows


COLUMNS = (
    "model",
    "variant",
    "ln evidence",
    "odds to the best",
    "p",
    "chi2 / dof",
    "AICc",
    "matched",
)


def _number(value: float | None, form: str) -> str:
    return "-" if value is None else form.format(value)


def odds_to_best(difference: float) -> str:
    """ln of the odds to the best in short words: `best`, `1 to 20`, `1 to > 1e9`."""
    if abs(difference) < 1e-9:
        return "best"
    words = odds_words(difference).replace("about ", "").replace("more than a billion", "> 1e9")
    if words == "even":
        return "about even"
    return words if difference > 0 else "1 to " + words.removesuffix(" to 1")


def parameter_lines(result: dict[str, Any]) -> list[str]:
    """What each model's free parameters came to, for its best variant."""
    lines = []
    for row in result["models"]:
        if row["variant"] is None and row["parameters"]:
            name = row["model"] + (f" ({row['best_variant']})" if row["best_variant"] else "")
            texts = [
                f"{parameter_name(key, p['unit'])} {number_words(p['value'])} {p['unit']}".rstrip()
                + f" (95 %: {number_words(p['low95'])} to {number_words(p['high95'])})"
                for key, p in row["parameters"].items()
            ]
            lines.append(f"Best {name}: " + ", ".join(texts) + ".")
    return lines


LEGEND = (
    "ln evidence: natural logarithm of how likely the measurements are under the model, over all values of its free "
    "numbers; only differences between models count. Odds: those differences as odds. p: share of made-up outings "
    "under the model that match no better; below 0.01 it does not fit (one that foresees no common spots passes "
    "easily). 'free': a Sun turned in any way in every shot, no rival. chi2 / dof: about 1 to 1 where the best fit is "
    "as good as the stated uncertainties. AICc: a simpler score of the best fits, smaller is better; it decides "
    "nothing here."
)


def verdict_lines(result: dict[str, Any]) -> list[str]:
    """The verdict first, then its reasons and suspected blunders."""
    verdict = result["verdict"]
    lines = [verdict["words"]]
    lines += [f"  because {reason}" for reason in verdict["reasons"]]
    lines += [f"  look again: {flag}" for flag in verdict["flags"]]
    return lines


def latitude_lines(result: dict[str, Any]) -> list[str]:
    """Turn, rule of thumb, fitted latitude and what separates them."""
    turn, latitude = result["turn"], result["latitude"]
    lines = []
    shots = " to ".join(PurePath(turn[key] or "").name for key in ("shot_a", "shot_b"))
    if turn["turn_deg"] is None and not turn["shot_a"]:
        pass  # neither photos nor a turn were given
    elif turn["turn_deg"] is None:
        why = "one of them is mirrored" if turn["mirrored"] else "no spots of theirs match"
        lines.append(f"Turn of the disc from {shots}: not known ({why}).")
    else:
        whole = turn["unwrapped_axis_deg"]
        beyond = whole is not None and abs(whole) > 180 and result["verdict"]["model"] == "distant-sphere"
        words = turn_in_words(turn["turn_deg"], whole if beyond else None)
        sigma = "" if turn["sigma_deg"] is None else f" (+- {turn['sigma_deg']:.1f})"
        lines.append(f"Turn of the disc from {shots}: {words}{sigma}.")
    if latitude["fitted_deg"] is None:
        lines.append("Latitude under the distant sphere: these measurements do not tell it.")
        return lines
    lines.append(
        f"Latitude under the distant sphere, from the measurements alone: {_north_south(latitude['fitted_deg'])} "
        f"(95 %: {_north_south(latitude['low95_deg'])} to {_north_south(latitude['high95_deg'])}), "
        f"{latitude['hemisphere']}ern hemisphere with {100 * latitude['hemisphere_probability']:.4g} %; "
        f"the file says {_north_south(latitude['given_deg'])}."
    )
    if _misfit(result, "distant-sphere"):
        lines.append("  But the distant sphere does not fit them (p below 0.01): that latitude means little.")
    for region in latitude["regions"][1:]:
        lines.append(
            f"  They would also allow {_north_south(region['fitted_deg'])} ({100 * region['share']:.0f} %)."
        )
    lines += _rule_lines(latitude)
    return lines


def _misfit(result: dict[str, Any], model: str) -> bool:
    """Whether a model's best variant cannot have made the photos."""
    values = [row["p_value"] for row in result["models"] if row["model"] == model and row["variant"] is None]
    return any(value is not None and value < LEAST_P for value in values)


def _rule_lines(latitude: dict[str, Any]) -> list[str]:
    rule, parts = latitude["rule_of_thumb_deg"], latitude["separation_deg"]
    if rule is None:
        return []
    lines = [f"Rule of thumb (equinox, at the horizon), 90 - turn / 2: {rule:.1f} degrees."]
    if parts is not None:
        lines.append(
            f"  What separates them, in degrees of turn: date {parts['date_deg']:+.1f}, times and altitude "
            f"{parts['altitude_deg']:+.1f}, the Sun's own rotation {parts['rotation_deg']:+.1f}, "
            f"left over (level, measuring, spots that changed) {parts['left_deg']:+.1f}; leaving in the squash by the "
            f"air would have added {parts['squash_deg']:+.1f}. A degree of turn is half a degree by the rule."
        )
    return lines


QUANTITY_COLUMNS = ("measured", "model", "value", "foreseen", "z")


def quantity_rows(result: dict[str, Any]) -> list[list[str]]:
    """Rows of the other measurements: what each model's best fit foresees and by how many sigma it is off."""
    fits = [
        (row["model"], [r for r in row["residuals"] if r.get("kind")])
        for row in result["models"]
        if row["variant"] is None
    ]
    rows = []
    for place, first in enumerate(fits[0][1] if fits else []):
        kind = f"{first['turn_kind']} turn" if first["kind"] == "turn" else first["kind"]
        name = f"{kind} {first['time_utc'][0]}"
        for model, residuals in fits:
            one = residuals[place]
            rows.append([name, model, *_quantity_cells(one)])
            name = ""
    return rows


def _quantity_cells(one: dict[str, Any]) -> list[str]:
    """Measured, foreseen and residual of one measurement under one model."""
    if one["kind"] in ("rise", "set"):
        known = one["predicted"] is not None
        late = (
            f"{abs(one['predicted']):,.0f} s {'later' if one['predicted'] > 0 else 'earlier'}"
            if known
            else "never"
        )
        return ["as timed", late, _number(one["z"], "{:+.1f}")]
    unit = KINDS[one["kind"]].unit.removesuffix("1")
    return [
        f"{one['measured']:.4g} {unit}".strip(),
        f"{one['predicted']:.4g} {unit}".strip() if one["predicted"] is not None else "no such thing",
        _number(one["z"], "{:+.1f}"),
    ]


def nearest_lines(result: dict[str, Any]) -> list[str]:
    """How near the Sun may be on the sphere."""
    lines = []
    for model, distance in result["nearest_sun_km"].items():
        if distance is None:
            lines.append(f"How near the Sun may be ({model}): these measurements set no limit.")
        else:
            lines.append(
                f"How near the Sun may be ({model}): not nearer than {distance:,.0f} km (odds 20 to 1)."
            )
    return lines


def site_line(result: dict[str, Any]) -> str:
    """Where on Earth the photos may have been taken, under the distant sphere."""
    band = result["site_band"]
    low, high = (_north_south(x) for x in band["latitude_95_deg"])
    west, east = (_east_west(x) for x in band["longitude_95_deg"])
    inside = "inside" if band["given_content"] <= band["contents"][-1] else "outside"
    return (
        f"Where the photos may have been taken, under the distant sphere: latitude {low} to {high}, longitude "
        f"{west} to {east} (95 % each); the file's site lies {inside} the 95 % region. "
        f"Drawn in {result['site_figure']}"
    )


def _east_west(degrees: float) -> str:
    wrapped = (degrees + 180) % 360 - 180
    return f"{abs(wrapped):.1f} {'E' if wrapped >= 0 else 'W'}"


def _north_south(degrees: float) -> str:
    return f"{abs(degrees):.1f} {'N' if degrees >= 0 else 'S'}"

"""The result of `score` told to a newcomer: what it means, what drives it, how safe it is, what was needed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath
from typing import Any

import numpy as np

from .robustness import ROUGH_ERROR
from .scores import FAR_SIGMA
from .verdict import LEAST_P
from .words import FAVOURS, odds_words, times_words

STRONGEST = 3
UNSURE = 0.1  # numerical error of ln evidence from which on it is told
NOTABLE = 1.0  # ln: below it a driver is not worth a line
Section = tuple[str, list[str]]


def sections(result: dict[str, Any]) -> list[Section]:
    """Headings with their sentences, in the order in which they are read; empty ones are left out."""
    told = [
        ("What drives it", driver_lines(result)),
        ("What it means", meaning_lines(result)),
        ("How safe it is", safety_lines(result)),
    ]
    return [(heading, lines) for heading, lines in told if lines]


def mean_row(result: dict[str, Any], model: str | None) -> dict[str, Any]:
    """The row of a model's mean over its variants."""
    return next(row for row in result["models"] if row["model"] == model and row["variant"] is None)


def leading(result: dict[str, Any]) -> str:
    """The model with the largest evidence of those in the headline."""
    verdict = result["verdict"]
    if verdict["model"]:
        return verdict["model"]
    means = [row for row in result["models"] if row["variant"] is None]
    return max(means, key=lambda row: row["ln_evidence"])["model"]


def meaning_lines(result: dict[str, Any]) -> list[str]:
    """The verdict without the trade's words."""
    verdict = result["verdict"]
    kind, second = verdict["kind"], verdict["against"]
    best = mean_row(result, leading(result))
    lines = []
    if kind == "favours":
        other = mean_row(result, second)
        lines.append(
            f"{_like_these(result)} {times_words(verdict['ln_bayes_factor'])} as likely under {best['model']} "
            f"({_lower(best['summary'])}) as under the best of the others, {second} ({_lower(other['summary'])})."
        )
    elif kind == "undecided":
        if _has_photos(result):
            what = "the photos fit"
            more = (
                "More spots, more hours between the photos, a better level or a longer lens would tell more."
            )
        else:
            what = "the one measurement fits" if _others(result) == 1 else "the measurements fit"
            more = (
                "Two photos of the Sun's spots hours apart, or measurements of other kinds, would tell more."
            )
        lines.append(
            f"Nothing is proved either way: {what} more than one idea about as well, or the answer hangs on an "
            f"assumption. {more}"
        )
    elif not _has_photos(result):
        lines.append(
            "No idea in the table below foresees what was measured. Most often a time, the site or a sign is wrong "
            "(anticlockwise is positive); else the right idea is not in the table."
        )
    else:
        lines.append(
            "No idea in the table below puts the spots where they were. Most often a time, the site, the level or a "
            "mirrored photo is wrong; else the right idea is not in the table."
        )
    p = best["p_value"]
    if p is not None and kind != "none-fits":
        share = "nearly all" if p > 0.99 else f"{100 * p:.0f} in 100"
        lines.append(
            f"{best['model']} also fits by itself: of outings made up under it, {share} match no better than yours "
            f"(below {100 * LEAST_P:.0f} in 100 it would be said not to fit)."
        )
    lines.append(
        "Only the ideas in the table were compared; any other idea can be added and is scored by the same rules."
    )
    return lines


def _has_photos(result: dict[str, Any]) -> bool:
    """Whether spots of photos were scored."""
    return result["data"]["spots"] > 0


def _others(result: dict[str, Any]) -> int:
    """Measurements beside the spots."""
    return result["data"]["other_measurements"]


def _like_these(result: dict[str, Any]) -> str:
    """Subject and verb of a sentence about what the outing holds."""
    if _has_photos(result):
        return "Photos and measurements like these are" if _others(result) else "Photos like these are"
    return "A measurement like this one is" if _others(result) == 1 else "Measurements like these are"


def driver_lines(result: dict[str, Any]) -> list[str]:
    """How many spots each leading model finds again, and the measurements that the odds hang on most."""
    verdict = result["verdict"]
    best, second = leading(result), verdict["against"]
    if second is None:
        return []
    lines = []
    if any(row["residuals"] and row["residuals"][0]["id"] is not None for row in result["models"]):
        lines.append(
            f"{best} finds {_again(result, best)} again in the other photos where it puts them, {second} "
            f"{_again(result, second)}."
        )
    pro, contra = [], []
    told: set[tuple[str | None, int | None]] = set()
    for driver in result["drivers"]:
        key = (driver["shot"], driver["id"])
        nothing_left = driver["kind"] == "shot" and abs(driver["ln_bayes_factor_without"]) < 1e-9
        alone = nothing_left or len(result["drivers"]) == 1
        if key in told or abs(driver["contribution"]) < NOTABLE or alone:
            continue
        told |= {key} | {(other["shot"], other["id"]) for other in driver["matched_to"]}
        (pro if driver["contribution"] > 0 else contra).append(driver)
    lines += [_driver_words(driver) for driver in pro[:STRONGEST]]
    lines += [_driver_words(driver) for driver in contra[:1]]
    spots = [d for d in result["drivers"] if d["kind"] == "spot"]
    if spots and verdict["kind"] == "favours":
        left = min(d["ln_bayes_factor_without"] for d in spots)
        holds = left >= FAVOURS
        lines.append(
            f"No single spot decides: without any one of them the odds stay at {odds_words(left)}, at least."
            if holds
            else "It hangs on a single spot: without the strongest the odds are "
            + (f"{odds_words(left)} only." if left > 0 else f"{odds_words(left)} for {second}.")
        )
    return lines


def _again(result: dict[str, Any], model: str | None) -> str:
    found = {(m["shot_b"], m["id_b"]) for m in mean_row(result, model)["matches"]}
    return "no spot" if not found else "1 spot" if len(found) == 1 else f"{len(found)} spots"


def _driver_words(driver: dict[str, Any]) -> str:
    name = _short(driver["name"])
    if driver["matched_to"]:
        name += " (" + ", ".join(f"spot {m['id']} of {_base(m['shot'])}" for m in driver["matched_to"]) + ")"
    way = "smaller" if driver["contribution"] > 0 else "larger: it speaks against " + driver["model"]
    return f"Without {name} the odds would be {times_words(driver['contribution'])} {way}."


def safety_lines(result: dict[str, Any]) -> list[str]:
    """Doubled uncertainties, other priors, spots that lie far off, how the evidence was integrated."""
    lines = []
    rows = {row["kind"]: row for row in result["robustness"] if row["kind"] != "prior"}
    doubled = rows.get("uncertainties")
    if doubled is not None:
        lines.append(f"With all uncertainties doubled {_still(doubled, result)}.")
    priors = [row for row in result["robustness"] if row["kind"] == "prior"]
    if priors:
        sign = 1 if rows["as-scored"]["leads"] == leading(result) else -1
        weakest = min(priors, key=lambda row: sign * row["ln_bayes_factor"])
        lines.append(
            f"With {len(priors)} other assumptions on the models' free numbers, one at a time, "
            f"{_still(weakest, result)} in the worst case ({weakest['what']})."
        )
    lines += _far_spots(result)
    unsure = [row for row in result["models"] if row["variant"] is None and row["ln_evidence_error"] > UNSURE]
    if unsure:
        named = ", ".join(
            f"{row['model']} (to {100 * np.expm1(row['ln_evidence_error']):.0f} %)" for row in unsure
        )
        lines.append(
            f"Some odds are worked out roughly only, because the spots can be laid on each other in very many ways: "
            f"{named}. The verdict allows for that."
        )
    nested = [_named(row) for row in result["models"] if row["ln_evidence_by"] == "nested" and row["variant"]]
    if nested:
        lines.append(
            f"For {', '.join(nested)} the fast integration was not safe; the slower nested sampling took its place."
        )
    return lines


def _still(row: dict[str, Any], result: dict[str, Any]) -> str:
    lead = row["leads"]
    same = "still " if lead == leading(result) else ""
    words = odds_words(row["ln_bayes_factor"])
    if row["verdict"] == "favours":
        return f"the odds {same}favour {lead}, {words}"
    return f"the odds decide nothing ({words}, {lead} ahead)"


def _far_spots(result: dict[str, Any]) -> list[str]:
    """The measurements that lie farthest from what the leading model foresees."""
    row = mean_row(result, leading(result))
    found = []
    for one in row["residuals"]:
        size = [abs(one[key]) for key in ("zx", "zy", "z") if one.get(key) is not None]
        if size and max(size) > FAR_SIGMA:
            name = (
                f"spot {one['id']} of {_base(one['shot'])}"
                if one["id"] is not None
                else f"the {one['kind']} of {' to '.join(one['time_utc'])}"
            )
            found.append((max(size), f"{name} ({max(size):.1f} standard errors)"))
    if not found:
        return []
    named = [words for _, words in sorted(found, reverse=True)]
    more = f" and {len(named) - STRONGEST} more" if len(named) > STRONGEST else ""
    why = (
        "a group that changed, a wrong pair, a speck"
        if _has_photos(result)
        else "a misreading, a wrong time or sign"
    )
    return [
        f"Farthest from what {row['model']} foresees: {', '.join(named[:STRONGEST])}{more}; look at them again "
        f"({why})."
    ]


def _named(row: dict[str, Any]) -> str:
    return row["model"] if row["variant"] == "only" else f"{row['model']} {row['variant']}"


def _base(file: str) -> str:
    return PurePath(file).name


def _short(name: str) -> str:
    """A driver's name with its photos' folders left out."""
    return " ".join(_base(word) if "/" in word else word for word in name.split(" "))


def _lower(sentence: str) -> str:
    """A summary inside a sentence."""
    return sentence[:1].lower() + sentence[1:].rstrip(".")


NEEDED_COLUMNS = ("map", "face", "height km", "95 %", "diameter km", "found again", "chi2 / dof")


def needed_table(result: dict[str, Any]) -> list[list[str]]:
    """Rows of what a nearby Sun would need."""
    rows = []
    for row in result["needed"]:
        if row["height_km"] is None:
            rows.append([row["map"], row["note"], *[""] * 5])
            continue
        fits = row["matched"] > 0
        low, high = row["height_low95_km"], row["height_high95_km"]
        chi2 = f"{row['chi2']:.1f} / {row['dof']}" if fits and row["dof"] else "-"
        rows.append(
            [
                row["map"],
                row["face"],
                f"{row['height_km']:,.0f}" + (" (end of range)" if row["at_bound"] else ""),
                f"{low:,.0f} to {high:,.0f}",
                "-" if row["diameter_km"] is None else f"{row['diameter_km']:,.1f}",
                f"{row['matched']} of {row['spots']}" if row["spots"] else "-",
                chi2,
            ]
        )
    return rows


def needed_legend(result: dict[str, Any]) -> str:
    """What the table of needed heights says and does not say."""
    rows = result["needed"]
    if not rows:
        return ""
    words = (
        "The height at which a nearby Sun comes closest to what was measured, whether or not the idea fits. "
    )
    if any(row["matched"] == 0 and row["spots"] for row in rows):
        words += "Where no spot is found again, no height makes the idea fit and the number means nothing. "
    if all(row["diameter_km"] is None for row in rows) and _has_photos(result):
        words += "The diameter needs the focal length and the pixel pitch of the camera."
    return words.strip()


ROBUST_COLUMNS = ("changed", "ln odds", "odds", "verdict")


def robust_table(rows: Sequence[dict[str, Any]]) -> list[list[str]]:
    """Rows of the table of robustness."""
    return [
        [
            row["what"],
            f"{row['ln_bayes_factor']:.1f}",
            f"{odds_words(row['ln_bayes_factor'])} for {row['leads']}",
            row["verdict"],
        ]
        for row in rows
    ]


ROBUST_LEGEND = (
    "One thing changed at a time, all else as scored; 'favours' asks for 20 to 1. What a free number was taken for "
    "beforehand: 'uniform', every value as likely as any other; 'log-uniform', every doubling; 'inverse-uniform', "
    "small values above all. ln odds: the odds' natural logarithm, 3.0 is 20 to 1, 6.9 a thousand to 1. Doubled "
    f"uncertainties and wider ranges are worked out coarsely (ln odds good to about {2 * ROUGH_ERROR:.1f})."
)

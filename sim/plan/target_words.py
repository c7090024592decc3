"""Why a region is a good or a poor target, and what a summary is worth for a day, in sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..compare.world import FULL_RADIUS
from .carried import OLD_DAYS, TOO_OLD_DAYS
from .regions import RegionSummary
from .targets import Target, TargetView

_CENTRE, _LIMB = 0.25, 0.9  # limb radii
_HARDLY = 0.15
_SYNODIC_DEG_PER_DAY = 13.2


def reason(target: Target) -> str:
    """Why the target has its rank, the weightiest first."""
    told = [view for view in target.views if math.isfinite(view.chance)]
    if not target.views[0].visible[0]:
        return f"behind the limb at the first shot; {_kind(target)}"
    stays = _stays(told)
    if all(view.chance_visible < _HARDLY for view in told):
        return "; ".join([*stays, _kind(target)])
    parts = [*stays, *_place(told), *_size(target, told)]
    if target.place.chance_there < 0.7:
        parts.append(
            f"its spots may have gone by then ({100 * target.place.chance_there:.0f} % that they have not)"
        )
    if not parts:
        parts.append(f"well placed, {_range(told)} of the radius from the centre")
    return "; ".join([*parts, _kind(target)])


def _stays(told: Sequence[TargetView]) -> list[str]:
    hidden = [view.model for view in told if view.visible[1] is False]
    if not told:
        return ["no model compared says which face the Sun shows"]
    if not hidden:
        return []
    if len(hidden) == len(told):
        return ["no longer on the disc at the second shot"]
    return [f"no longer on the disc at the second shot under {' and '.join(hidden)}"]


def _radii(view: TargetView) -> list[float]:
    return [
        math.hypot(view.x[shot], view.y[shot])
        for shot in (0, 1)
        if view.visible[shot] and math.isfinite(view.x[shot])
    ]


def _range(told: Sequence[TargetView]) -> str:
    radii = [radius for view in told for radius in _radii(view)]
    low, high = min(radii), max(radii)
    return f"{low:.2f}" if high - low < 0.01 else f"{low:.2f} to {high:.2f}"


def _place(told: Sequence[TargetView]) -> list[str]:
    """Near the centre or the limb, under whichever model that is so."""
    parts = []
    near = [view.model for view in told if _radii(view) and min(_radii(view)) < _CENTRE]
    if near:
        least = min(radius for view in told for radius in _radii(view))
        parts.append(
            f"close to the centre ({least:.2f} of the radius{_under(near, told)}): a poor angle, and moved most by the "
            "Sun's own rotation"
        )
    far = [view.model for view in told if _radii(view) and max(_radii(view)) > _LIMB]
    if far:
        most = max(radius for view in told for radius in _radii(view))
        thin = 100 * math.sqrt(max(1 - most**2, 0.0))
        missed = " and easily missed" if most > FULL_RADIUS else ""
        parts.append(
            f"near the limb ({most:.2f} of the radius{_under(far, told)}): foreshortened to {thin:.0f} %{missed}"
        )
    return parts


def _under(names: Sequence[str], told: Sequence[TargetView]) -> str:
    return "" if len(names) == len(told) else f" under {' and '.join(names)}"


def _size(target: Target, told: Sequence[TargetView]) -> list[str]:
    if math.isnan(target.width_px) or not told:
        return []
    large = [view.chance_large for view in told if view.chance_visible >= 0.5]  # what is hidden is told so
    if not large:
        return []
    words = f"{target.width_px:.1f} px at first{_narrower(target, told)}"
    if max(large) < 0.1:
        return [f"too small for this camera ({words})"]
    if min(large) < 0.5:
        return [f"hardly large enough for this camera ({words})"]
    return [f"small on this camera ({words})"] if min(large) < 0.9 else []


def _narrower(target: Target, told: Sequence[TargetView]) -> str:
    """Its width where it is narrowest, under whichever model, if that differs."""
    first = math.hypot(told[0].x[0], told[0].y[0])  # the same under all models
    most = max((radius for view in told for radius in _radii(view)), default=first)
    least = target.width_px * math.sqrt(max(1 - most**2, 0.0) / max(1 - first**2, 1e-9))
    return f", {least:.1f} at its narrowest" if least < 0.8 * target.width_px else ""


def _kind(target: Target) -> str:
    region = target.place.region
    return (
        "one single spot" if region.single else f"a group of {region.spots}, {region.extent_deg:.0f} deg long"
    )


def summary_words(
    summary: RegionSummary | None, first_utc_days: float, targets: Sequence[Target], models: Sequence[str]
) -> list[str]:
    """What the list is worth for a day: spots or none, its age, what it cannot know, what is due to return."""
    if summary is None:
        return [
            f"No list of regions within {TOO_OLD_DAYS:.0f} days of this day: by then the spots have left the disc or "
            "changed. Bring a newer one."
        ]
    days = first_utc_days - summary.utc_days
    words = [_usable(targets, models)]
    if abs(days) > OLD_DAYS:
        words.append(
            f"The list is {abs(days):.0f} days {'old' if days > 0 else 'too late'}: places are unsure."
        )
    if days > 0.5:
        strip = min(_SYNODIC_DEG_PER_DAY * days, 180.0)
        words.append(
            f"What came round the east limb in the {days:.1f} days since the list is not in it: a strip of {strip:.0f} "
            "degrees of longitude."
        )
    if summary.returning and -1 < days < 5:
        names = ", ".join(f"{one.number} ({_latitude(one.latitude_deg)})" for one in summary.returning)
        words.append(
            f"Regions due to return {summary.returning_dates}: {names}; whether they still have spots is not known."
        )
    return words


def _usable(targets: Sequence[Target], models: Sequence[str]) -> str:
    if not targets:
        return "No usable spots: the list has no region with spots."
    if all(math.isnan(view.chance) for one in targets for view in one.views):
        return (
            f"Regions with spots: {len(targets)}. Whether they stay in sight is not known: no model compared says "
            "which face the Sun shows."
        )
    numbers = {
        model: [str(one.place.region.number) for one in targets if model in one.usable_under]
        for model in models
    }
    if not any(numbers.values()):
        return f"No usable spots: none of the {len(targets)} regions listed is likely to be found in both photos."
    if len({tuple(found) for found in numbers.values()}) == 1:
        found = next(iter(numbers.values()))
        return f"Usable regions: {len(found)} of {len(targets)} ({', '.join(found)})."
    told = "; ".join(
        f"{len(found)} under {model}" + (f" ({', '.join(found)})" if found else "")
        for model, found in numbers.items()
    )
    return f"Usable regions of {len(targets)}: {told}."


def _latitude(degrees: float) -> str:
    return f"{'N' if degrees >= 0 else 'S'}{abs(degrees):02.0f}"


def place_doubt(target: Target) -> float:
    """How unsure the place at the first shot is, limb radii (68 %, the larger axis); nan where hidden."""
    covariance = target.views[0].covariance[0]
    return (
        float(np.sqrt(np.max(np.linalg.eigvalsh(covariance))))
        if np.all(np.isfinite(covariance))
        else math.nan
    )

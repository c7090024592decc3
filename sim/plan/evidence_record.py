"""The expected evidence of a plan's days as JSON types."""

from __future__ import annotations

from typing import Any

from .expected import Expected


def add_expected(result: dict[str, Any], expected: Expected, outings: int) -> None:
    """Put what was simulated into its day of a plan's JSON (:func:`~whichsun.sim.plan.record.plan_json`)."""
    day = next(day for day in result["days"] if day["date"] == expected.date.isoformat())
    found = expected.found
    day["expected_ln_bayes_factor"] = expected.medians()
    day["decides"] = found.decides
    day["evidence"] = {
        "at_utc": list(expected.design.times_utc),
        "outings": outings,
        "spots_in_a_photo": expected.design.spots_found,
        "place_sigma_radii": expected.design.place_sigma,
        **found.to_json(),
        "what_if": [{"change": words, **one.to_json()} for words, one in expected.tips],
        "advice": expected.advice,
    }

"""The part of `plan` that simulates outings: what a day will show and what would raise it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from .expected_tables import show_changes, show_pairs
from .plumbing import print_wrapped, progress_on_stderr
from .side_by_side import models_with_settings

if TYPE_CHECKING:
    from ..plan.days import DayPlan, Plan

WHICH = ("one", "all", "none")


@dataclass(frozen=True)
class EvidenceOptions:
    """Options as they were typed; see the command's help."""

    which: str
    model: list[str] | None
    setting: list[str] | None
    rotation: str | None
    outings: int
    spots: float | None
    place_sigma: float | None
    roll_sigma_deg: float
    mount: str
    what_if: bool
    seed: int
    processes: int | None


def check_evidence(options: EvidenceOptions) -> None:
    """Refuse a bad choice before any work.

    Raises
    ------
    UnknownNameError
        Not one of `WHICH`.
    InputError
        A number out of the range of a :class:`~whichsun.sim.compare.drawing.Design`.
    """
    from ...models.errors import InputError, UnknownNameError

    if options.which not in WHICH:
        raise UnknownNameError("evidence", options.which, WHICH)
    from ..compare.drawing import RANGES

    for name, value, of in (
        ("spots", options.spots, "spots_found"),
        ("place-sigma", options.place_sigma, "place_sigma"),
    ):
        low, high = RANGES[of]
        if value is not None and not low <= value <= high:
            raise InputError(name, f"must be between {low:g} and {high:g}", value)


def add_evidence(result: dict[str, Any], plan: Plan, options: EvidenceOptions, *, quiet: bool) -> None:
    """Simulate the days that were asked for and put what came out into the plan's JSON."""
    if options.which == "none":
        return
    from ..compare.contest import Options
    from ..compare.drawing import PLACE_SIGMA, SPOTS_FOUND
    from ..plan.evidence_record import add_expected
    from ..plan.expected import expect, farthest_day
    from ..plan.target_record import place_sigma_radii, spots_in_a_photo
    from ..rotation import DEFAULT_LAW

    names = _compared(options.model)
    models = models_with_settings(names, None)
    given = {name: value for _, own in plan.models for name, value in own.items()}
    models = [(model, _own(model, given)) for model, _ in models]
    law = options.rotation or DEFAULT_LAW
    days: list[DayPlan]
    if options.which == "all":
        days = [day for day in plan.days if day.middles is not None]
    else:
        farthest = farthest_day(plan, models)
        days = [] if farthest is None else [farthest]
    with progress_on_stderr("simulating", quiet=quiet) as progress:
        for number, day in enumerate(days):

            def told(done: int, of: int, words: str, number: int = number, day: DayPlan = day) -> None:
                progress(number * of + done, len(days) * of, f"{day.date}: {words}")

            expected = expect(
                plan,
                day,
                names,
                models,
                spots=_first(options.spots, spots_in_a_photo(result, day.date), SPOTS_FOUND),
                place_sigma=_first(options.place_sigma, place_sigma_radii(result), PLACE_SIGMA),
                roll_sigma_deg=options.roll_sigma_deg,
                mount=options.mount,
                options=Options(law=law, given=given, seed=options.seed),
                outings=options.outings,
                what_if=options.what_if,
                processes=options.processes,
                progress=told,
            )
            add_expected(result, expected, options.outings)


def _first(*values: float | None) -> float:
    """The first that is known: what was typed, what the camera and the day's regions say, the usual."""
    return next(value for value in values if value is not None)


def _compared(model: list[str] | None) -> list[str]:
    """The plan's models; a single one against the first of the two usual ones that it is not."""
    from ..compare.power import COMPARED

    if not model:
        return list(COMPARED)
    return model if len(model) > 1 else [model[0], next(name for name in COMPARED if name != model[0])]


def _own(model: Any, given: dict[str, Any]) -> dict[str, Any]:
    known = {parameter.name for parameter in model.parameters}
    return {name: value for name, value in given.items() if name in known}


def show_evidence(result: dict[str, Any]) -> None:
    """What the simulated days will show."""
    if all(day["decides"] is False and not day["evidence"] for day in result["days"]):
        print_wrapped(
            ["No day here has both a morning and an evening window: no outing of two photos can decide."]
        )
        print()
    told = [day for day in result["days"] if day["evidence"]]
    for day in told:
        evidence = day["evidence"]
        among = ""
        if len(told) < len(result["days"]):
            among = (
                " (the models at their given numbers lie farthest apart then; --evidence all tries every day)"
            )
        print_wrapped([f"What photos on {day['date']} will show{among}: {evidence['words']}"])
        show_pairs(
            evidence,
            f"{evidence['outings']} simulated outings for each true model, at the middles of the windows,\n"
            f"{evidence['spots_in_a_photo']:.1f} spots a photo, places to {evidence['place_sigma_radii']:.4f} radii",
        )
        if evidence["advice"]:
            show_changes(evidence)
            print_wrapped([evidence["advice"]])
    if told:
        share = 50 / told[0]["evidence"]["outings"] ** 0.5
        more = "" if told[0]["evidence"]["advice"] else " --what-if finds what would raise it."
        print_wrapped(
            [
                "right, wrong, undecided: what `score` would say of them. ln B: logarithm of the odds for the true "
                f"model; 3 is 20 to 1, which a verdict asks for. A share is known to about {share:.0f} points "
                f"(--outings).{more}"
            ]
        )
        print()

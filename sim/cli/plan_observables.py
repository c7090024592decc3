"""The part of `plan` for outdoors: the day's other measurements, the field sheet, the outing file to fill in."""

from __future__ import annotations

import datetime as dt
import itertools
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .plumbing import check_free, print_table, print_wrapped, write_whole

if TYPE_CHECKING:
    from ..plan.days import Plan


@dataclass(frozen=True)
class OutdoorOptions:
    """Options as they were typed; see the command's help."""

    measurements: bool
    template: Path | None
    sheet: Path | None
    paper: str
    predictions: bool
    place: str
    exact_site: bool
    above_horizon_m: float
    overwrite: bool


def check_outdoor(options: OutdoorOptions) -> None:
    """Refuse bad options and outputs before any work.

    Raises
    ------
    InputError
        A file of another kind.
    UnknownNameError
        No such paper.
    OutputExistsError
        A file that is there already.
    """
    from ...models.errors import InputError, UnknownNameError

    if options.sheet is not None:
        from ..plan.field_sheet import PAPERS

        if options.paper not in PAPERS:
            raise UnknownNameError("paper", options.paper, PAPERS)
    for name, path, ending in (
        ("field-sheet", options.sheet, ".pdf"),
        ("outing-template", options.template, ".toml"),
    ):
        if path is not None:
            if path.suffix.lower() != ending:
                raise InputError(name, f"must be a name that ends in {ending}", str(path))
            check_free([path], options.overwrite)


def add_outdoor(result: dict[str, Any], plan: Plan, options: OutdoorOptions) -> None:
    """Put the other measurements into the plan's JSON and write the files that were asked for.

    Raises
    ------
    InputError
        A file for more than one day.
    """
    from ...models.errors import InputError
    from ..plan.observables_record import quantities_json, quantities_of_day

    result["field_sheet"] = result["outing_template"] = None
    files = options.sheet is not None or options.template is not None
    if files and len(plan.days) != 1:
        name = "field-sheet" if options.sheet else "outing-template"
        raise InputError(
            name, "must be for one day", f"{len(plan.days)} days", "give a single date to --dates"
        )
    if not files and not options.measurements:
        return
    for day, told in zip(plan.days, result["days"], strict=True):
        found = quantities_of_day(plan, day, options.above_horizon_m)
        told["observables"] = quantities_json(plan, found)
        if options.sheet is not None:
            from ..plan.field_sheet import field_sheet_pdf

            data = field_sheet_pdf(
                plan,
                day,
                found,
                made=dt.datetime.now(dt.UTC),
                place=options.place,
                paper=options.paper,
                predictions=options.predictions,
                exact_site=options.exact_site,
            )
            write_whole(options.sheet, data)
            result["field_sheet"] = str(options.sheet)
        if options.template is not None:
            from ..plan.outing_template import outing_template

            made_by = f"whichsun {version('whichsun')}"
            text = outing_template(options.template.name, day.date, plan.site, plan.zone, found, made_by)
            write_whole(options.template, text)
            result["outing_template"] = str(options.template)


def show_outdoor(result: dict[str, Any], measurements: bool) -> None:
    """The day's other measurements where they were asked for, and the files."""
    for day in result["days"]:
        if measurements and day["observables"]:
            _show_observables(result, day)
    written = [
        f"{words}: {result[key]}"
        for words, key in (("Field sheet", "field_sheet"), ("Outing file to fill in", "outing_template"))
        if result[key]
    ]
    if written:
        print("\n".join(written) + "\n")


def _show_observables(result: dict[str, Any], day: dict[str, Any]) -> None:
    """What each model says, how well it can be measured, and how far apart that is."""
    from ..plan.observables_record import numbers_words

    found = day["observables"]
    names = list(result["models"])
    pairs = list(itertools.combinations(names, 2))
    columns = ["measurement", *names, "simple means, 1 sigma", *(_pair(pair, names) for pair in pairs)]
    rows = []
    for one in found["rows"]:
        values = [_value(one, one["models"][name]) for name in names]
        apart = [_apart(one, pair) for pair in pairs]
        rows.append([one["label"], *values, f"{one['sigma']:g} {one['sigma_unit'] or ''}".strip(), *apart])
    title = f"What else can be measured on {day['date']}; `score` takes all of it"
    print_table(columns, rows, title=title)
    lines = [_noon_words(found["noon"], day)]
    free = numbers_words(found["free_numbers"])
    if free:
        lines.append(
            f"The models stand here at {free}. `score` gives free numbers their best values first, so single rows may "
            "come closer than this."
        )
    whys = {f"{name}: {one['models'][name]['why']}" for one in found["rows"] for name in names
            if one["models"][name]["why"]}  # fmt: skip
    lines += sorted(f"{why}." for why in whys)
    lines.append(
        "After ';': length of a vertical stick's shadow over the stick's height. Times by the clock; rise and set as "
        "`score` predicts them, seconds from the almanac's above. The uncertainties are common practice, no source "
        "(--json says what they consist of and how to measure); refraction and the clock are added for 'sigmas apart'."
    )
    print_wrapped(lines)
    print()


def _pair(pair: tuple[str, str], names: list[str]) -> str:
    return "sigmas apart" if len(names) == 2 else f"{pair[0]} / {pair[1]}, sigmas apart"


def _value(one: dict[str, Any], seen: dict[str, Any]) -> str:
    from ..plan.field_sheet_words import value_words

    moment = seen["at_local"] and dt.datetime.fromisoformat(seen["at_local"])
    value = float("nan") if seen["value"] is None else seen["value"]

    return value_words(one["kind"], one["unit"] or "", value, moment)


def _apart(one: dict[str, Any], pair: tuple[str, str]) -> str:
    """Sigmas between two models; in words where the thing happens under one of them only."""
    value = one["apart_sigma"]["/".join(pair)]
    if value == value:
        return f"{value:.1f}" if value < 99.5 else f"{value:.0f}"
    none = [bool(one["models"][name]["why"]) for name in pair]
    return "seen or not" if none[0] != none[1] else "-"


def _noon_words(noon: dict[str, Any], day: dict[str, Any]) -> str:
    """Local noon from twelve o'clock, step by step."""
    clock = dt.datetime.fromisoformat(day["noon_local"])
    offset = clock.utcoffset() or dt.timedelta()
    place_min = offset.total_seconds() / 60 + noon["mean_noon_after_12_utc_min"]
    place_min = (place_min + 720) % 1440 - 720  # zones beyond the date line
    return (
        f"Shortest shadow at {clock:%H:%M:%S}: 12:00 {_minutes(place_min)} for the place in its zone "
        f"{_minutes(-noon['equation_of_time_min'])} for the equation of time."
    )


def _minutes(value: float) -> str:
    return f"{'-' if value < 0 else '+'} {abs(value):.1f} min"

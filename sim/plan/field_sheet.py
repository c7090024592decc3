"""One page to take outdoors: cautions, times, steps, boxes to fill in, and what each model lets be measured."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from importlib.metadata import version

from ...models.errors import InputError, UnknownNameError
from ..outing_observables import WITHOUT_VALUE
from ..safety import CAUTIONS, HEADING
from ..telling import day_words, place_words
from .days import EVENING, MORNING, DayPlan, Plan
from .field_sheet_paper import LINE_MM, Paper
from .field_sheet_words import (
    AFTER,
    BEFORE,
    INTO_FILE,
    NONE,
    OTHER_DAYS,
    PHOTO_COLUMNS,
    TURN_LABEL,
    TURN_SIGMA_DEG,
    day_rows,
    degrees,
    foreseen_words,
    label_words,
    sigma_words,
    steps,
)
from .observables import DayQuantities
from .observables_record import free_numbers, numbers_words

PAPERS = ("a4", "letter")
_GOOD_ROW_MM, _MOST_ROW_MM = 4.2, 8.0
_HEAD_MM = 4.4
_PHOTO_HIGH = 1.3  # of the other rows
_LAYOUTS = ((True, 6), (True, 4), (False, 4), (False, 2))
"""Whether it is said why a model has no value, and rows for photos, the first that leaves room to write."""
_PLACE_MM = 70.0


def field_sheet_pdf(
    plan: Plan,
    day: DayPlan,
    quantities: DayQuantities,
    *,
    made: dt.datetime,
    place: str = "",
    paper: str = "a4",
    predictions: bool = True,
    exact_site: bool = False,
) -> bytes:
    """The sheet as a PDF of exactly one page.

    Parameters
    ----------
    plan : Plan
    day : DayPlan
    quantities : DayQuantities
        Of that day.
    made : datetime
        Written into the file.
    place : str
        What the person calls the place.
    paper : str
        One of `PAPERS`.
    predictions : bool
        Whether what the models foresee is printed; without it nobody knows what to expect.
    exact_site : bool
        Whether the site stands in full, else rounded to 0.1 degree. Times are to the minute and angles to 0.1 degree
        in any case, so that the numbers do not tell the place much better.

    Raises
    ------
    UnknownNameError
        No such paper.
    InputError
        More models than the page has room for, or a day without a window.
    """
    if paper not in PAPERS:
        raise UnknownNameError("paper", paper, PAPERS)
    if len(plan.models) > 4:
        raise InputError("model", "must be four at most on a field sheet", len(plan.models))
    if not day.windows:
        hint = "take another day or other --altitudes"
        raise InputError("dates", "must be a day with a window for photos", day.date.isoformat(), hint)
    page = Paper(paper, [place, *(model.name for model, _ in plan.models)])
    page.set_creation_date(made)
    page.set_creator(f"whichsun {version('whichsun')}")
    page.set_lang("en")
    page.set_title(f"Field sheet {day.date}")
    page.add_page()
    _head(page, plan, day, place, exact_site)
    _cautions(page)
    _times_and_drawings(page, plan, day, predictions)
    _steps(page, plan, day)
    _boxes(page, plan, day, quantities, predictions)
    return page.whole()


def _head(page: Paper, plan: Plan, day: DayPlan, place: str, exact_site: bool) -> None:
    where = place_words(plan.site, 5 if exact_site else 1)
    left = page.l_margin
    page.line_of(f"Field sheet, {day_words(day.date)}", left, page.epw, points=14, bold=True)
    page.set_y(page.y + 6.5)
    shown = page.fitting(page.known(place), _PLACE_MM)
    words = f"{shown}, {where}" if shown else where
    offset = plan.zone.local(day.noon).strftime("%z")
    clock = f"Clock: {plan.zone.name}, UTC{offset[:3]}:{offset[3:5]} at noon."
    rounded = "" if exact_site else " Place rounded to 0.1\N{DEGREE SIGN}."
    page.line_of(page.fitting(f"{words}. {clock}{rounded}", page.epw), left, page.epw)
    page.set_y(page.y + LINE_MM + 1.2)


def _cautions(page: Paper) -> None:
    """The frame of cautions, always."""
    inner = page.epw - 4
    heights = [page.height_of(text, inner - 5) for text in CAUTIONS]
    high = sum(heights) + LINE_MM + 3.2
    page.framed(page.l_margin, page.y, page.epw, high)
    page.set_y(page.y + 1.4)
    page.line_of(HEADING, page.l_margin + 2, inner, bold=True)
    page.set_y(page.y + LINE_MM)
    page.numbered(CAUTIONS, page.l_margin + 2, inner)
    page.set_y(page.y + 3.2)


def _times_and_drawings(page: Paper, plan: Plan, day: DayPlan, predictions: bool) -> None:
    top = page.y
    widths = (35.0, 23.5, 24.5, 18.0, 15.0)
    page.row(("", "clock", "UTC", "direction", "altitude"), widths, 4.2, bold=True, ruled=True)
    rows = day_rows(day, plan.zone, predictions)
    for cells in rows:
        page.row(cells, widths, 4.2, bold=cells[0].isupper())
    if any(mark in text for cells in rows for text in cells for mark in (BEFORE, AFTER)):
        page.line_of(OTHER_DAYS, page.l_margin, sum(widths))
        page.set_y(page.y + LINE_MM)
    bottom = page.y
    left = page.l_margin + sum(widths) + 2
    windows = [(name, day.window(name)) for name in (MORNING, EVENING)]
    wedges = [(one.azimuth_from_deg, one.azimuth_to_deg) if one else None for _, one in windows]
    page.rose(left + 11.5, top + 13.5, 8.5, wedges)
    page.sketch_disc(left + 35.0, top + 14.0, 9.5, "morning")
    page.sketch_disc(left + 57.0, top + 14.0, 9.5, "evening")
    page.set_xy(left, top + 28.5)
    page.line_of(
        "black: morning, grey: evening. Sketch the spots.", left - 1, page.w - page.r_margin - left + 1
    )
    page.set_y(max(bottom, top + 32.0) + 1.6)


def _steps(page: Paper, plan: Plan, day: DayPlan) -> None:
    told = steps(day, plan.zone)
    gap = 4.0
    width = (page.epw - gap) / 2
    heights = [page.height_of(text, width - 5) for text in told]
    # the left column ends where both are most nearly even
    cut = min(range(1, len(told)), key=lambda n: max(sum(heights[:n]), sum(heights[n:])))
    top = page.y
    page.numbered(told[:cut], page.l_margin, width)
    left_end = page.y
    page.set_y(top)
    page.numbered(told[cut:], page.l_margin + width + gap, width, first=cut + 1)
    page.set_y(max(left_end, page.y) + 1.6)


def _boxes(page: Paper, plan: Plan, day: DayPlan, quantities: DayQuantities, predictions: bool) -> None:
    """Rows to fill in; they share what is left of the page."""
    rows = _measurement_rows(plan, day, quantities)
    for reasons, photos in _LAYOUTS:
        notes = _notes(plan, quantities, predictions, reasons)
        below = sum(page.height_of(text, page.epw) for text in notes) + 1.0
        heads = 2 * _HEAD_MM + 1.6
        high = (page.bottom - page.y - below - heads) / (len(rows) + _PHOTO_HIGH * photos)
        if high >= _GOOD_ROW_MM:
            break
    high = min(high, _MOST_ROW_MM)
    widths = [width * page.epw / sum(w for _, w in PHOTO_COLUMNS) for _, width in PHOTO_COLUMNS]
    page.row([name for name, _ in PHOTO_COLUMNS], widths, _HEAD_MM, bold=True)
    for number in range(photos):
        which = MORNING if 2 * number < photos else EVENING
        page.row([f"{number + 1} {which}", "", "", "", ""], widths, _PHOTO_HIGH * high, boxed=True)
    page.set_y(page.y + 1.6)
    _measurements(page, plan, rows, predictions, high)
    page.set_y(page.y + 1.0)
    for text in notes:
        page.paragraph(text, page.l_margin, page.epw)


def _measurement_rows(plan: Plan, day: DayPlan, quantities: DayQuantities) -> list[tuple[str, ...]]:
    """Label, uncertainty, and what each model lets it be; what happens under none of them is left out."""
    names = [model.name for model, _ in plan.models]
    rows: list[tuple[str, ...]] = []
    turns = {turn.model: turn for turn in day.turns if not turn.variant}
    if turns:
        told = [degrees(turns[name].pattern_deg) for name in names]
        rows.append((TURN_LABEL, degrees(TURN_SIGMA_DEG), *told))
    for one in quantities.rows:
        told = [foreseen_words(one, one.foreseen[name], plan.zone) for name in names]
        if all(text == NONE for text in told):
            continue
        rows.append((label_words(one, plan.zone), sigma_words(one), *told))
    return rows


def _measurements(
    page: Paper, plan: Plan, rows: Sequence[tuple[str, ...]], predictions: bool, high: float
) -> None:
    """The table of other measurements; predictions stand on grey, so that they are not taken for boxes to fill in."""
    names = [page.known(model.name) for model, _ in plan.models] if predictions else []
    shown = 2 + len(names)
    each = (30.0, 30.0, 26.0, 23.5)[len(names) - 1] if names else 0.0
    fixed = [44.0, 14.0, *([each] * len(names))]
    yours = page.epw - sum(fixed)
    widths = [*fixed, *(yours * share for share in (0.3, 0.4, 0.3))]
    heads = ("also measure", "+/-", *names, "clock", "reading", "value")
    page.row([page.fitting(text, width - 1.8, bold=len(names) < 4) for text, width in zip(heads, widths, strict=True)],
             widths, _HEAD_MM, bold=len(names) < 4)  # fmt: skip
    for cells in rows:
        fitted = [page.fitting(text, width - 1.8) for text, width in zip(cells[:shown], widths, strict=False)]
        page.row((*fitted, "", "", ""), widths, high, boxed=True, shaded=range(2, shown))


def _notes(plan: Plan, quantities: DayQuantities, predictions: bool, with_reasons: bool) -> list[str]:
    """What stands below the boxes."""
    found = []
    if predictions:
        told = "After ';': length of a vertical stick's shadow over the stick's height. "
        free = numbers_words(free_numbers(plan))
        times = [one for one in quantities.rows if one.kind in WITHOUT_VALUE]
        if any(math.isfinite(seen.value) for one in times for seen in one.foreseen.values()):
            told += "Rise and set under a model: as the score has them, seconds from the almanac's above. "
        told += f"Predicted at {free}; the score gives free numbers their best values. " if free else ""
        reasons = sorted(
            {
                f"{name}: {seen.why}"
                for one in quantities.rows
                for name, seen in one.foreseen.items()
                if with_reasons and seen.why
            }
        )
        found.append(told + " ".join(f"{reason}." for reason in reasons))
    found.append(INTO_FILE)
    return found

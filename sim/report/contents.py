"""What stands in the report of a scored outing, section by section."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from ...render.style import FAINT, model_styles
from ..compare import plainly
from ..compare import report as text
from ..compare.scores import Scores
from ..compare.words import odds_words, times_words
from ..outing import Shot
from ..photo.pairing import NOT_RIGID
from ..safety import CAUTIONS, HEADING
from ..telling import day_words, moment_words, nobody_took
from . import facts
from .curves import turn_curves
from .document import (
    Block,
    Cautions,
    Document,
    Heading,
    Picture,
    Pictures,
    Points,
    Section,
    Table,
    Verdict,
    Words,
)
from .pictures import (
    ReadPhoto,
    curve_pictures,
    photo_pictures,
    read_photo,
    residual_pictures,
    turn_pictures,
)
from .space import space_pictures
from .words import CAVEATS, METHOD

MOST_PHOTOS = 12
MOST_DRIVERS = 12
_MATCHED = 0.5  # probability from which on two spots are shown as one


def _said(lines: Sequence[str]) -> list[str]:
    """Lines of the command line's text: without their indents, plus-minus, minus and degrees as signs."""
    signs = (
        (r"\+-", "±"),
        (r"(?<=\d) deg\b|(?<=\d)(?= [NS]\b)", "\N{DEGREE SIGN}"),
        (r"(?<![\w.-])-(?=\d)", "\N{MINUS SIGN}"),
    )
    said = []
    for line in lines:
        for ours, sign in signs:
            line = re.sub(ours, sign, line)
        said.append(line.strip())
    return said


Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Source:
    """Where an outing comes from and what the person wants said.

    Attributes
    ----------
    outing : Path
    photos : sequence of Path
        One per shot.
    exact_site : bool
        Without it the site is rounded to 0.1 degree wherever it is told.
    title, notes : str and sequence of str
        The person's own words.
    made : datetime
        When, UTC.
    """

    outing: Path
    photos: Sequence[Path]
    exact_site: bool
    title: str
    notes: Sequence[str]
    made: dt.datetime


def contents(
    scores: Scores, source: Source, progress: Progress = lambda done, of, words: None
) -> tuple[Document, list[str]]:
    """The document, and a line for every photo that could not be shown."""
    shots = scores.outing.shots
    shown = _chosen(len(shots))
    photos: dict[int, ReadPhoto] = {}
    for done, index in enumerate(shown):
        progress(done, len(shown) + 2, "reading the photos again")
        photos[index] = read_photo(source.photos[index], shots[index])
    problems = [photo.problem for photo in photos.values() if photo.problem]
    result = scores.to_json()
    if not source.exact_site:
        result = facts.coarse(result, scores.outing.observables)
    progress(len(shown), len(shown) + 2, "drawing")
    sections = [
        _verdict(scores, result),
        _photos(photos, len(shots)),
        _turn(scores, result, [photos[i] for i in (0, len(shots) - 1)] if len(shots) > 1 else []),
        _latitude(scores, result, source.exact_site),
        _space(scores, source.exact_site),
        _scores(scores, result),
        _reasons(result),
        _residuals(scores),
        Section(
            "method",
            "How it was worked out",
            [Points(METHOD, True), Heading("What to keep in mind"), Points(CAVEATS)],
        ),
        Section("cautions", HEADING, [Cautions(CAUTIONS)]),
        _data(scores, source),
    ]
    progress(len(shown) + 1, len(shown) + 2, "putting it together")
    return Document(_title(shots, source), _lead(scores, source), [s for s in sections if s.blocks]), problems


def _chosen(count: int) -> list[int]:
    """Numbers of the photos that are shown: all, or some spread evenly with the first and the last."""
    if count <= MOST_PHOTOS:
        return list(range(count))
    return [int(k) for k in np.round(np.linspace(0, count - 1, MOST_PHOTOS))]


def _title(shots: Sequence[Shot], source: Source) -> str:
    if source.title:
        return source.title
    days = [day_words(day) for day in sorted({s.time_utc[:10] for s in shots if s.time_utc})]
    when = f" of {days[0]}" + (f" to {days[-1]}" if len(days) > 1 else "") if days else ""
    return f"What the Sun's face tells: the photos{when}" if shots else "What was measured of the Sun"


def _lead(scores: Scores, source: Source) -> list[str]:
    made = source.made.strftime("%Y-%m-%d %H:%M UTC")
    drawn = nobody_took(scores.outing.shots)
    return [
        *source.notes,
        *(["Invented: the photos were drawn by a program, nobody took them."] if drawn else []),
        f"Taken at {facts.site_words(scores.data.site, exact=source.exact_site)}.",
        f"Made by whichsun {version('whichsun')} from {source.outing.name} on {made}.",
    ]


def _colours(scores: Scores) -> dict[str, str]:
    styles = model_styles([score.model for score in scores.models])
    return {name: style.colour for name, style in styles.items()}


def _verdict(scores: Scores, result: dict[str, Any]) -> Section:
    verdict = result["verdict"]
    colour = _colours(scores).get(verdict["model"] or "", FAINT)
    blocks: list[Block] = [Verdict(verdict["words"], colour)]
    blocks += [Words(line) for line in _said(text.verdict_lines(result)[1:])]
    blocks += [Words(line) for line in plainly.meaning_lines(result)]
    return Section("verdict", "The verdict", blocks)


def _photos(photos: dict[int, ReadPhoto], count: int) -> Section:
    blocks: list[Block] = []
    if len(photos) < count:
        blocks.append(
            Words(f"{len(photos)} of {count} photos are shown; all {count} were measured and scored.")
        )
    for index, photo in photos.items():
        if photo.pixels is None:
            blocks.append(
                Words(f"Photo {index + 1} cannot be shown: {photo.problem}. It was scored all the same.")
            )
            continue
        caption = f"Photo {index + 1}: {photo.shot.file}, {moment_words(photo.shot.time_utc)}"
        blocks.append(Pictures(photo_pictures(photo, index + 1, caption)))
    return Section("photos", "The photos", blocks)


def _turn(scores: Scores, result: dict[str, Any], ends: Sequence[ReadPhoto]) -> Section:
    turn = result["turn"]
    if not turn["shot_a"]:
        return Section("turn", "", [])
    blocks: list[Block] = [Words(_said(text.latitude_lines(result))[0])]
    pictures: list[Picture] = []
    numbers = _matches(result, turn["shot_a"], turn["shot_b"])
    if ends and numbers[0]:
        pictures = turn_pictures(ends, numbers, turn["turn_deg"], turn["sigma_deg"])
        missing = [photo.shot.file for photo in ends if photo.pixels is None]
        if missing:
            blocks.append(Words(f"The turn cannot be drawn without {' and '.join(missing)}."))
    if pictures:
        leader = plainly.leading(result)
        blocks.append(Pictures(pictures))
        blocks.append(
            Words(
                f"Spots with one number are the same spot, as {leader} pairs them. Dashed line: where the line of the "
                "first photo was. The turn is that of the whole pattern about the disc's centre, so a single spot may "
                "lie beside the line: the Sun's own rotation moves each by another amount.",
                True,
            )
        )
        apart = left_over(scores.outing.shots, numbers, turn["turn_deg"])
        if apart is not None and apart >= NOT_RIGID:
            blocks.append(
                Words(
                    f"Turned by that angle, the spots of the first photo still lie {apart:.2f} disc radii (rms) from "
                    "those of the last: they did not turn as one, and a single angle means little."
                )
            )
    return Section("turn", "How far the disc turned", blocks)


def left_over(
    shots: Sequence[Shot], numbers: tuple[dict[int, str], dict[int, str]], turn_deg: float | None
) -> float | None:
    """Root mean square distance, limb radii, of matched spots after the turn; None without pairs or a turn."""
    first, last = (
        {name: complex(spot.x, spot.y) for spot in shot.spots if (name := named.get(spot.id))}
        for shot, named in zip((shots[0], shots[-1]), numbers, strict=True)
    )
    if turn_deg is None or not first:
        return None
    turn = np.exp(1j * np.deg2rad(turn_deg))
    return float(np.sqrt(np.mean([abs(last[name] - turn * place) ** 2 for name, place in first.items()])))


def _matches(result: dict[str, Any], first: str, last: str) -> tuple[dict[int, str], dict[int, str]]:
    """Spots that the leading model takes for one, each under its number in the first photo."""
    return paired(plainly.mean_row(result, plainly.leading(result))["matches"], first, last)


def paired(matches: Sequence[dict[str, Any]], first: str, last: str) -> tuple[dict[int, str], dict[int, str]]:
    """Names of the spots in the first and the last photo; a spot may be followed through the photos between."""
    came_from: dict[tuple[str, int], tuple[str, int]] = {
        (match["shot_b"], match["id_b"]): (match["shot_a"], match["id_a"])
        for match in matches
        if match["probability"] > _MATCHED
    }
    before, now = {}, {}
    for shot, number in came_from:
        start = (shot, number)
        while start in came_from:
            start = came_from[start]
        if shot == last and start[0] == first:
            before[start[1]] = now[number] = str(start[1])
    return before, now


def _latitude(scores: Scores, result: dict[str, Any], exact: bool) -> Section:
    blocks: list[Block] = [Words(line) for line in _said(text.latitude_lines(result)[1:])]
    curves = turn_curves(scores, step_deg=None if exact else facts.SITE_STEP_DEG)
    if curves is not None:
        blocks.append(Pictures(curve_pictures(curves), 1))
    return Section("latitude", "Latitude and turn", blocks)


def _space(scores: Scores, exact: bool) -> Section:
    pictures, problem = space_pictures(scores, None if exact else facts.SITE_STEP_DEG)
    blocks: list[Block] = [Words(problem)] if problem else []
    if pictures:
        blocks.append(Pictures(pictures, 1))
    return Section("space", "The same moments in space", blocks)


def _scores(scores: Scores, result: dict[str, Any]) -> Section:
    colours = _colours(scores)
    rows, swatches, model = [], [], ""
    for name, variant, *rest in text.model_rows(result):
        model = name or model
        rows.append([f"{name} {variant}".strip() if name else f"as {variant}", *_said(rest)])
        swatches.append(colours.get(model))
    columns = ("geometry", *text.COLUMNS[2:])
    blocks: list[Block] = [
        Table(columns, rows, "Every geometry, and every way in which it may be meant", swatches),
        Words(text.LEGEND, True),
        Points(_said([*text.parameter_lines(result), *text.nearest_lines(result)])),
    ]
    known = [(row["model"], row["summary"]) for row in result["models"] if row["variant"] is None]
    blocks.insert(0, Points([f"{model}: {summary}" for model, summary in known]))
    if quantities := _filled(text.quantity_rows(result)):
        blocks.append(Table(text.QUANTITY_COLUMNS, quantities, "Other measurements, and what each foresees"))
    if result["needed"]:
        title = "What height a nearby Sun would need"
        blocks.append(Table(plainly.NEEDED_COLUMNS, plainly.needed_table(result), title))
        blocks.append(Words(plainly.needed_legend(result), True))
    return Section("scores", "The scores", blocks)


def _filled(rows: Sequence[list[str]]) -> list[list[str]]:
    """Rows whose first cell, where empty, repeats the one above: on a narrow screen each stands alone."""
    filled, name = [], ""
    for first, *rest in rows:
        name = first or name
        filled.append([name, *rest])
    return filled


def _reasons(result: dict[str, Any]) -> Section:
    blocks: list[Block] = [Points(lines) for lines in (plainly.driver_lines(result),) if lines]
    rows = _driver_rows(result)
    if rows:
        columns = ("left out", "ln odds", "odds", "change")
        blocks.append(Table(columns, rows, "The odds without one measurement"))
    safe = plainly.safety_lines(result)
    if safe:
        blocks += [Heading("How safe it is"), Points(safe)]
    if result["robustness"]:
        table = plainly.robust_table(result["robustness"])
        blocks.append(Table(plainly.ROBUST_COLUMNS, table, "With other assumptions"))
        blocks.append(Words(plainly.ROBUST_LEGEND, True))
    return Section("drivers", "What drives the verdict", blocks)


def _driver_rows(result: dict[str, Any]) -> list[list[str]]:
    """The strongest drivers; photos without which nothing is left to compare stay away."""
    told = [
        one
        for one in result["drivers"]
        if not (
            one["kind"] == "shot" and len({d["shot"] for d in result["drivers"] if d["kind"] == "shot"}) <= 2
        )
    ]
    told.sort(key=lambda one: -abs(one["contribution"]))
    rows = []
    for one in told[:MOST_DRIVERS]:
        without = one["ln_bayes_factor_without"]
        leads = one["model"] if without >= 0 else one["against"]
        way = "smaller" if one["contribution"] > 0 else "larger"
        change = f"{times_words(one['contribution'])} {way}"
        rows.append([one["name"], f"{without:.1f}", f"{odds_words(without)} for {leads}", change])
    return rows


def _residuals(scores: Scores) -> Section:
    names = [shot.file for shot in scores.outing.shots]
    spotted = any(shot.spots for shot in scores.outing.shots)
    pictures, key = residual_pictures(scores.panels() if spotted else [], names)
    if not pictures:
        return Section("residuals", "", [])
    words = "Every geometry at its best: where the spots were, and where it would put them."
    return Section(
        "residuals",
        "What each geometry leaves over",
        [Words(words), Pictures(pictures, min(3, len(pictures))), Words(key, True)],
    )


def _data(scores: Scores, source: Source) -> Section:
    outing = scores.outing
    named = [(shot.file, path) for shot, path in zip(outing.shots, source.photos, strict=True)]
    blocks: list[Block] = []
    if outing.shots:
        blocks += [facts.photo_table(outing.shots), facts.spot_table(outing.shots)]
    if outing.observables:
        blocks.append(facts.quantity_table(outing.observables, exact=source.exact_site))
    options = scores.options
    held = ", ".join(f"{name} = {value}" for name, value in options.given.items()) or "none"
    maps = ", ".join(options.maps) or "each model's own"
    blocks.append(
        Words(
            f"Rotation of the spots on the Sun: {options.law}. Seed of the random draws: {options.seed}. "
            f"Parameters held: {held}. Maps: {maps}."
        )
    )
    if not source.exact_site:
        blocks.append(
            Words(
                "The site is told to 0.1 degree only; the scores were worked out with the site in the outing file. "
                "Pictures carry no EXIF and no position.",
            )
        )
    blocks += [facts.version_table(), facts.checksum_table(source.outing, named)]
    return Section("data", "Data and versions", blocks)

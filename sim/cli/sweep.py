"""The command `sweep`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import check_free, print_table, progress_on_stderr, report, write_whole
from .scoring import Scheduler

NAME = "sweep"


def run(
    date: Annotated[
        list[str],
        typer.Option(
            metavar="YYYY-MM-DD",
            help="Local mean solar day at the longitude; may be repeated (--map: the first).",
        ),
    ],
    model: Annotated[
        list[str] | None,
        typer.Option(help="A model, or path/to/file.py:ClassName; may be repeated. Default: every model."),
    ] = None,
    latitudes: Annotated[str, typer.Option(metavar="FROM:TO:STEP", help="Degrees north.")] = "-66:66:2",
    longitude: Annotated[float, typer.Option(help="Degrees east.")] = 0.0,
    height_m: Annotated[float, typer.Option(help="Height of the sites.")] = 0.0,
    event: Annotated[
        str, typer.Option(help="rise-set, or hours: local solar noon -/+ --hours.")
    ] = "rise-set",
    hours: Annotated[float, typer.Option(help="Hours before and after noon for --event hours.")] = 5.0,
    horizon: Annotated[
        str, typer.Option(help="visible: centre at -50'; geometric: centre at 0.")
    ] = "visible",
    spot: Annotated[
        list[str] | None,
        typer.Option(metavar="LAT,CARRINGTON_LON", help="A spot on the Sun, degrees; may be repeated."),
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="PARAM=VALUE", help="For every model that has it; may be repeated."),
    ] = None,
    rotation: Annotated[str | None, typer.Option(metavar="LAW", help="Rotation law, or rigid.")] = None,
    measurement: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LAT,TURN,SIGMA[,DATE]",
            help="Your own turn, degrees, anticlockwise +, on the figure; may be repeated. The date is written "
            "beside it where there are several.",
        ),
    ] = None,
    figure: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the curves (.png, .svg, .pdf).")
    ] = None,
    year_map: Annotated[
        Path | None,
        typer.Option(
            "--map",
            metavar="FILE",
            help="Draw the latitudes and dates of the year that tell two models apart (.png, .svg, .pdf): the two "
            "of --model, or distant-sphere and nearby-plane.",
        ),
    ] = None,
    sigma: Annotated[float, typer.Option(help="Uncertainty of a measured turn for --map, degrees.")] = 2.0,
    width: Annotated[int, typer.Option(help="Width of a PNG in pixels.")] = 1200,
    height: Annotated[int, typer.Option(help="Height of the figure in pixels, where it is a PNG.")] = 900,
    scheduler: Scheduler = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing figure.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Show how far the disc turns at every latitude under each model, as a table or a figure."""

    def work() -> dict[str, Any]:
        from ...models.registry import get_model, model_names
        from ..rotation import DEFAULT_LAW, rotation_law
        from ..sweeping import sweep, sweep_times
        from ..telling import day_words, longitude_words
        from .parsing import range_of, settings_of, spots_of

        geometries = [get_model(name) for name in (model or model_names())]
        given = settings_of(setting or [], geometries)
        law = rotation_law(rotation or DEFAULT_LAW)
        spots = spots_of(spot or [])
        points = [_measurement(text) for text in measurement or []]
        _check_pictures({"figure": figure, "map": year_map}, width, height)
        dates = _dates(date, drawn=figure is not None)
        check_free([path for path in (figure, year_map) if path is not None], overwrite)
        options: dict[str, Any] = {
            "longitude_deg": longitude,
            "height_m": height_m,
            "event": event,
            "hours": hours,
            "horizon": horizon,
        }
        asked = range_of("latitudes", latitudes)
        by_date: dict[str, dict[str, Any]] = {}
        for one in dates:
            times = sweep_times(one, asked, **options)
            by_date[one] = {
                geometry.name: sweep(geometry, times, own, spots_deg=spots, law=law, scheduler=scheduler)
                for geometry, own in zip(geometries, given, strict=True)
            }
        rows = by_date[dates[0]]
        result: dict[str, Any] = {
            "model": geometries[0].name,
            "date": dates[0],
            "event": event,
            "longitude_deg": longitude,
            "height_m": height_m,
            "rotation": law.name,
            "rows": rows[geometries[0].name],
            "models": rows,
            "dates": [{"date": one, "models": found} for one, found in by_date.items()],
            "figure": None,
            "map": None,
        }
        if year_map is not None:
            pair = list(zip(geometries, given, strict=True))
            if not model:
                pair = [one for one in pair if one[0].name in ("distant-sphere", "nearby-plane")]
            with progress_on_stderr("map of the year", quiet=as_json) as progress:
                result["map"] = _map(year_map, pair, result, law, sigma, options, width, progress)
        if figure is not None:
            between = "from sunrise to sunset" if event == "rise-set" else f"noon -/+ {hours:g} h"
            when = f"{day_words(dates[0])}, " if len(dates) == 1 else ""
            subtitle = f"{when}{between}, {longitude_words(longitude)}"
            subtitle = subtitle[0].upper() + subtitle[1:]
            write_whole(figure, _draw(figure, by_date, points, subtitle, width, height))
            result["figure"] = str(figure)
        return result

    report(NAME, work, as_json=as_json, show=_show)


def _dates(texts: list[str], *, drawn: bool) -> list[str]:
    """The dates as they were written, each an existing one and none twice."""
    from ...models.errors import InputError
    from ...render.curves import DATE_LINES
    from ..daylight import parse_date

    if len({parse_date(text) for text in texts}) < len(texts):
        raise InputError("date", "must not be given twice", ", ".join(texts))
    if drawn and len(texts) > len(DATE_LINES):
        rule = f"must be given at most {len(DATE_LINES)} times with --figure"
        raise InputError("date", rule, len(texts), "draw several figures")
    return texts


def _measurement(text: str) -> dict[str, Any]:
    from ...models.errors import InputError
    from ..daylight import parse_date
    from .parsing import numbers

    values, date = text, ""
    if text.count(",") == 3:
        values, _, date = text.rpartition(",")
    latitude, turn, sigma = numbers("measurement", values, (3,), "LAT,TURN,SIGMA[,DATE] in degrees")
    if not (-90 <= latitude <= 90 and -360 <= turn <= 360 and sigma >= 0):
        rule = "must have a latitude between -90 and 90, a turn between -360 and 360 and a sigma of 0 or more"
        raise InputError("measurement", rule, text)
    point: dict[str, Any] = {"latitude_deg": latitude, "turn_deg": turn, "sigma_deg": sigma}
    if text.count(",") == 3:
        point["date"] = parse_date(date).isoformat()
    return point


def _check_pictures(pictures: dict[str, Path | None], width: int, height: int) -> None:
    from ...models.errors import InputError
    from ...render.figure_file import check_figure_name

    named = {name: path for name, path in pictures.items() if path is not None}
    for name, path in named.items():
        check_figure_name(name, path)
    if len({path.resolve() for path in named.values()}) < len(named):
        raise InputError("map", "must be another file than the figure", str(pictures["map"]))
    for name, value in (("width", width), ("height", height)) if named else ():
        if not 200 <= value <= 10000:
            raise InputError(name, "must be between 200 and 10000", value)


def _draw(
    path: Path,
    by_date: dict[str, dict[str, Any]],
    points: list[dict[str, Any]],
    subtitle: str,
    width: int,
    height: int,
) -> bytes:
    from ...render.curves import draw_sweep, draw_sweep_dates
    from ...render.figure_file import figure_bytes
    from ...render.style import save_png

    if len(by_date) == 1:
        artists = draw_sweep(next(iter(by_date.values())), points, subtitle=subtitle)
    else:
        artists = draw_sweep_dates(by_date, points, subtitle=subtitle)
    picture = artists[0].get_figure(root=True)
    assert picture is not None  # the artists were just drawn on one
    if path.suffix.lower() == ".png":
        return save_png(picture, width, height)
    return figure_bytes(picture, path)


def _map(
    path: Path,
    pair: list[Any],
    result: dict[str, Any],
    law: Any,
    sigma: float,
    options: dict[str, Any],
    width: int,
    progress: Any,
) -> dict[str, Any]:
    """Draw the map of the year; returns its numbers."""
    from ...render.figure_file import figure_bytes
    from ...render.separation_map import draw_separation_map
    from ..daylight import parse_date
    from ..separating import separation_map
    from ..telling import longitude_words

    year = parse_date(result["date"]).year
    latitudes = sorted(row["latitude_deg"] for row in result["rows"])
    found = separation_map(pair, year, latitudes, law=law, sigma_deg=sigma, progress=progress, **options)
    between = "sunrise to sunset" if options["event"] == "rise-set" else f"noon -/+ {options['hours']:g} h"
    where = longitude_words(options["longitude_deg"])
    words = f"Turn of the spot pattern from {between}, {year}, {where}. Sigma: {sigma:g}\N{DEGREE SIGN}. "
    words += "Free numbers of the models as given, not fitted."
    picture = draw_separation_map(found, subtitle=words)[0].get_figure(root=True)
    assert picture is not None  # the artists were just drawn on one
    write_whole(path, figure_bytes(picture, path, width))
    return {
        "file": str(path),
        "models": list(found.models),
        "sigma_deg": sigma,
        "latitudes_deg": latitudes,
        "dates": [date.isoformat() for date in found.dates],
        "separation_sigma": found.separation.tolist(),
        "scatter": found.scatter.tolist(),
    }


def _show(result: dict[str, Any]) -> None:
    from ..telling import longitude_words

    def angle(value: float | None, digits: int = 2) -> str:
        return "-" if value is None or value != value else f"{value:.{digits}f}"

    for told in result["dates"]:
        names = list(told["models"])
        columns = ["latitude", "from UTC", "to UTC", *names, "seen"]
        rows = []
        for i, row in enumerate(told["models"][names[0]]):
            times = [(row[key] or "")[5:16].replace("T", " ") or "-" for key in ("from_utc", "to_utc")]
            turns = [angle(told["models"][name][i]["pattern_turn_deg"]) for name in names]
            rows.append([f"{row['latitude_deg']:g}", *times, *turns, angle(row["pattern_visible_fraction"])])
        # "seen": share of the face that stays visible, by the first model.
        title = (
            f"Turn of the spot pattern, degrees, anticlockwise +; {told['date']}, "
            f"{longitude_words(result['longitude_deg'])}"
        )
        print_table(columns, rows, title=title)
    if result["figure"]:
        print(f"Figure: {result['figure']}")
    if result["map"]:
        print(f"Map of the year: {result['map']['file']}")

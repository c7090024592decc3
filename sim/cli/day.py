"""The command `day`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .plumbing import check_free, print_table, progress_on_stderr, report, write_whole
from .side_by_side import Models, Settings, Spots, models_with_settings, site_numbers

if TYPE_CHECKING:
    from ..day import Day, DayCourse

NAME = "day"

_SHEET_PICTURES, _FILM_FRAMES = 7, 180


def run(
    site: Annotated[str, typer.Option(metavar="LAT,LON[,HEIGHT_M]", help="Degrees north and east, metres.")],
    date: Annotated[str, typer.Option(metavar="YYYY-MM-DD", help="Local mean solar day.")],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="A sheet of pictures (.png, .svg, .pdf) or a film (.gif; .mp4 and .webm need ffmpeg).",
        ),
    ] = None,
    tracks: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Tracks of the spots, a disc per model (.png, .svg, .pdf)."),
    ] = None,
    curves: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="Altitude, azimuth, diameter and rate of turn over the day (.png, .svg, .pdf).",
        ),
    ] = None,
    model: Models = None,
    setting: Settings = None,
    spot: Spots = None,
    rotation: Annotated[str | None, typer.Option(metavar="LAW", help="Rotation law, or rigid.")] = None,
    mount: Annotated[
        str,
        typer.Option(
            help="level-tripod; or equatorial: an axis to the north, tilted by the site's latitude."
        ),
    ] = "level-tripod",
    surface: Annotated[str, typer.Option(help="What the Sun shows: plain, grid or stripes.")] = "plain",
    count: Annotated[
        int | None,
        typer.Option(
            help=f"Pictures on the sheet (default {_SHEET_PICTURES}) or frames of the film ({_FILM_FRAMES})."
        ),
    ] = None,
    size: Annotated[int, typer.Option(help="Side of a disc's picture in the film, pixels.")] = 512,
    width: Annotated[int, typer.Option(help="Width of a PNG, pixels.")] = 1600,
    fps: Annotated[float, typer.Option(help="Frames of the film a second.")] = 20.0,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace existing files.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Draw the Sun's disc from sunrise to sunset under several models: pictures, a film, tracks, curves."""

    def work() -> dict[str, Any]:
        from ...models.errors import InputError, UnknownNameError
        from ...render.figure_file import FIGURE_KINDS, check_figure_name, figure_bytes
        from ...render.surfaces import SURFACES
        from ..day import day_courses, day_instants
        from ..daylight import parse_date
        from ..film_file import FILM_KINDS, check_film
        from ..rotation import DEFAULT_LAW, rotation_law
        from .parsing import site_of, spots_of

        figures = {"tracks": tracks, "curves": curves}
        files = [path for path in (output, *figures.values()) if path is not None]
        if not files:
            raise InputError("output", "must be given, or --tracks or --curves", None, "write -o day.png")
        if len({path.resolve() for path in files}) < len(files):
            raise InputError("output", "must not name a file twice", " ".join(map(str, files)))
        for name, path in figures.items():
            if path is not None:
                check_figure_name(name, path)
        is_film = output is not None and output.suffix.lower() in FILM_KINDS
        if output is not None and is_film:
            check_film(output)
        elif output is not None and output.suffix.lower() not in FIGURE_KINDS:
            known = ", ".join((*FIGURE_KINDS, *FILM_KINDS))
            raise InputError("output", f"must be a name that ends in one of {known}", str(output))
        check_free(files, overwrite)
        steps = count or (_FILM_FRAMES if is_film else _SHEET_PICTURES)
        for name, value, low, high in (
            ("count", steps, 2, 1000 if is_film else 12),
            ("size", size, 100, 1080),
            ("width", width, 400, 8000),
            ("fps", fps, 1, 50),
        ):
            if not low <= value <= high:
                raise InputError(name, f"must be between {low} and {high}", value)
        if surface not in SURFACES:
            raise UnknownNameError("surface", surface, SURFACES)
        shown = models_with_settings(model, setting)
        place = site_of(site)
        law = rotation_law(rotation or DEFAULT_LAW)

        def day_of(pictures: int, horizon: str) -> tuple[Day, range]:
            """The day and its pictures' numbers; finer than the pictures, so that turns can be followed."""
            finer = -(-360 // (pictures - 1))
            last = finer * (pictures - 1)
            day = day_courses(
                shown,
                parse_date(date),
                place,
                day_instants(date, place, last + 1, horizon),
                law=law,
                spots_deg=spots_of(spot or []),
                mount=mount,
            )
            return day, range(0, last + 1, finer)

        with progress_on_stderr("day", quiet=as_json) as progress:
            # The sheet starts and ends with the whole disc up.
            day, indices = day_of(steps, "geometric" if output is not None and not is_film else "visible")
            drawn: dict[Path, bytes] = {}
            if tracks is not None:
                from ..day_tracks import day_tracks

                drawn[tracks] = figure_bytes(day_tracks(day), tracks, width)
            if curves is not None:
                from ..day_curves import day_curves_figure

                drawn[curves] = figure_bytes(day_curves_figure(day, law), curves, width)
            if output is not None and is_film:
                _write_film(output, day, indices, size, surface, fps, progress)
            elif output is not None:
                from ..day_sheet import day_sheet

                figure = day_sheet(day, indices, surface=surface, progress=progress)
                drawn[output] = figure_bytes(figure, output, width)
            for path, content in drawn.items():
                write_whole(path, content)
        times = day.instants.iso()
        return {
            "site": site_numbers(place),
            "date": date,
            "mount": mount,
            "rotation": law.name,
            "models": [
                {"model": course.model, "set": own, **_numbers(course, indices, times)}
                for course, (_, own) in zip(day.courses, shown, strict=True)
            ],
            "files": [str(path) for path in files],
        }

    report(NAME, work, as_json=as_json, show=_show)


def _write_film(
    path: Path, day: Day, indices: range, size: int, surface: str, fps: float, progress: Any
) -> None:
    from ..day_film import FilmOfDay
    from ..film_file import write_film

    film = FilmOfDay(day, size, surface)

    def told() -> Any:
        for done, frame in enumerate(film.frames(indices)):
            progress(done, len(indices), "drawing the film")
            yield frame

    write_film(path, told(), fps, film.colours(indices))


def _numbers(course: DayCourse, indices: range, times: list[str]) -> dict[str, Any]:
    """What stands on the pictures, degrees."""
    import numpy as np

    columns = {
        "azimuth_deg": course.azimuth_rad,
        "altitude_deg": course.altitude_rad,
        "apparent_altitude_deg": course.apparent_altitude_rad,
        "roll_deg": course.roll_rad,
        "turned_deg": course.turn_rad,
    }
    rows = []
    for i in indices:
        row: dict[str, Any] = {"at_utc": times[i]}
        row.update({name: float(np.rad2deg(values[i])) for name, values in columns.items()})
        row["semidiameter_arcmin"] = float(np.rad2deg(course.semidiameter_rad[i])) * 60
        row["scatter"] = float(course.scatter[i])
        places = zip(course.x[i], course.y[i], course.visible[i], strict=True)
        row["spots"] = [{"x": float(x), "y": float(y), "visible": bool(seen)} for x, y, seen in places]
        rows.append(row)
    spots = [{"latitude_deg": s.latitude_deg, "longitude_deg": s.longitude_deg} for s in course.surface.spots]
    return {"spots": spots, "instants": rows}


def _show(result: dict[str, Any]) -> None:
    from ...models.place import parse_utc
    from ..turns import turn_in_words

    def angle(value: float) -> str:
        return f"{value:.1f}" if value == value else "-"

    rows = []
    for told in result["models"]:
        instants = told["instants"]
        for row in instants[:: max(1, len(instants) // 6)]:
            rows.append(
                (
                    told["model"],
                    f"{parse_utc(row['at_utc']):%m-%d %H:%M}",
                    angle(row["azimuth_deg"]),
                    angle(row["apparent_altitude_deg"]),
                    angle(2 * row["semidiameter_arcmin"]),
                    turn_in_words(row["turned_deg"]),
                    f"{row['scatter']:.2f}",
                )
            )
    columns = ("model", "UTC", "azimuth", "altitude", "diameter '", "pattern turned", "left over")
    title = f"{result['date']}, degrees, diameter in arcmin; what a turn leaves over in disc radii; {result['mount']}"
    print_table(columns, rows, title=title)
    for name in result["files"]:
        print(name)

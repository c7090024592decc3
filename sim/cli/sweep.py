"""The command `sweep`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import check_free, print_table, report, write_whole

NAME = "sweep"


def run(
    date: Annotated[str, typer.Option(metavar="YYYY-MM-DD", help="Local mean solar day at the longitude.")],
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
        str | None,
        typer.Option(
            metavar="LAT,TURN,SIGMA", help="Your own turn, degrees, anticlockwise +, on the figure."
        ),
    ] = None,
    figure: Annotated[Path | None, typer.Option(metavar="PNG", help="Draw the curves.")] = None,
    width: Annotated[int, typer.Option(help="Width of the figure in pixels.")] = 1200,
    height: Annotated[int, typer.Option(help="Height of the figure in pixels.")] = 900,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Dask scheduler to work on, such as tcp://127.0.0.1:8786."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing figure.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Show how far the disc turns at every latitude under each model, as a table or a figure."""

    def work() -> dict[str, Any]:
        from ...models.registry import get_model, model_names
        from ..rotation import DEFAULT_LAW, rotation_law
        from ..sweeping import sweep, sweep_times
        from .parsing import range_of, settings_of, spots_of

        geometries = [get_model(name) for name in (model or model_names())]
        given = settings_of(setting or [], geometries)
        law = rotation_law(rotation or DEFAULT_LAW)
        spots = spots_of(spot or [])
        point = _measurement(measurement)
        if figure is not None:
            check_free([figure], overwrite)
            _check_picture(figure, width, height)
        times = sweep_times(
            date,
            range_of("latitudes", latitudes),
            longitude_deg=longitude,
            height_m=height_m,
            event=event,
            hours=hours,
            horizon=horizon,
        )
        rows = {
            geometry.name: sweep(geometry, times, own, spots_deg=spots, law=law, scheduler=scheduler)
            for geometry, own in zip(geometries, given, strict=True)
        }
        result: dict[str, Any] = {
            "model": geometries[0].name,
            "date": date,
            "event": event,
            "longitude_deg": longitude,
            "height_m": height_m,
            "rotation": law.name,
            "rows": rows[geometries[0].name],
            "models": rows,
            "figure": None,
        }
        if figure is not None:
            between = "from sunrise to sunset" if event == "rise-set" else f"noon -/+ {hours:g} h"
            subtitle = f"{date}, {between}, longitude {longitude:g} E"
            write_whole(figure, _draw(rows, point, subtitle, width, height))
            result["figure"] = str(figure)
        return result

    report(NAME, work, as_json=as_json, show=_show)


def _measurement(text: str | None) -> dict[str, float] | None:
    from ...models.errors import InputError
    from .parsing import numbers

    if text is None:
        return None
    latitude, turn, sigma = numbers("measurement", text, (3,), "LAT,TURN,SIGMA in degrees")
    if not (-90 <= latitude <= 90 and -360 <= turn <= 360 and sigma >= 0):
        rule = "must have a latitude between -90 and 90, a turn between -360 and 360 and a sigma of 0 or more"
        raise InputError("measurement", rule, text)
    return {"latitude_deg": latitude, "turn_deg": turn, "sigma_deg": sigma}


def _check_picture(figure: Path, width: int, height: int) -> None:
    from ...models.errors import InputError

    if figure.suffix.lower() != ".png":
        raise InputError("figure", "must be a name that ends in .png", str(figure))
    for name, value in (("width", width), ("height", height)):
        if not 200 <= value <= 10000:
            raise InputError(name, "must be between 200 and 10000", value)


def _draw(
    rows: dict[str, Any], point: dict[str, float] | None, subtitle: str, width: int, height: int
) -> bytes:
    from ...render.curves import draw_sweep
    from ...render.style import save_png

    artists = draw_sweep(rows, point, subtitle=subtitle)
    picture = artists[0].get_figure(root=True)
    assert picture is not None  # the artists were just drawn on one
    return save_png(picture, width, height)


def _show(result: dict[str, Any]) -> None:
    def angle(value: float | None, digits: int = 2) -> str:
        return "-" if value is None or value != value else f"{value:.{digits}f}"

    names = list(result["models"])
    columns = ["latitude", "from UTC", "to UTC", *names, "seen"]
    rows = []
    for i, row in enumerate(result["rows"]):
        times = [(row[key] or "")[5:16].replace("T", " ") or "-" for key in ("from_utc", "to_utc")]
        turns = [angle(result["models"][name][i]["pattern_turn_deg"]) for name in names]
        rows.append([f"{row['latitude_deg']:g}", *times, *turns, angle(row["pattern_visible_fraction"])])
    # "seen": share of the face that stays visible, by the first model.
    title = f"Turn of the spot pattern, degrees, anticlockwise +; {result['date']} at {result['longitude_deg']:g} E"
    print_table(columns, rows, title=title)
    if result["figure"]:
        print(f"Figure: {result['figure']}")

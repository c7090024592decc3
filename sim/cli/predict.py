"""The command `predict`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from .plumbing import print_table, report

NAME = "predict"


def run(
    model: Annotated[str, typer.Option(help="Name of a model, or path/to/file.py:ClassName.")],
    site: Annotated[str, typer.Option(metavar="LAT,LON[,HEIGHT_M]", help="Degrees north and east, metres.")],
    at: Annotated[list[str], typer.Option(metavar="UTC", help="ISO 8601 with Z or offset; may be repeated.")],
    spot: Annotated[
        list[str] | None,
        typer.Option(metavar="LAT,CARRINGTON_LON", help="A spot on the Sun, degrees; may be repeated."),
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="PARAM=VALUE", help="A parameter of the model; may be repeated."),
    ] = None,
    rotation: Annotated[str | None, typer.Option(metavar="LAW", help="Rotation law, or rigid.")] = None,
    pressure_hpa: Annotated[float, typer.Option(help="Air pressure for the apparent altitude.")] = 1010.0,
    temperature_c: Annotated[float, typer.Option(help="Air temperature for the apparent altitude.")] = 10.0,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Show where one model puts the Sun, its axis and its spots, and how far the disc turns."""

    def work() -> dict[str, Any]:
        from ...models.place import Instants
        from ...models.registry import get_model
        from ..predicting import predict
        from ..rotation import DEFAULT_LAW, rotation_law
        from .parsing import settings_of, site_of, spots_of

        geometry = get_model(model)
        given = settings_of(setting or [], [geometry])[0]
        law = rotation_law(rotation or DEFAULT_LAW)
        result = predict(
            geometry,
            Instants.from_utc(at),
            site_of(site),
            given,
            spots_deg=spots_of(spot or []),
            law=law,
            pressure_hpa=pressure_hpa,
            temperature_c=temperature_c,
        )
        return {"model": geometry.name, "set": given, "rotation": law.name, **result}

    report(NAME, work, as_json=as_json, show=_show)


def _show(result: dict[str, Any]) -> None:
    from ...models.place import parse_utc
    from ..turns import turn_in_words

    def angle(value: float | None, digits: int = 3) -> str:
        return "-" if value is None or value != value else f"{value:.{digits}f}"

    rows = [
        (
            f"{parse_utc(row['at_utc']):%m-%d %H:%M:%S}",
            angle(row["azimuth_deg"]),
            angle(row["altitude_deg"]),
            angle(row["apparent_altitude_deg"]),
            angle(row["semidiameter_arcmin"]),
            angle(row["north_vertex_angle_deg"], 2),
            angle(row["sub_observer_latitude_deg"], 2),
            angle(row["sub_observer_longitude_deg"], 2),
        )
        for row in result["instants"]
    ]
    columns = ("UTC", "azimuth", "altitude", "refracted", "radius '", "north V", "B0", "L0")
    print_table(columns, rows, title=f"{result['model']}: the Sun, degrees (radius in arcmin)")
    for k in range(len(result["instants"][0]["spots"])):
        spots = [(row["at_utc"], row["spots"][k]) for row in result["instants"]]
        rows = [
            (
                f"{parse_utc(time):%m-%d %H:%M:%S}",
                angle(one["x"], 4),
                angle(one["y"], 4),
                angle(one["vertex_angle_deg"], 2),
                angle(one["radius"], 4),
                {True: "yes", False: "hidden", None: "-"}[one["visible"]],
            )
            for time, one in spots
        ]
        print_table(
            ("UTC", "x", "y", "V", "radius", "visible"), rows, title=f"spot {k + 1}, disc radii, degrees"
        )
    turn = result["turn"]
    if turn is None:
        return
    print("Turn from the first to the last moment:")
    print(f"  Sun's axis       {turn_in_words(turn['axis_deg'], turn['unwrapped_axis_deg'])}")
    print(f"  celestial north  {turn_in_words(turn['celestial_north_deg'])}")
    share, scatter = turn["pattern_visible_fraction"], turn["pattern_scatter"]
    print(
        f"  spot pattern     {turn_in_words(turn['pattern_deg'])} ({angle(100 * share, 0)} % of the face stays "
        f"visible, scatter {angle(scatter)} disc radii)"
    )
    for k, value in enumerate(turn["spots_deg"]):
        print(f"  spot {k + 1:<12}{turn_in_words(value)}")

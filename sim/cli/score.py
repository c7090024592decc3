"""The command `score`."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Annotated, Any

import typer

from ...models.errors import WhichsunWarning
from .plumbing import print_table, print_wrapped, report
from .scoring import Charts, Drivers, Json, Models, Needed, Rotation, Seed, Settings, score

NAME = "score"


def run(
    outing: Annotated[Path, typer.Argument(help="Outing file that `measure` wrote.")],
    model: Models = None,
    setting: Settings = None,
    rotation: Rotation = None,
    chart: Charts = None,
    figure: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Draw what each model's best fit leaves over.")
    ] = None,
    site_figure: Annotated[
        Path | None,
        typer.Option(
            "--site-figure", metavar="PNG", help="Draw where on Earth the photos may have been taken."
        ),
    ] = None,
    drivers: Drivers = True,
    needed: Needed = False,
    seed: Seed = 1,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing figure.")] = False,
    as_json: Json = False,
) -> None:
    """Score every geometry against the spots of an outing and say what they favour."""

    def work() -> dict[str, Any]:
        import numpy as np

        from ..compare.data import data_of
        from ..compare.figure import residuals_png, site_png
        from ..compare.site_band import find_site_band
        from ..outing_file import read_outing
        from ..rotation import DEFAULT_LAW, rotation_law
        from .plumbing import check_free, write_whole

        check_free([path for path in (figure, site_figure) if path], overwrite)
        measured, band = read_outing(outing), None
        if site_figure:  # first: it may have to be refused
            law = rotation_law(rotation or DEFAULT_LAW).name
            band = find_site_band(data_of(measured), law, np.random.default_rng([seed, 21]))
        scores = score(
            measured,
            model=model,
            setting=setting,
            rotation=rotation,
            chart=chart,
            drivers=drivers,
            needed=needed,
            seed=seed,
            quiet=as_json,
        )
        result = {
            "outing": str(outing),
            **scores.to_json(),
            "figure": None,
            "site_figure": None,
            "site_band": None,
        }
        if figure and not scores.data.has_spots:
            text = "no figure: the outing has no two photos with spots to draw"
            warnings.warn(text, WhichsunWarning, stacklevel=2)
        elif figure:
            write_whole(figure, residuals_png(scores))
            result["figure"] = str(figure)
        if site_figure and band:
            write_whole(site_figure, site_png(band))
            result["site_figure"], result["site_band"] = str(site_figure), band.to_json()
        return result

    report(NAME, work, as_json=as_json, show=_show)


def show_scores(result: dict[str, Any]) -> None:
    """Print verdict, what it means and rests on, tables, parameters, latitude and limits for people."""
    from ..compare import plainly
    from ..compare import report as text

    print_wrapped(text.verdict_lines(result))
    for heading, lines in plainly.sections(result):
        print(f"\n{heading}")
        print_wrapped(lines, indent="  ")
    print_table(text.COLUMNS, text.model_rows(result))
    print_wrapped([text.LEGEND])
    if result["needed"]:
        print_table(
            plainly.NEEDED_COLUMNS, plainly.needed_table(result), "What height a nearby Sun would need"
        )
        print_wrapped([plainly.needed_legend(result)])
    if rows := text.quantity_rows(result):
        print_table(
            text.QUANTITY_COLUMNS,
            rows,
            "Other measurements (z: measured less foreseen, over its uncertainty)",
        )
    if result["robustness"]:
        print_table(
            plainly.ROBUST_COLUMNS, plainly.robust_table(result["robustness"]), "With other assumptions"
        )
        print_wrapped([plainly.ROBUST_LEGEND])
    print()
    print_wrapped([*text.parameter_lines(result), *text.latitude_lines(result), *text.nearest_lines(result)])


def _show(result: dict[str, Any]) -> None:
    show_scores(result)
    if result["figure"]:
        print(f"Residuals drawn in {result['figure']}")
    if result["site_figure"]:
        from ..compare.report import site_line

        print_wrapped([site_line(result)])

"""The command `score`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import print_table, print_wrapped, progress_on_stderr, report

NAME = "score"


def run(
    outing: Annotated[Path, typer.Argument(help="Outing file that `measure` wrote.")],
    model: Annotated[
        list[str] | None,
        typer.Option(
            help="A model to add to the contest, a name or path/to/file.py:ClassName; may be repeated."
        ),
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="PARAM=VALUE", help="Hold a parameter at a value; may be repeated."),
    ] = None,
    rotation: Annotated[
        str | None, typer.Option(metavar="LAW", help="Rotation law of the spots, or rigid.")
    ] = None,
    chart: Annotated[
        list[str] | None,
        typer.Option(
            "--map", metavar="MAP", help="Map of the plane, a short name or PROJ text; may be repeated."
        ),
    ] = None,
    figure: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Draw what each model's best fit leaves over.")
    ] = None,
    drivers: Annotated[
        bool,
        typer.Option(
            "--drivers/--no-drivers", help="Score again without every spot, shot and quantity in turn."
        ),
    ] = True,
    needed: Annotated[
        bool,
        typer.Option(
            "--needed-height",
            help="What height a near Sun would need on every built-in map (a minute or two).",
        ),
    ] = False,
    seed: Annotated[int, typer.Option(help="Seed of the random draws.", min=0)] = 1,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing figure.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Score every geometry against the spots of an outing and say what they favour."""

    def work() -> dict[str, Any]:
        from ...models.registry import get_model
        from ..compare.contest import DEFAULT_MODELS, Options
        from ..compare.figure import residuals_png
        from ..compare.scores import score_outing, with_needed_heights
        from ..outing_file import read_outing
        from ..rotation import DEFAULT_LAW
        from .parsing import settings_of
        from .plumbing import check_free, write_whole

        check_free([figure] if figure else [], overwrite)
        added = [get_model(name) for name in model or []]
        everyone = [*(get_model(name) for name in DEFAULT_MODELS), *added]
        given: dict[str, Any] = {}
        for own in settings_of(setting or [], everyone):
            given.update(own)
        measured = read_outing(outing)
        with progress_on_stderr("scoring", quiet=as_json) as progress:
            options = Options(
                law=rotation or DEFAULT_LAW,
                given=given,
                maps=tuple(chart or ()),
                seed=seed,
                progress=progress,
            )
            scores = score_outing(measured, added, options, drivers=drivers)
            if needed:
                scores = with_needed_heights(scores)
        result = {"outing": str(outing), **scores.to_json(), "figure": None}
        if figure:
            write_whole(figure, residuals_png(scores))
            result["figure"] = str(figure)
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

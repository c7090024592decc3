"""The command `score`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import print_table, progress_on_stderr, report

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
    seed: Annotated[int, typer.Option(help="Seed of the random draws.", min=0)] = 1,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing figure.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Score every geometry against the spots of an outing and say what they favour."""

    def work() -> dict[str, Any]:
        from ...models.registry import get_model
        from ..compare.contest import DEFAULT_MODELS, Options
        from ..compare.figure import residuals_png
        from ..compare.scores import score_outing
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
            scores = score_outing(measured, added, options)
        result = {"outing": str(outing), **scores.to_json(), "figure": None}
        if figure:
            write_whole(figure, residuals_png(scores))
            result["figure"] = str(figure)
        return result

    report(NAME, work, as_json=as_json, show=_show)


def show_scores(result: dict[str, Any]) -> None:
    """Print verdict, table, parameters, latitude and limits for people."""
    from ..compare import report as text

    for line in text.verdict_lines(result):
        print(line)
    print_table(text.COLUMNS, text.model_rows(result))
    print(text.LEGEND + "\n")
    for line in (*text.parameter_lines(result), *text.latitude_lines(result), *text.nearest_lines(result)):
        print(line)


def _show(result: dict[str, Any]) -> None:
    show_scores(result)
    if result["figure"]:
        print(f"Residuals drawn in {result['figure']}")

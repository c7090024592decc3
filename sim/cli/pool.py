"""The command `pool`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import print_table, progress_on_stderr, report
from .scoring import Rotation, Scheduler, Settings

NAME = "pool"
_LISTED = 25


def run(
    source: Annotated[
        Path | None,
        typer.Argument(
            help="Folder of outing files, or a CSV file with one angle per row. Columns: id, latitude_deg, "
            "longitude_deg (north and east positive), from_utc, to_utc (ISO 8601 with Z or an offset), turn_deg "
            "(anticlockwise positive), sigma_deg, turn_kind (axis, celestial-north, spot, pattern) and, if known, "
            "spot_vertex_angle_deg and spot_radius: the spot's place in the first photo."
        ),
    ] = None,
    export: Annotated[
        Path | None,
        typer.Option(metavar="OUTING", help="Write the row of one outing that you would hand in, instead."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="CSV", help="Where --export writes; printed where not given.")
    ] = None,
    exact_site: Annotated[
        bool, typer.Option("--exact-site", help="With --export: do not round the site to 0.1 degree.")
    ] = False,
    model: Annotated[
        list[str] | None,
        typer.Option(help="A model to add, a name or path/to/file.py:ClassName; may be repeated."),
    ] = None,
    setting: Settings = None,
    rotation: Rotation = None,
    chart: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="MAP", help="Map of the plane; may be repeated."),
    ] = None,
    figure: Annotated[
        Path | None, typer.Option(metavar="PNG", help="Draw every angle on every model's curve.")
    ] = None,
    title: Annotated[str, typer.Option(help="Your own title of the figure.")] = "",
    scheduler: Scheduler = None,
    checkpoint: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Keep finished blocks here; the same command goes on from it."),
    ] = None,
    drop_duplicates: Annotated[
        bool, typer.Option("--drop-duplicates", help="Leave out rows that repeat an earlier one.")
    ] = False,
    seed: Annotated[int, typer.Option(help="Seed of the random draws.", min=0)] = 1,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace existing outputs.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Score many people's outings together, or write the row that one of them would hand in."""

    def work() -> dict[str, Any]:
        from ...models.errors import InputError
        from .plumbing import check_free

        check_free([path for path in (figure, out) if path], overwrite)
        if (source is None) == (export is None):
            raise InputError("source", "or --export OUTING must be given, one of the two")
        if export is not None:
            return _exported(export, out, exact_site)
        if out is not None or exact_site:
            raise InputError("out", "and --exact-site go with --export OUTING only")
        assert source is not None
        return _pooled(source)

    def _pooled(path: Path) -> dict[str, Any]:
        from dataclasses import replace

        import numpy as np

        from ...models.errors import InputError
        from ...models.registry import get_model
        from ..compare.contest import DEFAULT_MODELS
        from ..pool.blunders import duplicates
        from ..pool.reading import read_source
        from ..pool.result import result_of
        from ..pool.scoring import PoolOptions, score_pool
        from ..rotation import DEFAULT_LAW
        from .parsing import settings_of
        from .plumbing import write_whole

        everyone = [get_model(name) for name in (*DEFAULT_MODELS, *(model or []))]
        given: dict[str, Any] = {}
        for own in settings_of(setting or [], everyone):
            given.update(own)
        with progress_on_stderr("reading", quiet=as_json) as progress:
            read = read_source(path, progress)
        dropped = sorted(duplicates(read.rows)) if drop_duplicates else []
        if dropped:
            read.refused += [(str(read.rows.source[i]), "repeats an earlier row") for i in dropped]
            read = replace(read, rows=read.rows[np.setdiff1d(np.arange(len(read.rows)), dropped)])
        if figure is not None and not len(read.rows):
            raise InputError("figure", "is drawn from angles, and there are none")
        with progress_on_stderr("pooling", quiet=as_json) as progress:
            options = PoolOptions(
                law=rotation or DEFAULT_LAW,
                given=given,
                maps=tuple(chart or ()),
                seed=seed,
                scheduler=scheduler,
                checkpoint=checkpoint,
                progress=progress,
            )
            try:
                scores = score_pool(read.rows, read.outings, model or (), options)
            except KeyboardInterrupt:
                print(
                    "whichsun: stopped" + (f"; {checkpoint} keeps what is done" if checkpoint else ""),
                    file=sys.stderr,
                )
                raise
            result = {"source": str(path), **result_of(scores, read), "figure": None}
        if figure is not None:
            from ..pool.figure import pool_png

            write_whole(figure, pool_png(scores, result["submissions"], title))
            result["figure"] = str(figure)
        return result

    report(NAME, work, as_json=as_json, show=_show)


def _exported(export: Path, out: Path | None, exact_site: bool) -> dict[str, Any]:
    from ..outing_file import read_outing
    from ..pool.exporting import csv_text, rows_to_hand_in
    from .plumbing import write_whole

    rows = rows_to_hand_in(read_outing(export), exact_site=exact_site)
    text = csv_text(rows)
    if out is not None:
        write_whole(out, text)
    return {"rows": rows, "csv": text, "file": str(out) if out else None, "exact_site": exact_site}


def _show(result: dict[str, Any]) -> None:
    if "csv" in result:
        print(f"Written: {result['file']}" if result["file"] else result["csv"].rstrip())
        return
    from ..pool import text

    for line in text.head_lines(result):
        print(line)
    print_table(text.COLUMNS, text.model_rows(result))
    for line in text.noise_lines(result):
        print(line)
    flagged = text.flag_rows(result)
    if flagged:
        print_table(text.FLAG_COLUMNS, flagged[:_LISTED], title="Look again (nothing was changed)")
    for line in text.tail_lines(result, len(flagged) - _LISTED, _LISTED):
        print(line)
    if result["figure"]:
        print(f"Every angle on every model's curve: {result['figure']}")

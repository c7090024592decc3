"""The command `report`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import check_free, print_wrapped, progress_on_stderr, report, write_whole
from .scoring import Charts, Drivers, Json, Models, Needed, Rotation, Seed, Settings, score

NAME = "report"


def run(
    outing: Annotated[Path, typer.Argument(help="Outing file that `measure` wrote, beside its photos.")],
    output: Annotated[
        Path | None,
        typer.Option(
            "--output", "-o", metavar="HTML", help="Default: beside the outing, OUTING.report.html."
        ),
    ] = None,
    pdf: Annotated[Path | None, typer.Option(metavar="PDF", help="Write the same for A4 as well.")] = None,
    exact_site: Annotated[
        bool, typer.Option("--exact-site", help="Tell the very site; without it, rounded to 0.1 degree.")
    ] = False,
    title: Annotated[str, typer.Option(help="Your own title.")] = "",
    note: Annotated[
        list[str] | None, typer.Option(help="A line of yours below the title; may be repeated.")
    ] = None,
    model: Models = None,
    setting: Settings = None,
    rotation: Rotation = None,
    chart: Charts = None,
    drivers: Drivers = True,
    needed: Needed = False,
    seed: Seed = 1,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing report.")] = False,
    as_json: Json = False,
) -> None:
    """Write the whole story of an outing as one HTML file, and as PDF, to read, print and pass on.

    Photos are cropped to the disc and written without EXIF or position; names of files and cameras stay.
    """

    def work() -> dict[str, Any]:
        import datetime as dt

        from ..outing_file import read_outing
        from ..report.contents import Source, contents
        from ..report.facts import named_apart, rounded_site
        from ..report.html import html_of

        page = output or outing.with_name(f"{outing.stem}.report.html")
        _check_names(page, pdf)
        check_free([page, pdf] if pdf else [page], overwrite)
        measured, photos = named_apart(read_outing(outing), outing.parent)
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
        made = dt.datetime.now(dt.UTC)
        source = Source(outing, photos, exact_site, title, note or [], made)
        with progress_on_stderr("report", quiet=as_json) as progress:
            document, problems = contents(scores, source, progress)
            files = {page: html_of(document).encode("utf-8")}
            if pdf:
                from ..report.pdf import pdf_of

                progress(0, 1, "laying out the PDF")
                files[pdf] = pdf_of(document, made)
        for path, content in files.items():
            write_whole(path, content)
        result = scores.to_json()
        return {
            "outing": str(outing),
            "report": str(page),
            "report_bytes": len(files[page]),
            "pdf": None if pdf is None else str(pdf),
            "exact_site": exact_site,
            "site": rounded_site(scores.data.site, exact=exact_site),
            "photos_not_shown": problems,
            **{key: result[key] for key in ("verdict", "turn")},
        }

    report(NAME, work, as_json=as_json, show=_show)


def _check_names(page: Path, pdf: Path | None) -> None:
    """Names whose endings tell what is inside."""
    from ...models.errors import InputError

    for name, path, endings in (("--output", page, (".html", ".htm")), ("--pdf", pdf, (".pdf",))):
        if path is not None and path.suffix.lower() not in endings:
            raise InputError(name, f"must be a name that ends in {endings[0]}", str(path))
        if path is not None and path.is_dir():
            raise InputError(name, "must be a file, not a folder", str(path))


def _show(result: dict[str, Any]) -> None:
    print_wrapped([result["verdict"]["words"]])
    print_wrapped([f"Not shown: {problem}" for problem in result["photos_not_shown"]])
    print(f"Report: {result['report']} ({result['report_bytes'] / 1e6:.1f} MB)")
    if result["pdf"]:
        print(f"PDF: {result['pdf']}")
    if not result["exact_site"]:
        print("The site is told to 0.1 degree; --exact-site tells it exactly.")

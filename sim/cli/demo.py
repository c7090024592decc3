"""The command `demo`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from ..safety import CAUTIONS, caution_lines
from .plumbing import print_wrapped, progress_on_stderr, report

NAME = "demo"


def run(
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FOLDER", help="Where all goes.")] = Path(
        "whichsun-demo"
    ),
    seed: Annotated[int, typer.Option(help="Seed of the cameras' noise and of the random draws.", min=0)] = 1,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Write over an earlier demo.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Draw, measure and score two invented pairs of photos, one made by each of two geometries."""

    def work() -> dict[str, Any]:
        from ..demo import run_demo

        with progress_on_stderr("demo", quiet=as_json) as progress:
            pairs = run_demo(output, seed=seed, overwrite=overwrite, progress=progress)
        return {
            "folder": str(output),
            "seed": seed,
            "pairs": [pair.to_json() for pair in pairs],
            "cautions": list(CAUTIONS),
        }

    report(NAME, work, as_json=as_json, show=_show)


def _show(result: dict[str, Any]) -> None:
    from .score import show_scores

    for pair in result["pairs"]:
        print(
            f"\n{pair['scenario']}: invented, drawn under {pair['true_model']}, measured from the pictures alone."
        )
        show_scores(pair)
    print()
    print_wrapped(caution_lines())
    print(f"\nPhotos, outing files and pictures are in {result['folder']}:")
    for pair in result["pairs"]:
        for path in pair["files"]:
            print(f"  {path}")

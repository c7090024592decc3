"""What the commands that score an outing share: their options, and the call."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from .plumbing import progress_on_stderr

if TYPE_CHECKING:
    from ..compare.scores import Scores
    from ..outing import Outing

Models = Annotated[
    list[str] | None,
    typer.Option(help="A model to add to the contest, a name or path/to/file.py:ClassName; may be repeated."),
]
Settings = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="PARAM=VALUE", help="Hold a parameter at a value; may be repeated."),
]
Rotation = Annotated[str | None, typer.Option(metavar="LAW", help="Rotation law of the spots, or rigid.")]
Charts = Annotated[
    list[str] | None,
    typer.Option(
        "--map", metavar="MAP", help="Map of the plane, a short name or PROJ text; may be repeated."
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(metavar="ADDRESS", help="Dask scheduler to work on, such as tcp://127.0.0.1:8786."),
]
Drivers = Annotated[
    bool,
    typer.Option("--drivers/--no-drivers", help="Score again without every spot, shot and quantity in turn."),
]
Needed = Annotated[
    bool,
    typer.Option(
        "--needed-height",
        help="What height a near Sun would need on every built-in map (a minute or two).",
    ),
]
Seed = Annotated[int, typer.Option(help="Seed of the random draws.", min=0)]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]


def score(
    outing: Outing,
    *,
    model: list[str] | None,
    setting: list[str] | None,
    rotation: str | None,
    chart: list[str] | None,
    drivers: bool,
    needed: bool,
    seed: int,
    quiet: bool,
) -> Scores:
    """Score an outing with the options as they were typed, with progress on standard error."""
    from ...models.registry import get_model
    from ..compare.contest import DEFAULT_MODELS, Options
    from ..compare.scores import score_outing, with_needed_heights
    from ..rotation import DEFAULT_LAW
    from .parsing import settings_of

    added = [get_model(name) for name in model or []]
    everyone = [*(get_model(name) for name in DEFAULT_MODELS), *added]
    given = {}
    for own in settings_of(setting or [], everyone):
        given.update(own)
    with progress_on_stderr("scoring", quiet=quiet) as progress:
        options = Options(
            law=rotation or DEFAULT_LAW,
            given=given,
            maps=tuple(chart or ()),
            seed=seed,
            progress=progress,
        )
        scores = score_outing(outing, added, options, drivers=drivers)
        return with_needed_heights(scores) if needed else scores

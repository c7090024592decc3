"""The command `power`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from ..safety import CAUTIONS, caution_lines
from .expected_tables import show_changes, show_pairs
from .plumbing import print_wrapped, progress_on_stderr, report
from .scoring import Rotation, Scheduler, Settings

NAME = "power"


def run(
    site: Annotated[str, typer.Option(metavar="LAT,LON[,HEIGHT_M]", help="Degrees north and east, metres.")],
    at: Annotated[
        list[str],
        typer.Option(metavar="UTC", help="Time of a photo, ISO 8601 with Z or offset; one for each."),
    ],
    spots: Annotated[float, typer.Option(help="Mean number of sunspots found in a photo.")] = 6.0,
    place_sigma: Annotated[
        float, typer.Option(metavar="RADII", help="How well a spot's place is measured, in disc radii.")
    ] = 0.004,
    roll_sigma_deg: Annotated[
        float, typer.Option(metavar="DEG", help="How well the camera is levelled, degrees.")
    ] = 0.7,
    mount: Annotated[str, typer.Option(help="level-tripod, equatorial or hand-held.")] = "level-tripod",
    false_spots: Annotated[float, typer.Option(help="Mean number of false spots in a photo.")] = 0.3,
    model: Annotated[
        list[str] | None,
        typer.Option(
            "--model",
            "--models",
            help="A model to compare, a name or path/to/file.py:ClassName; repeat for two or more. "
            "Default: distant-sphere and nearby-plane.",
        ),
    ] = None,
    setting: Settings = None,
    rotation: Rotation = None,
    what_if: Annotated[
        bool,
        typer.Option("--what-if", help="Simulate also what would raise the evidence (five times the work)."),
    ] = False,
    outings: Annotated[int, typer.Option(help="Simulated outings for each true model.", min=1)] = 40,
    processes: Annotated[int | None, typer.Option(help="Processes; default one per core.", min=1)] = None,
    scheduler: Scheduler = None,
    seed: Annotated[int, typer.Option(help="Seed of the random draws.", min=0)] = 1,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Say before going out how strong the evidence of an outing will be, by simulated outings."""

    def work() -> dict[str, Any]:
        from ...models.registry import get_model
        from ..compare import power
        from ..compare.contest import Options
        from ..compare.drawing import Design
        from ..outing import OutingSite
        from ..rotation import DEFAULT_LAW
        from .parsing import settings_of, site_of

        place = site_of(site)
        design = Design(
            OutingSite(float(place.latitude_deg), float(place.longitude_deg), float(place.height_m)),
            tuple(at),
            spots_found=spots,
            place_sigma=place_sigma,
            roll_sigma_deg=roll_sigma_deg,
            mount=mount,
            false_per_shot=false_spots,
        )
        names = tuple(model or power.COMPARED)
        given: dict[str, Any] = {}
        for own in settings_of(setting or [], [get_model(name) for name in names]):
            given.update(own)
        options = Options(law=rotation or DEFAULT_LAW, given=given, seed=seed)
        found, tips = None, []
        with progress_on_stderr("simulating", quiet=as_json) as progress:
            shared: dict[str, Any] = {
                "outings": outings,
                "options": options,
                "processes": processes,
                "progress": progress,
                "scheduler": scheduler,
            }
            found = power.expected_evidence(design, names, **shared)
            if what_if:
                tips = power.what_if(design, names, **shared)
        return {
            "site": {"latitude_deg": design.site.latitude_deg, "longitude_deg": design.site.longitude_deg},
            "at_utc": list(at),
            "spots": spots,
            "place_sigma_radii": place_sigma,
            "roll_sigma_deg": None if mount == "hand-held" else roll_sigma_deg,
            "mount": mount,
            "false_spots": false_spots,
            "models": list(found.models),
            "set": given,
            "rotation": options.law,
            "outings": outings,
            "seed": seed,
            **found.to_json(),
            "what_if": [{"change": words, **one.to_json()} for words, one in tips],
            "advice": power.advice(found, tips) if what_if else None,
            "cautions": list(CAUTIONS),
        }

    report(NAME, work, as_json=as_json, show=_show)


def _show(result: dict[str, Any]) -> None:
    print(result["words"])
    print()
    each = result["truths"][0]["outings"]
    show_pairs(result, f"{each} simulated outings for each true model")
    print(
        "right, wrong, undecided: what `score` would say. ln B: logarithm of the odds for the true model, with no"
    )
    print("preference beforehand; 3 is 20 to 1, which a verdict asks for.")
    print(f"From {each} outings a share is known to about {50 / each**0.5:.0f} points.")
    empty = sum(row["without_spots"] for row in result["truths"])
    if empty:
        print(f"In {empty} of them there were no spots to compare; they count as undecided.")
    if result["advice"] is not None:
        print()
        show_changes(result)
        print(result["advice"])
    print()
    print_wrapped(caution_lines())

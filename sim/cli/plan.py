"""The command `plan`: its options and the order of its sections; each section has its own module."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from .plumbing import progress_on_stderr, report
from .side_by_side import Models, Settings, models_with_settings

if TYPE_CHECKING:
    from ..plan.days import Plan

NAME = "plan"


def run(
    site: Annotated[str, typer.Option(metavar="LAT,LON[,HEIGHT_M]", help="Degrees north and east, metres.")],
    dates: Annotated[
        str,
        typer.Option(metavar="A..B", help="Days, YYYY-MM-DD..YYYY-MM-DD, both included; or a single one."),
    ],
    zone: Annotated[
        str | None,
        typer.Option(
            metavar="ZONE",
            help="Time zone, such as Europe/Oslo or UTC+2. Default: by the coordinates "
            "(pip install 'whichsun[zones]'), else by the longitude.",
        ),
    ] = None,
    model: Models = None,
    setting: Settings = None,
    rotation: Annotated[str | None, typer.Option(metavar="LAW", help="Rotation law, or rigid.")] = None,
    altitudes: Annotated[
        str,
        typer.Option(
            metavar="LOW:HIGH", help="Photograph while the Sun stands between, degrees above the level."
        ),
    ] = "1:12",
    above_horizon_m: Annotated[
        float,
        typer.Option(metavar="M", help="How far the site stands above land or sea at the horizon."),
    ] = 0.0,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Plan an outing: when to photograph, where the Sun stands, how the disc turns, what it will show."""

    def work() -> dict[str, Any]:
        from ..plan.record import plan_json

        with progress_on_stderr("planning", quiet=as_json) as progress:
            plan = _plan(site, dates, zone, model, setting, rotation, altitudes, above_horizon_m, progress)
        return plan_json(plan)

    report(NAME, work, as_json=as_json, show=_show)


def _plan(
    site: str,
    dates: str,
    zone: str | None,
    model: list[str] | None,
    setting: list[str] | None,
    rotation: str | None,
    altitudes: str,
    above_horizon_m: float,
    progress: Any,
) -> Plan:
    """The windows and turns, from the options as they were typed."""
    from ..plan.plan import dates_of, make_plan
    from ..plan.zones import zone_of
    from ..rotation import DEFAULT_LAW, rotation_law
    from .parsing import site_of

    place = site_of(site)
    low, high = _limits(altitudes)
    return make_plan(
        place,
        dates_of(dates),
        zone_of(place, zone),
        models_with_settings(model, setting),
        law=rotation_law(rotation or DEFAULT_LAW),
        low_deg=low,
        high_deg=high,
        above_horizon_m=above_horizon_m,
        progress=progress,
    )


def _limits(text: str) -> tuple[float, float]:
    from .parsing import numbers

    low, high = numbers("altitudes", text.replace(":", ","), (2,), "LOW:HIGH in degrees")
    return low, high


def _show(result: dict[str, Any]) -> None:
    from .plan_days import show_cautions, show_days

    show_days(result)
    show_cautions(result)

"""The command `plan`: its options and the order of its sections; each section has its own module."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .plan_evidence import EvidenceOptions, add_evidence, check_evidence, show_evidence
from .plan_observables import OutdoorOptions, add_outdoor, check_outdoor, show_outdoor
from .plan_targets import (
    CropFactor,
    Discs,
    Focal35,
    FocalLength,
    Frames,
    Picture,
    PixelPitch,
    Regions,
    Seeing,
    SensorWidth,
    TargetOptions,
    Teleconverter,
    add_targets,
    check_targets,
    show_camera,
    show_targets,
)
from .plumbing import check_free, progress_on_stderr, report, write_whole
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
    evidence: Annotated[
        str,
        typer.Option(
            metavar="one|all|none",
            help="Simulate outings to say what they will show: on the day on which the models, at their given "
            "numbers, lie farthest apart; on every day; or not at all.",
        ),
    ] = "one",
    outings: Annotated[int, typer.Option(help="Simulated outings for each true model.", min=1)] = 10,
    spots: Annotated[
        float | None,
        typer.Option(
            metavar="N", help="Mean number of sunspots found in a photo. Default: by --regions, else 6."
        ),
    ] = None,
    place_sigma: Annotated[
        float | None,
        typer.Option(
            metavar="RADII",
            help="How well a spot's place is measured, in disc radii. Default: by the camera, else 0.004.",
        ),
    ] = None,
    roll_sigma_deg: Annotated[
        float, typer.Option(metavar="DEG", help="How well the camera is levelled, degrees.")
    ] = 0.7,
    mount: Annotated[
        str, typer.Option(metavar="HOW", help="level-tripod, equatorial or hand-held.")
    ] = "level-tripod",
    what_if: Annotated[
        bool,
        typer.Option("--what-if", help="Simulate also what would raise the evidence (seven times the work)."),
    ] = False,
    seed: Annotated[int, typer.Option(help="Seed of the random draws.", min=0)] = 1,
    processes: Annotated[int | None, typer.Option(help="Processes; default one per core.", min=1)] = None,
    calendar: Annotated[
        Path | None,
        typer.Option(metavar="FILE.ics", help="Write the windows as a calendar file (iCalendar)."),
    ] = None,
    alarm_min: Annotated[
        int,
        typer.Option(
            metavar="MIN", min=0, max=10080, help="Alarm before a window in the calendar; 0 for none."
        ),
    ] = 60,
    measurements: Annotated[
        bool,
        typer.Option(
            "--measurements",
            help="Show what else the day lets be measured with stick, watch and compass, under each model.",
        ),
    ] = False,
    field_sheet: Annotated[
        Path | None,
        typer.Option(metavar="FILE.pdf", help="Write one page to take outdoors, with boxes; one day only."),
    ] = None,
    place: Annotated[str, typer.Option(metavar="NAME", help="Name of the place on the field sheet.")] = "",
    paper: Annotated[str, typer.Option(metavar="a4|letter", help="Paper of the field sheet.")] = "a4",
    predictions: Annotated[
        bool,
        typer.Option(
            "--predictions/--no-predictions",
            help="Print on the field sheet what the models foresee, or leave it out so that nobody is primed.",
        ),
    ] = True,
    outing_template: Annotated[
        Path | None,
        typer.Option(metavar="FILE.toml", help="Write an outing file to be filled in; one day only."),
    ] = None,
    regions: Regions = None,
    discs: Discs = None,
    focal_length_mm: FocalLength = None,
    focal_35mm: Focal35 = None,
    pixel_pitch_um: PixelPitch = None,
    sensor_width_mm: SensorWidth = None,
    crop_factor: CropFactor = None,
    picture: Picture = None,
    teleconverter: Teleconverter = 1.0,
    seeing_arcsec: Seeing = 2.0,
    frames: Frames = 1,
    exact_site: Annotated[
        bool, typer.Option("--exact-site", help="Tell the site in files as it is, not rounded to 0.1 degree.")
    ] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace existing files.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Plan an outing: when to photograph, where the Sun stands, how the disc turns, what it will show."""

    def work() -> dict[str, Any]:
        from ..plan.record import plan_json

        simulated = EvidenceOptions(
            which=evidence,
            model=model,
            setting=setting,
            rotation=rotation,
            outings=outings,
            spots=spots,
            place_sigma=place_sigma,
            roll_sigma_deg=roll_sigma_deg,
            mount=mount,
            what_if=what_if,
            seed=seed,
            processes=processes,
        )
        check_evidence(simulated)
        _check_files(calendar, overwrite)
        outdoor = OutdoorOptions(
            measurements=measurements,
            template=outing_template,
            sheet=field_sheet,
            paper=paper,
            predictions=predictions,
            place=place,
            exact_site=exact_site,
            above_horizon_m=above_horizon_m,
            overwrite=overwrite,
        )
        check_outdoor(outdoor)
        options = TargetOptions(
            regions=regions,
            discs=discs,
            focal_length_mm=focal_length_mm,
            focal_35mm=focal_35mm,
            pixel_pitch_um=pixel_pitch_um,
            sensor_width_mm=sensor_width_mm,
            crop_factor=crop_factor,
            picture=picture,
            teleconverter=teleconverter,
            seeing_arcsec=seeing_arcsec,
            frames=frames,
            roll_sigma_deg=roll_sigma_deg,
            mount=mount,
        )
        aimed = check_targets(options, overwrite)
        with progress_on_stderr("planning", quiet=as_json) as progress:
            plan = _plan(site, dates, zone, model, setting, rotation, altitudes, above_horizon_m, progress)
        result = plan_json(plan)
        add_targets(result, plan, aimed, quiet=as_json)
        add_outdoor(result, plan, outdoor)
        add_evidence(result, plan, simulated, quiet=as_json)
        result["calendar"] = _write_calendar(calendar, result, plan, alarm_min, exact_site)
        return result

    report(NAME, work, as_json=as_json, show=lambda result: _show(result, measurements))


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


def _check_files(calendar: Path | None, overwrite: bool) -> None:
    """Refuse outputs before the work."""
    from ...models.errors import InputError

    if calendar is not None:
        if calendar.suffix.lower() != ".ics":
            raise InputError("calendar", "must be a name that ends in .ics", str(calendar))
        check_free([calendar], overwrite)


def _write_calendar(
    path: Path | None, result: dict[str, Any], plan: Plan, alarm_min: int, exact_site: bool
) -> str | None:
    if path is None:
        return None
    from ..plan.calendar_file import calendar_text
    from ..plan.plan import at_rounded_site
    from ..plan.record import plan_json

    if not exact_site:
        simulated = [day["evidence"] for day in result["days"]]
        result = plan_json(at_rounded_site(plan))
        for day, evidence in zip(result["days"], simulated, strict=True):
            day["evidence"] = evidence
    now = dt.datetime.now(dt.UTC)
    write_whole(path, calendar_text(result, now=now, exact_site=exact_site, alarm_min=alarm_min))
    return str(path)


def _limits(text: str) -> tuple[float, float]:
    from .parsing import numbers

    low, high = numbers("altitudes", text.replace(":", ","), (2,), "LOW:HIGH in degrees")
    return low, high


def _show(result: dict[str, Any], measurements: bool) -> None:
    from .plan_days import show_cautions, show_days, show_sources

    show_days(result)
    show_outdoor(result, measurements)
    show_camera(result)
    show_targets(result)
    show_evidence(result)
    if result["calendar"]:
        print(f"Calendar: {result['calendar']}\n")
    show_sources(result)
    show_cautions(result)

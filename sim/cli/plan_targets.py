"""The part of `plan` that deals with the camera and with the regions on the Sun: options, work, what is printed."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .plumbing import check_free, print_table, print_wrapped, progress_on_stderr, write_whole

if TYPE_CHECKING:
    from ..plan.camera_numbers import Aim
    from ..plan.days import Plan
    from ..plan.optics import Optics
    from ..plan.regions import RegionSummary

_IN_FULL = 3  # days whose regions are told one by one
Regions = Annotated[
    list[Path] | None,
    typer.Option(
        metavar="FILE",
        help="A NOAA Solar Region Summary (text), for the spots of the day; may be repeated, the nearest day's counts.",
    ),
]
Discs = Annotated[
    Path | None,
    typer.Option(
        metavar="FILE",
        help="Draw the disc with its regions at both shots, for the first day (.png, .svg, .pdf).",
    ),
]
FocalLength = Annotated[float | None, typer.Option(metavar="MM", help="The lens's own focal length.")]
Focal35 = Annotated[
    float | None,
    typer.Option("--focal-35mm", metavar="MM", help="Or its 35 mm equivalent; needs --picture."),
]
PixelPitch = Annotated[float | None, typer.Option(metavar="UM", help="Distance of the sensor's pixels.")]
SensorWidth = Annotated[
    float | None,
    typer.Option(metavar="MM", help="Or the sensor's longer side; needs --picture."),
]
CropFactor = Annotated[float | None, typer.Option(metavar="X", help="Or its crop factor; needs --picture.")]
Picture = Annotated[
    str | None, typer.Option(metavar="WIDTHxHEIGHT", help="Size of the full-size picture, pixels.")
]
Teleconverter = Annotated[float, typer.Option(metavar="X", help="Factor of a teleconverter.")]
Seeing = Annotated[
    float,
    typer.Option(metavar="ARCSEC", help="How far the air moves the limb to and fro in a photo (rms)."),
]
Frames = Annotated[int, typer.Option(help="Photos per window.", min=1)]


@dataclass(frozen=True)
class TargetOptions:
    """Options as they were typed; see the command's help."""

    regions: list[Path] | None
    discs: Path | None
    focal_length_mm: float | None
    focal_35mm: float | None
    pixel_pitch_um: float | None
    sensor_width_mm: float | None
    crop_factor: float | None
    picture: str | None
    teleconverter: float
    seeing_arcsec: float
    frames: int
    roll_sigma_deg: float
    mount: str


@dataclass(frozen=True)
class Prepared:
    """The options, read and checked."""

    optics: Optics | None
    aim: Aim
    summaries: list[RegionSummary] | None
    discs: Path | None


def check_targets(options: TargetOptions, overwrite: bool) -> Prepared:
    """Read the regions and refuse a bad camera, file or output before any work.

    Raises
    ------
    InputError
        See :func:`~whichsun.sim.plan.optics.optics_of` and :func:`~whichsun.sim.plan.regions.read_summary`; discs
        without regions, or of another kind of file.
    OutputExistsError
    """
    from ...models.errors import InputError
    from ..plan.camera_numbers import Aim
    from ..plan.regions import read_summaries

    optics = _optics(options)
    aim = Aim(options.roll_sigma_deg, options.seeing_arcsec, options.frames, options.mount)
    if options.discs is not None:
        from ...render.figure_file import check_figure_name

        if not options.regions:
            raise InputError("discs", "must come with --regions FILE", str(options.discs))
        check_figure_name("discs", options.discs)
        check_free([options.discs], overwrite)
    summaries = read_summaries(options.regions) if options.regions else None
    return Prepared(optics, aim, summaries, options.discs)


def add_targets(result: dict[str, Any], plan: Plan, prepared: Prepared, *, quiet: bool) -> None:
    """Put `camera`, `regions` and `targets` into the plan's JSON where they were asked for, and draw the discs."""
    optics, aim = prepared.optics, prepared.aim
    if optics is not None:
        from ..plan.camera_record import camera_json

        result["camera"] = camera_json(plan, optics, aim)
    if prepared.summaries is None:
        return
    from ..plan.target_record import targets_json

    with progress_on_stderr("spots", quiet=quiet) as progress:
        result.update(targets_json(plan, prepared.summaries, optics=optics, aim=aim, progress=progress))
    result["discs"] = None
    if prepared.discs is not None and result["targets"]:
        from ...render.figure_file import figure_bytes
        from ..plan.target_figure import target_figure

        write_whole(prepared.discs, figure_bytes(target_figure(result), prepared.discs))
        result["discs"] = str(prepared.discs)
    elif prepared.discs is not None:
        from ...models.errors import WhichsunWarning

        warnings.warn(
            f"no regions to draw: '{prepared.discs}' was not written", WhichsunWarning, stacklevel=2
        )


def _optics(options: TargetOptions) -> Optics | None:
    from ..plan.optics import optics_of
    from .parsing import size_of

    return optics_of(
        focal_length_mm=options.focal_length_mm,
        focal_35mm=options.focal_35mm,
        pixel_pitch_um=options.pixel_pitch_um,
        sensor_width_mm=options.sensor_width_mm,
        crop_factor=options.crop_factor,
        picture_px=None if options.picture is None else size_of(options.picture, "picture"),
        teleconverter=options.teleconverter,
    )


def show_camera(result: dict[str, Any]) -> None:
    """What the camera makes of the Sun."""
    if "camera" not in result:
        return
    one = result["camera"]
    if one is None:
        print("Camera: no day has both windows, so there is nothing to work out.\n")
        return
    turn, latitude = one["turn_sigma_deg"], one["latitude_sigma_deg"]
    share = one["disc_share_of_picture"]
    rows = [
        ("pixel scale", f"{one['pixel_scale_arcsec_per_px']:.2f} arcsec per pixel"),
        (
            "the Sun",
            f"{one['sun_diameter_arcmin'][0]:.2f} arcmin, {one['disc_diameter_px'][0]:.0f} px across"
            + ("" if share is None else f", {100 * share:.0f} % of the picture's shorter side"),
        ),
        (
            "smallest spot likely found",
            f"{one['smallest_spot_px']:.1f} px, {_msh(one['smallest_spot_msh'])} millionths of the hemisphere",
        ),
        ("a spot's place", f"to {one['place_sigma_radii']:.4f} disc radii"),
        (
            "the turn, from one spot",
            f"to {turn['one_spot']:.2f} deg; {turn['one_spot_without_level_error']:.2f} with a perfect level",
        ),
        ("the turn, from five spots", f"to {turn['five_spots']:.2f} deg"),
        (
            "latitude, distant sphere",
            f"to {latitude['one_spot']:.2f} deg from one spot, {latitude['five_spots']:.2f} from five",
        ),
    ]
    level = "held by hand" if one["level_sigma_deg"] is None else f"level to {one['level_sigma_deg']:g} deg"
    title = (
        f"Your camera on {one['date']}: {level}, air {one['seeing_arcsec']:g} arcsec, "
        f"{one['frames']} photo{'s' if one['frames'] > 1 else ''} per window (68 %)"
    )
    print_table(("what", "how much"), rows, title=title)
    print_wrapped(one["notes"])
    print()


def show_targets(result: dict[str, Any]) -> None:
    """The regions of each day, best target first; of many days only what each has."""
    if "regions" not in result:
        return
    days = result["regions"]
    if not days:
        print("Spots: no day has both windows, so no region can be followed from one to the other.\n")
        return
    if len(days) > _IN_FULL:
        _show_rows(result, days)
        return
    for day in days:
        age = "" if day["file"] is None else f" ({day['file']}, {_age(day['days_ahead'])})"
        print_wrapped(
            [f"Spots on {day['date']}{age}: {day['words'][0]}", *(f"  {words}" for words in day["words"][1:])]
        )
        if day["regions"]:
            _show_day(result, day["date"])
    _show_discs(result)


def _show_discs(result: dict[str, Any]) -> None:
    if result["discs"]:
        print(f"Discs: {result['discs']}")
    print()


def _show_rows(result: dict[str, Any], days: list[dict[str, Any]]) -> None:
    """One row per day."""
    names = list(result["models"])
    rows = []
    for day in days:
        best = next(
            (row for row in result["targets"] if row["date"] == day["date"] and row["chance"] > 0.01), None
        )
        target = "-" if best is None else f"{best['number']}, {100 * best['chance']:.0f} %"
        age = "no list" if day["file"] is None else f"{day['days_ahead']:+.1f}"
        rows.append(
            (day["date"], age, f"{day['regions']}", *(f"{day['usable'][name]}" for name in names), target)
        )
    columns = (
        "date",
        "list's age, days",
        "regions",
        *(f"usable, {name}" for name in names),
        "best, chance in both",
    )
    print_table(columns, rows, title="Regions likely to be found in both photos of a day")
    old = max((abs(day["days_ahead"]) for day in days if day["file"] is not None), default=0.0)
    print_wrapped(
        [
            "A list grows old: places become unsure, small groups vanish, and what comes round the east limb (13 "
            f"degrees of longitude a day) is not in it{', so the later days may have more' if old > 1 else ''}. Ask "
            f"for {_IN_FULL} days or fewer to see every region's place."
        ]
    )
    _show_discs(result)


def _age(days: float) -> str:
    return f"{abs(days):.1f} days {'before' if days >= 0 else 'after'} the first photo"


def _show_day(result: dict[str, Any], date: str) -> None:
    rows = [row for row in result["targets"] if row["date"] == date]
    names = list(result["models"])
    places = []
    for row in rows:
        wide = row["spot_width_px"]
        places.append(
            (
                f"{row['rank']}",
                f"{row['number']}",
                f"{row['area_msh']:.0f}",
                "-" if wide is None or wide != wide else f"{wide:.1f}",
                _place(row["models"][names[0]]["shots"][0]),
                *(_later(row["models"][name]) for name in names),
                f"{100 * row['chance']:.0f} %",
                _sigma(row["expected_turn_sigma_deg"]),
            )
        )
    heads = (name.replace("-", "-\n") for name in names)
    columns = ("", "region", "area", "px\nwide", "morning", *heads, "in\nboth", "turn\nto")
    print_table(columns, places, title=f"Regions as targets on {date}, best first", tight=True)
    print_wrapped([f"{row['rank']}. {row['number']}: {row['reason']}." for row in rows], indent="  ")
    print_wrapped(
        [
            "Places: distance from the centre in disc radii and direction in degrees anticlockwise from the top; "
            "below a model's name the evening's, and the spot's turn in degrees, anticlockwise +. in both: chance "
            "to be found in both photos. turn to: uncertainty of the turn to expect, degrees, that chance "
            "included. px wide: the largest spot's width in the morning; of a group take that one, the same in "
            "both photos. All models start from the same morning picture."
        ]
    )
    if all(row["spot_width_px"] is None or row["spot_width_px"] != row["spot_width_px"] for row in rows):
        print(
            "Give your lens and sensor (--focal-length-mm, --picture, ...) to learn which spots are large enough."
        )
    print()


def _place(shot: dict[str, Any]) -> str:
    return f"{shot['radius']:.2f} at {shot['vertex_angle_deg']:+.0f}" if shot["visible"] else "hidden"


def _later(view: dict[str, Any]) -> str:
    shot = view["shots"][1]
    if shot["visible"] is None:
        return "-"
    return f"{_place(shot)}\n{view['turn_deg']:+.1f}" if shot["visible"] else "hidden"


def _sigma(value: float | None) -> str:
    return f"{value:.2f}" if value is not None and value < 99 else "-"


def _msh(area: float) -> str:
    return f"{area:.0f}" if area >= 10 else f"{area:.1f}"

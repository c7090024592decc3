"""The command `measure`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .plumbing import print_table, progress_on_stderr, report

if TYPE_CHECKING:
    from ..outing import Outing
    from ..photo.measure import PhotoOptions

NAME = "measure"

_MANY = 3


def run(
    photos: Annotated[
        list[Path],
        typer.Argument(
            metavar="PHOTO",
            help="Photos in the order they were taken, or folders and patterns (put in order of time).",
        ),
    ],
    site: Annotated[
        str | None,
        typer.Option(
            metavar="LAT,LON[,HEIGHT_M]",
            help="Place in degrees, north and east positive, instead of the photos' GPS.",
        ),
    ] = None,
    time: Annotated[
        list[str] | None,
        typer.Option(
            metavar="TIME",
            help="When it was taken, such as 2027-04-18T07:40Z; once for each photo, in their order.",
        ),
    ] = None,
    utc_offset: Annotated[
        list[str] | None,
        typer.Option(
            metavar="+HH:MM", help="The camera clock's offset from UTC; once, or once for each photo."
        ),
    ] = None,
    mount: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MOUNT",
            help="level-tripod (default), equatorial or hand-held; once, or once for each photo.",
        ),
    ] = None,
    mirrored: Annotated[
        list[str] | None,
        typer.Option(
            metavar="true|false", help="Whether the photo is a mirror image; once, or once for each photo."
        ),
    ] = None,
    roll: Annotated[
        list[float] | None,
        typer.Option(
            metavar="DEG",
            help="The camera's roll where you know it, anticlockwise seen from behind; once, or once for each photo.",
        ),
    ] = None,
    roll_sigma: Annotated[
        list[float] | None,
        typer.Option(
            metavar="DEG",
            help="Uncertainty of the roll (0.7 on a level tripod); once, or once for each photo.",
        ),
    ] = None,
    match: Annotated[
        list[str] | None,
        typer.Option(
            metavar="A:B,...",
            help="Spots of the first and last photo that are one, by number, such as 3:5,1:2.",
        ),
    ] = None,
    add_spot: Annotated[
        list[str] | None,
        typer.Option(
            metavar="SHOT:COLUMN,ROW",
            help="A spot that you see, pixels from the top left; SHOT: the photo's number or file. May be repeated.",
        ),
    ] = None,
    drop_spot: Annotated[
        list[str] | None,
        typer.Option(metavar="SHOT:NUMBER", help="A find that is no spot, by its number. May be repeated."),
    ] = None,
    target: Annotated[
        str | None,
        typer.Option(
            metavar="SHOT:NUMBER",
            help="The spot of the first or last photo whose own turn is shown as well (default: a large one).",
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            help="Outing file (TOML); an overlay of each photo and a sheet of the pair are put beside it.",
        ),
    ] = None,
    overwrite: Annotated[
        bool,
        typer.Option(
            "--overwrite",
            help="Measure again into files that exist; what you entered, added, dropped or matched by hand is kept.",
        ),
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Find limb and sunspots on photos, match the spots and measure how far the disc turned."""

    def work() -> dict[str, Any]:
        from ..outing_file import read_outing
        from ..photo.many import picture_files
        from ..photo.measure import measure_photos
        from ..photo.overrule import parse_overrule
        from ..photo.record import check_outputs, record

        files, gathered = picture_files(photos)
        each = _options(len(files), site, time, utc_offset, mount, mirrored, roll, roll_sigma)
        pair = None
        overlays = [] if output is None else check_outputs(files, output, overwrite)
        names = _names(files, output)
        kept: dict[str, Any] = {}
        dropped: dict[str, Any] = {}
        matched: tuple[Any, ...] = ()
        if output is not None and output.exists():
            before = read_outing(output)
            each = _with_file(before, names, each)
            kept, dropped = _by_hand(before)
            matched = before.matches
        overrule = parse_overrule(
            match or (), add_spot or (), drop_spot or (), target, kept, dropped, matched
        )
        given = {"time_utc": time or utc_offset, "mount": mount, "mirrored": mirrored, "site": site}
        given |= {"roll_deg": roll, "roll_sigma_deg": roll_sigma}
        explicit = {name for name, value in given.items() if value} | {"by_hand"}
        with progress_on_stderr("measuring", quiet=as_json or len(files) < _MANY) as step:
            measured = measure_photos(
                files,
                each,
                names=names,
                progress=lambda done, of: step(done, of, "measuring"),
                overrule=overrule,
                processes=None,
                by_time=gathered,
            )
            if overlays:
                place = dict(zip(files, overlays, strict=True))
                overlays = [place[photo.path] for photo in measured.photos]
            if output is not None:
                pair = record(
                    measured,
                    output,
                    overlays,
                    overwrite=overwrite,
                    explicit=explicit,
                    processes=None,
                    progress=lambda done, of: step(done, of, "drawing"),
                )
        result = measured.to_json()
        return {**result, "outing": output, "overlays": overlays, "pair": pair}

    report(NAME, work, as_json=as_json, show=_show)


def _one_or_each(name: str, values: list[Any] | None, count: int) -> list[Any]:
    """The values spread over `count` photos."""
    from ...models.errors import InputError

    if not values:
        return [None] * count
    if len(values) not in (1, count):
        raise InputError(name, f"must be given once, or once for each of the {count} photos", len(values))
    return values * count if len(values) == 1 else values


def _options(
    count: int,
    site: str | None,
    times: list[str] | None,
    offsets: list[str] | None,
    mounts: list[str] | None,
    mirrored: list[str] | None,
    rolls: list[float] | None,
    roll_sigmas: list[float] | None,
) -> list[PhotoOptions]:
    from ...models.errors import InputError
    from ..outing import OutingSite
    from ..photo.measure import PhotoOptions
    from .parsing import site_of

    place = None
    if site is not None:
        where = site_of(site)
        place = OutingSite(float(where.latitude_deg), float(where.longitude_deg), float(where.height_m))
    if times and len(times) != count:
        raise InputError("--time", f"must be given once for each of the {count} photos", len(times))
    rows = zip(
        _one_or_each("--time", times, count),
        _one_or_each("--utc-offset", offsets, count),
        _one_or_each("--mount", mounts, count),
        [_truth(text) for text in _one_or_each("--mirrored", mirrored, count)],
        _one_or_each("--roll", rolls, count),
        _one_or_each("--roll-sigma", roll_sigmas, count),
        strict=True,
    )
    return [PhotoOptions(place, *row) for row in rows]


def _truth(text: str | None) -> bool | None:
    from ...models.errors import InputError

    if text is None:
        return None
    known = {"true": True, "yes": True, "false": False, "no": False}
    if text.strip().lower() not in known:
        raise InputError("--mirrored", "must be true or false", text)
    return known[text.strip().lower()]


def _names(photos: list[Path], output: Path | None) -> list[str]:
    """What the shots are called: relative to the outing file, or as given."""
    import os

    if output is None:
        return [str(photo) for photo in photos]
    folder = output.resolve().parent
    return [Path(os.path.relpath(photo.resolve(), folder)).as_posix() for photo in photos]


def _with_file(before: Outing, names: list[str], each: list[PhotoOptions]) -> list[PhotoOptions]:
    """Options completed with what the outing file says already."""
    from ..photo.measure import given_by_file

    shots = {shot.file: shot for shot in before.shots}
    return [
        given_by_file(option, shots.get(name), before.site) for option, name in zip(each, names, strict=True)
    ]


def _by_hand(before: Outing) -> tuple[dict[str, Any], dict[str, Any]]:
    """The spots that a person added to the outing file, and the places of those dropped, by photo."""
    shots = before.shots
    added = {shot.file: tuple(spot for spot in shot.spots if spot.by_hand) for shot in shots}
    return added, {shot.file: shot.dropped_px for shot in shots if shot.dropped_px}


def _roll(shot: dict[str, Any]) -> str:
    if shot["roll_sigma_deg"] is None:
        return f"{shot['roll_deg']:g} deg, not known"
    return f"{shot['roll_deg']:.2f} +/- {shot['roll_sigma_deg']:.2f} deg ({shot['roll_source']})"


def _drift(check: dict[str, Any]) -> str:
    models = ", ".join(f"{name} {angle:.2f}" for name, angle in check["predicted_deg"].items())
    return (
        f"Check of the level: from {check['shot_a']} to {check['shot_b']} the Sun moved by {check['moved_radii']:.1f} "
        f"radii towards {check['drift_deg']:.2f} +/- {check['sigma_deg']:.2f} deg over the level"
        + (f" (predicted: {models})." if models else ".")
    )


def _show(result: dict[str, Any]) -> None:
    from ..turns import turn_in_words

    for shot in result["shots"]:
        (column, row), (across, _) = shot["centre_px"], shot["semi_axes_px"]
        print(f"{shot['file']}  {shot['time_utc'] or 'time unknown'}")
        print(
            f"  centre {column:.2f}, {row:.2f} px; radius {across:.2f} px; height / width {shot['axis_ratio']:.4f}; "
            f"roll {_roll(shot)}"
        )
        rows = [
            (
                str(spot["id"]),
                f"{spot['x']:+.4f}",
                f"{spot['y']:+.4f}",
                f"{max(spot['sigma_x'], spot['sigma_y']):.4f}",
                f"{spot['radius']:.3f}",
                f"{spot['vertex_angle_deg']:.1f}",
                "-" if spot["area_msh"] is None else f"{spot['area_msh']:.0f}",
                "-" if spot["darkness"] is None else f"{spot['darkness']:.2f}",
            )
            for spot in shot["spots"]
        ]
        if rows:
            print_table(("spot", "x", "y", "sigma", "r", "vertex", "msh", "dark"), rows)
    rows = [
        (
            match["shot_a"],
            str(match["id_a"]),
            match["shot_b"],
            str(match["id_b"]),
            "by hand" if match["by_hand"] else f"{match['probability']:.2f}",
        )
        for match in result["matches"]
    ]
    if rows:
        print_table(("photo", "spot", "photo", "spot", "probability"), rows, title="Matches")
    if result["failed"]:
        print_table(
            ("photo", "why it could not be measured"),
            [(one["file"], one["reason"]) for one in result["failed"]],
            title="Not measured",
        )
    for check in result["level_checks"]:
        print(_drift(check))
    turn = result["turn"]
    if turn is not None and turn["turn_deg"] is not None:
        sigma = "roll unknown" if turn["sigma_deg"] is None else f"+/- {turn['sigma_deg']:.1f} deg"
        sigma += _wide(turn)
        print(
            f"The spot pattern turned {turn_in_words(turn['turn_deg'])} ({sigma}, {_spots(turn['spots_used'])}) "
            f"from {turn['shot_a']} to {turn['shot_b']}."
        )
    target = result["target"]
    if target is not None:
        sigma = "roll unknown" if target["sigma_deg"] is None else f"+/- {target['sigma_deg']:.1f} deg"
        print(
            f"Spot {target['id_a']} alone ({target['id_b']} in the last photo), as one would draw it by hand: "
            f"{turn_in_words(target['turn_deg'])} ({sigma})."
        )
    if result["outing"] is not None:
        print(f"Written: {result['outing']}")
        for path in [*result["overlays"], *([result["pair"]] if result["pair"] else [])]:
            print(f"         {path}")


def _wide(turn: dict[str, Any]) -> str:
    """The half width of the 95 % interval, which is not twice the sigma."""
    high = turn["high95_deg"]
    return "" if high is None else f", 95 %: {high - turn['turn_deg']:.1f} deg"


def _spots(count: int) -> str:
    return "1 spot" if count == 1 else f"{count} spots"

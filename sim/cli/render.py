"""The command `render`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import check_free, progress_on_stderr, report, write_whole

NAME = "render"
_MOST_SHOWN = 12  # spots


def run(
    output: Annotated[
        Path, typer.Option("--output", "-o", metavar="FILE", help="Picture to write: .png, .jpg or .fits.")
    ],
    scenario: Annotated[
        Path | None, typer.Option(metavar="TOML", help="A scenario file to draw from.")
    ] = None,
    shot: Annotated[int, typer.Option(metavar="N", help="Which shot of the scenario, from 1.")] = 1,
    model: Annotated[str | None, typer.Option(help="A model, or path/to/file.py:ClassName.")] = None,
    site: Annotated[str | None, typer.Option(metavar="LAT,LON[,HEIGHT_M]", help="Degrees, metres.")] = None,
    at: Annotated[str | None, typer.Option(metavar="UTC", help="ISO 8601 with Z or offset.")] = None,
    spot: Annotated[
        list[str] | None,
        typer.Option(metavar="LAT,CARRINGTON_LON[,AREA_MSH]", help="A spot, degrees; may be repeated."),
    ] = None,
    group: Annotated[
        list[str] | None,
        typer.Option(
            metavar="LAT,CARRINGTON_LON,AREA_MSH[,SPOTS]", help="A group of spots; may be repeated."
        ),
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="PARAM=VALUE", help="A parameter of the model; may be repeated."),
    ] = None,
    surface: Annotated[
        str, typer.Option(help="plain, grid (heliographic) or stripes (meridians).")
    ] = "plain",
    granulation: Annotated[
        float | None, typer.Option(help="Contrast of the granules, 0 to 0.3; 0.05 is strong.")
    ] = None,
    faculae: Annotated[
        float | None, typer.Option(help="Contrast of faculae round the spots, 0 to 0.5; 0.1 is natural.")
    ] = None,
    sky_glow: Annotated[
        float | None, typer.Option(help="Light of the sky by a setting Sun, 0 to 0.5 of the disc's.")
    ] = None,
    ridge_deg: Annotated[
        float | None, typer.Option(help="A ridge on the horizon, up to so many degrees high.")
    ] = None,
    texture: Annotated[
        Path | None, typer.Option(metavar="PICTURE", help="A full-disc picture of the Sun as the surface.")
    ] = None,
    texture_time: Annotated[
        str | None, typer.Option(metavar="UTC", help="When it was taken, if the picture does not say.")
    ] = None,
    texture_north_deg: Annotated[
        float, typer.Option(help="Solar north from the picture's up, anticlockwise.")
    ] = 0.0,
    size: Annotated[str, typer.Option(metavar="WxH", help="Pixels, without a scenario.")] = "1000x1000",
    fill: Annotated[
        float, typer.Option(help="Disc's diameter over the shorter side, without a scenario.")
    ] = 0.9,
    roll_deg: Annotated[float, typer.Option(help="Camera's anticlockwise roll, without a scenario.")] = 0.0,
    refraction: Annotated[bool, typer.Option(help="Lift and squash the disc by the air.")] = True,
    noise_seed: Annotated[int | None, typer.Option(help="Add the camera's noise from this seed.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace an existing picture.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Draw the Sun's disc as a level camera sees it under one model, or one shot of a scenario.

    The ending of the name chooses the format. Beside the picture stands what is true in it, NAME.truth.json.
    """

    def work() -> dict[str, Any]:
        from dataclasses import replace

        import numpy as np

        from ...models.errors import InputError
        from ..forward import observe, picture_bytes, truth
        from ..picture_file import format_of, truth_path, truth_text
        from ..scenario import read_scenario

        kind, beside = format_of(output), truth_path(output)
        check_free([output, beside], overwrite)
        if noise_seed is not None and noise_seed < 0:
            raise InputError("noise-seed", "must be 0 or more", noise_seed)
        if scenario is not None:
            if model or site or at or spot or group or setting:
                raise InputError(
                    "scenario", "must stand alone, without --model, --site, --at, --spot, --group, --set"
                )
            plan = read_scenario(scenario)
        else:
            plan = _single(model, site, at, spot or [], group or [], setting or [], size, roll_deg, fill)
        if not 1 <= shot <= len(plan.shots):
            raise InputError("shot", f"must be between 1 and {len(plan.shots)}", shot)
        if sky_glow is not None:
            plan = replace(plan, air=replace(plan.air, glow=sky_glow))
        if ridge_deg is not None:
            plan = replace(plan, ground=replace(plan.ground, ridge_deg=ridge_deg))
        if not refraction:
            plan = replace(plan, air=replace(plan.air, refraction=False))
        plan = replace(plan, shots=plan.shots[:shot])
        mottling = {"granulation": granulation, "faculae": faculae}
        told = {name: value for name, value in mottling.items() if value is not None}
        plan = replace(plan, surface=replace(plan.surface, **told))
        if texture is not None:
            from ..texture_file import read_surface

            real = read_surface(texture, texture_time, texture_north_deg)
            plan = replace(plan, surface=replace(plan.surface, picture=real))
        elif texture_time is not None or texture_north_deg:
            raise InputError("texture-time and texture-north-deg", "must come with --texture")
        observations = observe(plan)
        rng = None if noise_seed is None else np.random.default_rng(noise_seed)
        with progress_on_stderr("drawing", quiet=as_json) as told:
            told(0, 1, "drawing")
            content = picture_bytes(kind, plan, observations[-1], rng, surface=surface)
        known = truth(plan, observations)
        shown = {
            **{name: known[name] for name in ("model", "set", "rotation", "drawn_with", "site")},
            "shot": known["shots"][-1],
        }
        record = {
            **{
                name: known[name] for name in ("schema", "program", "scenario", "scenario_sha256", "invented")
            },
            **{name: value for name, value in shown.items() if name != "shot"},
            "surface": surface,
            "seed": noise_seed,
            "shots": [{**shown["shot"], "file": output.name}],
        }
        write_whole(output, content)
        write_whole(beside, truth_text(record))
        return {
            "file": str(output),
            "truth_file": str(beside),
            "size_px": [plan.camera.width_px, plan.camera.height_px],
            "surface": surface,
            "scenario": str(scenario) if scenario else None,
            **shown,
        }

    report(NAME, work, as_json=as_json, show=_show)


def _single(
    model: str | None,
    site: str | None,
    at: str | None,
    spots: list[str],
    groups: list[str],
    settings: list[str],
    size: str,
    roll_deg: float,
    fill: float,
) -> Any:
    """A scenario of one shot from the options; the focal length makes the disc fill that share of the shorter side."""
    import math
    from dataclasses import replace

    import numpy as np

    from ...models.errors import InputError
    from ...models.geometry import view_of
    from ...models.observables import semidiameter
    from ...models.place import Instants, iso_utc
    from ...models.registry import get_model
    from ..camera import Camera, Sensor, focal_length_for
    from ..rotation import DEFAULT_LAW, rotation_law
    from ..scenario import PlannedShot, Scenario
    from ..spot_groups import spot_group
    from ..surface import surface_of
    from .parsing import numbers, settings_of, site_of, size_of

    for name, value in (("model", model), ("site", site), ("at", at)):
        if value is None:
            raise InputError(name, "must be given where there is no --scenario")
    if not math.isfinite(roll_deg):
        raise InputError("roll-deg", "must be finite", roll_deg)
    if not 0.02 <= fill <= 4:
        raise InputError("fill", "must be between 0.02 and 4", fill)
    geometry = get_model(str(model))
    given = settings_of(settings, [geometry])[0]
    place, instant = site_of(str(site)), Instants.from_utc(str(at))
    width, height = size_of(size)
    camera = Camera(width, height, sensor=Sensor(tint_rgb=(1.0, 0.93, 0.75), blur_px=0.5))
    radius = float(semidiameter(view_of(geometry, instant, place, given)))
    focal = focal_length_for(camera, radius, fill / 2 * min(width, height))
    camera = Camera(width, height, focal, camera.pixel_pitch_um, camera.sensor)
    places = [tuple(numbers("spot", text, (2, 3), "LAT,CARRINGTON_LON[,AREA_MSH]")) for text in spots]
    shot = PlannedShot("render.jpg", iso_utc(float(instant.utc_days)), roll_deg=roll_deg)
    law = rotation_law(DEFAULT_LAW)
    surface = surface_of(places, law)
    for text in groups:
        wanted = numbers("group", text, (3, 4), "LAT,CARRINGTON_LON,AREA_MSH[,SPOTS]")
        rng = np.random.default_rng(len(surface.spots))
        size_of_group = {"spots": round(wanted[3])} if len(wanted) > 3 else {}
        surface = replace(surface, spots=surface.spots + spot_group(rng, *wanted[:3], **size_of_group))
    return Scenario("render", place, geometry, given, (shot,), surface, camera)


def _show(result: dict[str, Any]) -> None:
    shot = result["shot"]
    print(f"{result['file']}: {result['size_px'][0]} x {result['size_px'][1]} px, {result['model']}")
    print(
        f"  Sun's centre {shot['apparent_altitude_deg']:.2f} deg up (without air {shot['altitude_deg']:.2f})"
    )
    print(f"  radius {shot['radius_px']:.1f} px, height over width {shot['axis_ratio']:.4f}")
    if "texture" in shot:
        blank = 100 * shot["texture"]["blank_share"]
        taken = shot["texture"]["time_utc"]
        print(
            f"  surface: {shot['texture']['file']} of {taken}; striped, as not in it: {blank:.1f} % of the disc"
        )
    for spot in shot["spots"][:_MOST_SHOWN]:
        where = f"x {spot['x']:+.3f}, y {spot['y']:+.3f}" if spot["visible"] else "on the far side"
        print(f"  spot {spot['spot']}: {where}")
    if (more := len(shot["spots"]) - _MOST_SHOWN) > 0:
        print(f"  and {more} more spots in {result['truth_file']}")

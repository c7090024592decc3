"""Writing what was measured: the outing file and, beside it, one overlay per photo."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ...models.errors import InputError
from ..files import check_free, write_whole
from ..outing_file import merge_outing, outing_text
from .load import load_photo
from .measure import Measured, PhotoMeasurement

_USED = 0.5
_WIDTH_PX = 1400


def overlay_paths(photos: list[Path], outing: Path) -> list[Path]:
    """Where the overlays go: ``<photo stem>.overlay.png`` in the outing's folder.

    Raises
    ------
    InputError
        A photo is named twice, or two have the same stem.
    """
    paths = [outing.parent / f"{photo.stem}.overlay.png" for photo in photos]
    for index, path in enumerate(paths):
        if photos[index] in photos[:index]:
            raise InputError("PHOTO", "must name each photo once", str(photos[index]))
        if path in paths[:index]:
            raise InputError(
                "PHOTO", "must have stems that differ, for the overlays' names", photos[index].name
            )
    return paths


def check_outputs(photos: list[Path], outing: Path, overwrite: bool) -> list[Path]:
    """The overlays' paths, after making sure that nothing would be overwritten unasked."""
    overlays = overlay_paths(photos, outing)
    if outing.is_dir():
        raise InputError("--output", "must be a file such as outing.toml, not a folder", str(outing))
    for photo in photos:
        if photo.resolve() == outing.resolve():
            raise InputError("--output", "must not be one of the photos", str(outing))
    check_free([outing, *overlays], overwrite)
    return overlays


def record(
    measured: Measured, outing: Path, overlays: list[Path], *, overwrite: bool, explicit: Collection[str] = ()
) -> None:
    """Write the outing file and the overlays, after all of them have been made.

    `explicit` names the fields that the person gave (see :func:`whichsun.sim.outing_file.write_outing`).
    """
    if outing.exists() and overwrite:
        text = merge_outing(outing.read_text("utf-8"), measured.outing, explicit=explicit, file=str(outing))
    else:
        text = outing_text(measured.outing)
    pictures = [overlay_png(measured, index) for index in range(len(measured.photos))]
    write_whole(outing, text)
    for path, picture in zip(overlays, pictures, strict=True):
        write_whole(path, picture)


@dataclass(frozen=True)
class DrawnPhoto:
    """A measured photo in the plain arrays that pictures are drawn from.

    `image` is (rows, columns, 3) sRGB, `limb_px` (n, 2) columns and rows of the fitted limb, `matches` the
    partner's number for each matched spot.
    """

    image: Any
    shot: dict[str, Any]
    limb_px: list[tuple[float, float]]
    matches: dict[int, str]


def drawn_photo(measured: Measured, index: int) -> DrawnPhoto:
    """What the pictures of one photo are drawn from."""
    photo = measured.photos[index]
    columns, rows = photo.limb.disc.outline(721)
    limb = [(float(column), float(row)) for column, row in zip(columns, rows, strict=True)]
    return DrawnPhoto(load_photo(photo.path).rgb, _drawn_shot(photo), limb, _partners(measured, index))


def overlay_png(measured: Measured, index: int) -> bytes:
    """PNG of one photo with its limb, centre, vertical, spots and matches."""
    from ...render.overlay import draw_overlay
    from ...render.style import save_png

    drawn = drawn_photo(measured, index)
    artists: Any = draw_overlay(
        drawn.image,
        drawn.shot,
        limb_px=drawn.limb_px,
        matches=drawn.matches,
        title=Path(measured.photos[index].shot.file).name,
        notes=_notes(measured, index),
    )
    return save_png(artists[0].figure, _WIDTH_PX)


def _drawn_shot(photo: PhotoMeasurement) -> dict[str, Any]:
    shot, found = photo.shot, photo.findings.spots
    spots = [
        {
            "id": spot.id,
            "x": spot.x,
            "y": spot.y,
            "column_px": seen.column,
            "row_px": seen.row,
            "area_msh": spot.area_msh,
        }
        for spot, seen in zip(shot.spots, found, strict=True)
    ]
    return {
        "centre_px": shot.centre_px,
        "semi_axes_px": shot.semi_axes_px,
        "roll_deg": shot.roll_deg,
        "mirrored": shot.mirrored,
        "spots": spots,
    }


def _other(measured: Measured, index: int) -> int | None:
    """The photo that the overlay's matches point to: the first one, for the first the last."""
    if len(measured.photos) < 2:
        return None
    return 0 if index else len(measured.photos) - 1


def _partners(measured: Measured, index: int) -> dict[int, str]:
    other = _other(measured, index)
    if other is None:
        return {}
    here, there = measured.photos[index].shot.file, measured.photos[other].shot.file
    partners: dict[int, str] = {}
    for match in measured.matches:
        if match.probability > _USED and {match.shot_a, match.shot_b} == {here, there}:
            own, far = (match.id_a, match.id_b) if match.shot_a == here else (match.id_b, match.id_a)
            partners[own] = str(far)
    return partners


def _notes(measured: Measured, index: int) -> list[str]:
    shot = measured.photos[index].shot
    other = _other(measured, index)
    notes = [f"{shot.time_utc or 'time unknown'}, {shot.mount}, {len(shot.spots)} spots"]
    if other is not None and _partners(measured, index):
        notes.append(f"In brackets: the same spot's number in {Path(measured.photos[other].shot.file).name}")
    return notes

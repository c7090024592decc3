"""Writing what was measured: the outing file and, beside it, one overlay per photo."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from ...models.errors import InputError, WhichsunError
from ..files import check_free, write_whole
from ..outing_file import merge_outing, outing_text
from ..telling import day_words, moment_words, nobody_took
from ..workers import worker_pool, workers_for
from .load import load_rgb
from .measured import Measured, PhotoMeasurement, ShotTurn
from .pairing import NOT_RIGID

_USED = 0.5
_WIDTH_PX = 1400
_NAME_LETTERS = 44  # of a file name below half the width of the sheet


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
    pair = [pair_path(outing)] if len(photos) > 1 else []
    check_free([outing, *overlays, *pair], overwrite)
    return overlays


def pair_path(outing: Path) -> Path:
    """Where the sheet of the first and the last photo goes: ``<outing stem>.pair.png``."""
    return outing.with_name(f"{outing.stem}.pair.png")


def record(
    measured: Measured,
    outing: Path,
    overlays: list[Path],
    *,
    overwrite: bool,
    explicit: Collection[str] = (),
    processes: int | None = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Path | None:
    """Write the outing file, the overlays and the sheet of the pair, after all of them have been made.

    Returns the sheet's path, None where there is but one photo.
    `explicit` names the fields that the person gave (see :func:`whichsun.sim.outing_file.write_outing`);
    `processes` and `progress` are those of :func:`overlay_pngs`.
    """
    if outing.exists() and overwrite:
        text = merge_outing(outing.read_text("utf-8"), measured.outing, explicit=explicit, file=str(outing))
    else:
        text = outing_text(measured.outing)
    pictures = overlay_pngs(measured, processes=processes, progress=progress)
    sheet = pair_png(measured) if len(measured.photos) > 1 else None
    write_whole(outing, text)
    for path, picture in zip(overlays, pictures, strict=True):
        write_whole(path, picture)
    if sheet is None:
        return None
    write_whole(pair_path(outing), sheet)
    return pair_path(outing)


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
    return DrawnPhoto(load_rgb(photo.path), _drawn_shot(photo), limb, _partners(measured, index))


def overlay_pngs(
    measured: Measured, *, processes: int | None = 1, progress: Callable[[int, int], None] | None = None
) -> list[bytes]:
    """:func:`overlay_png` of every photo, in order.

    Parameters
    ----------
    measured : Measured
    processes : int, optional
        How many processes share the work; None takes one per core for more than a few photos.
    progress : callable, optional
        Called with (pictures done, pictures in all).

    Raises
    ------
    PictureError
        A photo can no longer be read.
    WhichsunError
        The system ended one of the processes.
    """
    count = len(measured.photos)
    workers = workers_for(processes, count)
    if workers == 1:
        return _counted(map(partial(overlay_png, measured), range(count)), count, progress)
    try:
        with worker_pool(workers) as pool:
            return _counted(pool.map(partial(overlay_png, measured), range(count)), count, progress)
    except BrokenProcessPool:
        raise WhichsunError(
            "the system ended a process that drew overlays (out of memory?), so nothing was written; "
            "measure fewer photos at once"
        ) from None


def _counted(
    pictures: Iterable[bytes], count: int, progress: Callable[[int, int], None] | None
) -> list[bytes]:
    done = []
    for picture in pictures:
        done.append(picture)
        if progress is not None:
            progress(len(done), count)
    return done


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
        target=_target_here(measured, index),
        title=Path(measured.photos[index].shot.file).name,
        notes=_notes(measured, index),
    )
    return save_png(artists[0].figure, _WIDTH_PX)


def pair_png(measured: Measured) -> bytes:
    """PNG of the first and the last photo side by side with the turns of the pattern and of the target."""
    from ...render.overlay import draw_pair
    from ...render.style import save_png, turn_words
    from ...render.target_lines import SHORTEST_ARROW_DEG

    ends = (0, len(measured.photos) - 1)
    drawn = [drawn_photo(measured, index) for index in ends]
    turn, target = measured.turn, measured.target
    words = ""
    if target is not None:
        error = "" if target.sigma_deg is None else f", ± {target.sigma_deg:.1f}\N{DEGREE SIGN}"
        sign = "yellow arrow" if abs(target.turn_deg) > SHORTEST_ARROW_DEG else "yellow"
        words = (
            f"Spot {target.id_a} alone ({sign}): {turn_words(target.turn_deg)}{error}. "
            "Dashed: its line before. White: angle from up."
        )
    artists: Any = draw_pair(
        [one.image for one in drawn],
        [one.shot for one in drawn],
        turn_deg=None if turn is None else turn.turn_deg,
        sigma_deg=None if turn is None else turn.sigma_deg,
        limbs_px=[one.limb_px for one in drawn],
        # One spot has one name on both: its number in the first photo.
        matches=[{number: str(number) for number in drawn[0].matches}, drawn[1].matches],
        targets=None if target is None else (target.id_a, target.id_b),
        target_words=words,
        note=_caveat(turn) if drawn[0].matches else "No spot of the one could be found in the other.",
        captions=[_caption(measured, index) for index in ends],
        title=_pair_title(measured, bool(drawn[0].matches)),
    )
    return save_png(artists[0].figure, 1800)


def _caption(measured: Measured, index: int) -> str:
    shot = measured.photos[index].shot
    name = Path(shot.file).name
    if len(name) > _NAME_LETTERS:
        name = f"{name[:20]}\N{HORIZONTAL ELLIPSIS}{name[-20:]}"
    return f"{name}\n{moment_words(shot.time_utc)}"


def _pair_title(measured: Measured, matched: bool) -> str:
    """What the sheet shows and the day, with a word where nobody took the photos."""
    shots = [measured.photos[index].shot for index in (0, -1)]
    what = "The same spots, hours apart" if matched else "First and last photo"
    day = f": {day_words(shots[0].time_utc[:10])}" if shots[0].time_utc else ""
    drawn = " (invented)" if nobody_took(shots) else ""
    return f"{what}{day}{drawn}"


def _caveat(turn: ShotTurn | None) -> str:
    if turn is None or turn.scatter is None or turn.scatter < NOT_RIGID:
        return ""
    return f"The spots did not turn as one: {turn.scatter:.2f} disc radii are left over."


def _target_here(measured: Measured, index: int) -> int | None:
    """The target's number in a photo: known in the first and the last."""
    if measured.target is None:
        return None
    return {0: measured.target.id_a, len(measured.photos) - 1: measured.target.id_b}.get(index)


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
    drawn = ", a drawn picture" if nobody_took([shot]) else ""
    notes = [f"{moment_words(shot.time_utc)}, {shot.mount}, {len(shot.spots)} spots{drawn}"]
    if other is not None and _partners(measured, index):
        if _target_here(measured, index) is not None:
            notes.append("Line: the target spot, with its angle from the vertical after undoing the squash")
        notes.append(f"In brackets: the same spot's number in {Path(measured.photos[other].shot.file).name}")
        said = _said_by_hand(measured, index, other)
        if said:
            notes.append(f"Matched by hand: {said}")
    return notes


def _said_by_hand(measured: Measured, index: int, other: int) -> str:
    """The pairs that a person matched, this photo's number first."""
    here, there = measured.photos[index].shot.file, measured.photos[other].shot.file
    pairs = [
        (one.id_a, one.id_b) if one.shot_a == here else (one.id_b, one.id_a)
        for one in measured.matches
        if one.by_hand and {one.shot_a, one.shot_b} == {here, there}
    ]
    return ", ".join(f"{own} with {far}" for own, far in pairs[:8]) + (" ..." if len(pairs) > 8 else "")

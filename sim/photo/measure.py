"""Measuring photos: limb, spots, matches and turns of one outing."""

from __future__ import annotations

import math
import os
import warnings
from collections.abc import Callable, Sequence

import numpy as np

from ...models.errors import InputError, PictureError, WhichsunWarning
from ...models.place import iso_utc, parse_utc, utc_days_of
from ..hidden import CELLS, hidden_text
from ..outing import MOUNTS, TRIPOD_ROLL_SIGMA_DEG, Outing, OutingSite, Shot
from .clipping import CLIPPED_COLOUR, clipped_colour
from .drift import level_checks
from .level import LEAST_SQUASH, Level, settle_level
from .limb import Limb, limb_sigmas, measure_limb
from .load import Photo, load_photo
from .many import in_order_of_time, measure_each, pairs_to_compare
from .measured import (
    Measured,
    PhotoMeasurement,
    PhotoOptions,
    ShotTurn,
    SpotMatch,
    given_by_file,
    outing_spots,
)
from .overrule import Overrule, matched_by_hand, overruled
from .pairing import compare_photos, without_dust
from .spots import SpotFindings, find_spots
from .target import target_turn

__all__ = [
    "Measured",
    "PhotoMeasurement",
    "PhotoOptions",
    "ShotTurn",
    "SpotMatch",
    "given_by_file",
    "measure_photo",
    "measure_photos",
]

_OVEREXPOSED = 0.9
_CLIPPED_WARNING = 0.02


def measure_photo(
    path: str | os.PathLike[str], options: PhotoOptions | None = None, *, name: str | None = None
) -> PhotoMeasurement:
    """Measure one photo of the Sun.

    Parameters
    ----------
    path : path-like
        JPEG, PNG, TIFF or JPEG 2000.
    options : PhotoOptions, optional
        Given values go before those of the EXIF.
    name : str, optional
        What the shot's file is called; the path as given.

    Raises
    ------
    PictureError
        The file cannot be read, or shows no disc or too little of its limb.
    InputError
        A given value is wrong.
    """
    options = options or PhotoOptions()
    time = None if options.time is None else iso_utc(utc_days_of(parse_utc(options.time, "--time")))
    photo = load_photo(path, utc_offset=options.utc_offset)
    name = name or os.fspath(path)
    if photo.doubt is not None:
        _warn(f"{name}: {photo.doubt}")
    mount = options.mount or MOUNTS[0]
    level = mount == "level-tripod" or options.roll_deg is not None
    limb = measure_limb(
        photo,
        roll_deg=options.roll_deg or 0.0,
        mirrored=bool(options.mirrored),
        follow_squash=not level,
    )
    limb, found_level, doubts = settle_level(
        photo, limb, mount, options.roll_deg, options.roll_sigma_deg, TRIPOD_ROLL_SIGMA_DEG
    )
    for doubt in doubts:
        _warn(f"{name}: {doubt}")
    findings = find_spots(photo, limb)
    if findings.clipped_share > _OVEREXPOSED:
        nowhere = hidden_text(np.ones((CELLS, CELLS), dtype=bool))
        findings = SpotFindings((), (), findings.clipped_share, hidden=nowhere)
    if limb.flat and not findings.spots:
        raise PictureError(
            photo.path.name,
            "the round bright field is as bright at its edge as inside and shows no spot: the stop of an eyepiece, "
            "not the Sun's limb",
            "give a photo that shows the Sun's own edge",
        )
    _judge_exposure(photo, limb, findings)
    if options.roll_deg is not None:
        _check_level(name, limb, found_level.sigma_deg)
    site = options.site or photo.site
    shot = _shot(name, photo, limb, findings, options, time or photo.time_utc, mount, found_level)
    _warn_missing(name, shot, site, photo)
    rows, columns = photo.luma.shape
    return PhotoMeasurement(shot, site, photo.path, (rows, columns), limb, findings, found_level)


def measure_photos(
    paths: Sequence[str | os.PathLike[str]],
    options: Sequence[PhotoOptions] | PhotoOptions | None = None,
    *,
    names: Sequence[str] | None = None,
    progress: Callable[[int, int], None] | None = None,
    overrule: Overrule | None = None,
    processes: int | None = 1,
    by_time: bool = False,
) -> Measured:
    """Measure the photos of one outing, drop dust, match the spots and find the turns.

    Parameters
    ----------
    paths : sequence of path-like
        In the order in which they were taken.
    options : PhotoOptions or one per photo, optional
    names : sequence of str, optional
        What the shots' files are called; the paths as given.
    progress : callable, optional
        Called with (steps done, steps in all): photos measured, then pairs compared.
    overrule : Overrule, optional
        What a person says against the machine.
    processes : int, optional
        How many processes share the work, None for one per core where there are more than a few photos. The
        results are the same. A script that asks for more than one needs the usual guard of its main module.
    by_time : bool
        Put the photos in order of time, if all have one, instead of the order given.

    Returns
    -------
    Measured
        A photo that cannot be measured stands in `failed` with its reason.

    Raises
    ------
    PictureError, InputError
        As :func:`measure_photo`, where no photo could be measured or a given value is wrong.
    """
    if not paths:
        raise InputError("PHOTO", "must be one or more photos")
    names = [os.fspath(path) for path in paths] if names is None else list(names)
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise InputError("PHOTO", "must name each photo once", twice)
    if options is None or isinstance(options, PhotoOptions):
        each = [options or PhotoOptions()] * len(paths)
    else:
        each = list(options)
    if len(each) != len(paths):
        raise InputError("options", f"must be one, or one for each of the {len(paths)} photos", len(each))
    steps = len(paths) + len(pairs_to_compare(len(paths)))

    def told(done: int, _: int = 0) -> None:
        if progress is not None:
            progress(done, steps)

    photos, failed = measure_each(measure_photo, paths, each, names, processes=processes, progress=told)
    if by_time:
        photos = in_order_of_time(photos)
    names = [photo.shot.file for photo in photos]
    overrule = overrule or Overrule()
    photos = overruled(without_dust(photos), names, overrule)
    for photo in photos:
        if not photo.shot.spots:
            _warn(f"{photo.shot.file}: no spot was found on the disc")
    by_hand, idle = matched_by_hand(photos, overrule)
    matches, turns = compare_photos(photos, by_hand, lambda done: told(min(len(paths) + done, steps)))
    target = target_turn(photos, matches, names, overrule)
    shots, kept = tuple(photo.shot for photo in photos), (*(one.kept for one in by_hand), *idle)
    outing = Outing(_common_site(photos), shots, matches=kept)
    checks = tuple(level_checks(photos))
    return Measured(outing, tuple(photos), tuple(matches), tuple(turns), target, tuple(failed), checks)


def _warn(text: str) -> None:
    warnings.warn(text, WhichsunWarning, stacklevel=3)


def _judge_exposure(photo: Photo, limb: Limb, findings: SpotFindings) -> None:
    name = photo.path.name
    if findings.clipped_share > _OVEREXPOSED:
        share = f"{100 * findings.clipped_share:.0f} %"
        _warn(
            f"{name}: hopelessly over-exposed: {share} of the disc is pure white and no spot can show, so the limb "
            "alone is measured; expose shorter, through a denser certified filter"
        )
        return
    if findings.clipped_share > _CLIPPED_WARNING:
        _warn(
            f"{name}: {100 * findings.clipped_share:.0f} % of the disc is clipped white; spots there are lost"
        )
    else:
        share = clipped_colour(photo, limb.disc)
        if share > CLIPPED_COLOUR:
            _warn(
                f"{name}: one colour is clipped over {100 * share:.0f} % of the disc; brightness alone is used"
            )


def _check_level(name: str, limb: Limb, sigma: float | None) -> None:
    """Warn where the squash lies askew of the level by more than both can explain."""
    if limb.tilt_deg is None or limb.tilt_sigma_deg is None or sigma is None or limb.disc.tilt != 0:
        return
    if 1 - limb.disc.b / limb.disc.a < LEAST_SQUASH:
        return
    if abs(limb.tilt_deg) > 3 * math.hypot(sigma, limb.tilt_sigma_deg):
        _warn(
            f"{name}: the squash of the limb lies {limb.tilt_deg:+.1f} +/- {limb.tilt_sigma_deg:.1f} deg askew of "
            "the level (anticlockwise +); check the tripod's level or give --roll"
        )


def _shot(
    name: str,
    photo: Photo,
    limb: Limb,
    findings: SpotFindings,
    options: PhotoOptions,
    time: str | None,
    mount: str,
    level: Level,
) -> Shot:
    centre_sigma, axes_sigma = limb_sigmas(limb)
    disc = limb.disc
    told = options.roll_deg is not None or options.roll_sigma_deg is not None
    return Shot(
        file=name,
        time_utc=time,
        mount=mount,
        roll_deg=level.roll_deg,
        roll_sigma_deg=level.sigma_deg,
        roll_measured_deg=None if told else level.roll_deg,
        roll_measured_sigma_deg=None if told else level.sigma_deg,
        mirrored=options.mirrored,
        camera=photo.camera,
        focal_length_mm=photo.focal_length_mm,
        pixel_pitch_um=photo.pixel_pitch_um,
        centre_px=(disc.column, disc.row),
        semi_axes_px=(disc.a, disc.b),
        centre_sigma_px=centre_sigma,
        semi_axes_sigma_px=axes_sigma,
        axis_ratio=disc.b / disc.a,
        limb_hidden_deg=tuple(float(angle) for arc in limb.hidden_deg for angle in arc) or None,
        hidden=findings.hidden,
        spots=outing_spots(findings.spots),
    )


def _warn_missing(name: str, shot: Shot, site: OutingSite | None, photo: Photo) -> None:
    if shot.time_utc is None and photo.local_time is not None:
        _warn(
            f"{name}: the camera's clock says {photo.local_time:%Y-%m-%d %H:%M:%S} without an offset from UTC, so the "
            "time is unknown; give --utc-offset +HH:MM or --time"
        )
    elif shot.time_utc is None:
        _warn(f"{name}: the photo carries no time; give --time, or time_utc in the outing file")
    if site is None:
        _warn(f"{name}: the photo carries no place; give --site LAT,LON, or [site] in the outing file")


def _common_site(photos: list[PhotoMeasurement]) -> OutingSite | None:
    sites = [photo.site for photo in photos if photo.site is not None]
    if not sites:
        return None
    first = sites[0]
    for other in sites[1:]:
        apart = max(
            abs(other.latitude_deg - first.latitude_deg),
            abs(math.remainder(other.longitude_deg - first.longitude_deg, 360)),
        )
        if apart > 0.05:
            _warn(f"the photos' places differ by {apart:.2f} deg; the first one's is taken for the outing")
            break
    return first

"""Measuring photos: limb, spots, matches and turns of one outing."""

from __future__ import annotations

import math
import os
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ...models.errors import InputError, PictureError, UnknownNameError, WhichsunWarning
from ...models.geometry import Array
from ...models.place import iso_utc, parse_utc, utc_days_of
from ..outing import MOUNTS, Outing, OutingSite, Shot, Spot
from .dust import DustShot, fixed_specks, spot_table
from .limb import Limb, limb_sigmas, measure_limb
from .load import Photo, load_photo
from .matching import Matching, is_mirrored, match_spots
from .spots import MeasuredSpot, SpotFindings, find_spots
from .turning import Turn, pattern_turn

TRIPOD_ROLL_SIGMA_DEG = 0.7
"""A bubble level is good to about 0.5 to 1 degree (common practice, no source)."""

_OVEREXPOSED = 0.9
_CLIPPED_WARNING = 0.02
_USED_IN_TURN = 0.5
_DOUBTFUL = 0.9


@dataclass(frozen=True)
class PhotoOptions:
    """What a person says of a photo; None leaves it to the EXIF or to the default.

    Parameters
    ----------
    site : OutingSite, optional
    time : str, optional
        ISO 8601 with offset or Z.
    utc_offset : str, optional
        Offset of the camera's clock, such as ``+05:30``.
    mount : str, optional
        One of ``level-tripod`` (default), ``equatorial``, ``hand-held``.
    mirrored : bool, optional
        The picture is a mirror image; its places are mirrored back.
    roll_deg, roll_sigma_deg : float, optional
        The camera's anticlockwise roll seen from behind it (0) and its uncertainty (0.7 deg on a level
        tripod, else unknown).
    """

    site: OutingSite | None = None
    time: str | None = None
    utc_offset: str | None = None
    mount: str | None = None
    mirrored: bool | None = None
    roll_deg: float | None = None
    roll_sigma_deg: float | None = None

    def __post_init__(self) -> None:
        if self.mount is not None and self.mount not in MOUNTS:
            raise UnknownNameError("mount", self.mount, MOUNTS)
        if self.roll_deg is not None and not -360 <= self.roll_deg <= 360:
            raise InputError("roll_deg", "must be between -360 and 360", self.roll_deg)
        if self.roll_sigma_deg is not None and not 0 <= self.roll_sigma_deg <= 180:
            raise InputError("roll_sigma_deg", "must be between 0 and 180", self.roll_sigma_deg)


@dataclass(frozen=True)
class PhotoMeasurement:
    """One measured photo: its shot, the site if known, the picture and all that was found on it."""

    shot: Shot
    site: OutingSite | None
    photo: Photo
    limb: Limb
    findings: SpotFindings

    @property
    def days(self) -> float | None:
        """UTC days since 2000-01-01 12:00, None without a time."""
        return None if self.shot.time_utc is None else utc_days_of(parse_utc(self.shot.time_utc))


@dataclass(frozen=True)
class SpotMatch:
    """Spot `id_a` of photo `shot_a` is spot `id_b` of photo `shot_b`."""

    shot_a: str
    id_a: int
    shot_b: str
    id_b: int
    probability: float


@dataclass(frozen=True)
class ShotTurn:
    """The turn of the spot pattern between two photos, anticlockwise positive; None where it is not known.

    `mirrored`: whether one of the two is a mirror image of the other, None where fewer than three spots tell.
    """

    shot_a: str
    shot_b: str
    turn_deg: float | None
    sigma_deg: float | None
    spots_used: int
    mirrored: bool | None


@dataclass(frozen=True)
class Measured:
    """All photos of an outing measured together."""

    outing: Outing
    photos: tuple[PhotoMeasurement, ...]
    matches: tuple[SpotMatch, ...] = ()
    turns: tuple[ShotTurn, ...] = field(default=())

    @property
    def turn(self) -> ShotTurn | None:
        """The turn from the first to the last photo."""
        names = [photo.shot.file for photo in self.photos]
        wanted = [turn for turn in self.turns if (turn.shot_a, turn.shot_b) == (names[0], names[-1])]
        return wanted[0] if wanted else None

    def to_json(self) -> dict[str, Any]:
        """Plain data with the stable keys of the command `measure`."""
        turns = [
            {
                "shot_a": one.shot_a,
                "shot_b": one.shot_b,
                "turn_deg": one.turn_deg,
                "sigma_deg": one.sigma_deg,
                "spots_used": one.spots_used,
            }
            for one in self.turns
        ]
        turn = self.turn
        whole = None if turn is None else {**turns[self.turns.index(turn)], "mirrored": turn.mirrored}
        return {
            "shots": [_shot_json(photo) for photo in self.photos],
            "matches": [vars(match).copy() for match in self.matches],
            "turns": turns,
            "turn": whole,
        }


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
        The file cannot be read, or shows no disc, too little of its limb, or a wholly clipped disc.
    InputError
        A given value is wrong.
    """
    options = options or PhotoOptions()
    time = None if options.time is None else iso_utc(utc_days_of(parse_utc(options.time, "--time")))
    photo = load_photo(path, utc_offset=options.utc_offset)
    name = name or os.fspath(path)
    mount = options.mount or MOUNTS[0]
    level = mount == "level-tripod" or options.roll_deg is not None
    limb = measure_limb(
        photo,
        roll_deg=options.roll_deg or 0.0,
        mirrored=bool(options.mirrored),
        follow_squash=not level,
    )
    findings = find_spots(photo, limb)
    _judge_exposure(photo, limb, findings)
    sigma = options.roll_sigma_deg
    if sigma is None and level:
        sigma = TRIPOD_ROLL_SIGMA_DEG
    _check_level(name, limb, sigma)
    site = options.site or photo.site
    shot = _shot(name, photo, limb, findings, options, time or photo.time_utc, mount, sigma)
    _warn_missing(name, shot, site, photo)
    return PhotoMeasurement(shot, site, photo, limb, findings)


def measure_photos(
    paths: Sequence[str | os.PathLike[str]],
    options: Sequence[PhotoOptions] | PhotoOptions | None = None,
    *,
    names: Sequence[str] | None = None,
    progress: Callable[[int, int], None] | None = None,
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
        Called with (photos done, photos in all).

    Raises
    ------
    PictureError, InputError
        As :func:`measure_photo`; the first photo that fails stops the work.
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
    photos = []
    for index, (path, option, name) in enumerate(zip(paths, each, names, strict=True)):
        photos.append(measure_photo(path, option, name=name))
        if progress is not None:
            progress(index + 1, len(paths))
    photos = _without_dust(photos)
    for photo in photos:
        if not photo.shot.spots:
            _warn(f"{photo.shot.file}: no spot was found on the disc")
    matches, turns = _compare(photos)
    outing = Outing(_common_site(photos), tuple(photo.shot for photo in photos))
    return Measured(outing, tuple(photos), tuple(matches), tuple(turns))


def _warn(text: str) -> None:
    warnings.warn(text, WhichsunWarning, stacklevel=3)


def _judge_exposure(photo: Photo, limb: Limb, findings: SpotFindings) -> None:
    name = photo.path.name
    if findings.clipped_share > _OVEREXPOSED:
        share = f"{100 * findings.clipped_share:.0f} %"
        raise PictureError(
            name,
            f"hopelessly over-exposed: {share} of the disc is pure white and no spot can show",
            "expose shorter, through a denser certified filter",
        )
    if findings.clipped_share > _CLIPPED_WARNING:
        _warn(
            f"{name}: {100 * findings.clipped_share:.0f} % of the disc is clipped white; spots there are lost"
        )
    disc = limb.disc
    reach = 0.7 * min(disc.a, disc.b)
    top, left = max(int(disc.row - reach), 0), max(int(disc.column - reach), 0)
    inner = photo.rgb[top : int(disc.row + reach) : 3, left : int(disc.column + reach) : 3]
    if inner.size and findings.clipped_share <= _CLIPPED_WARNING:
        share = float((inner.reshape(-1, 3) >= 254).mean(axis=0).max())
        if share > 0.2:
            _warn(
                f"{name}: one colour is clipped over {100 * share:.0f} % of the disc; brightness alone is used"
            )


def _check_level(name: str, limb: Limb, sigma: float | None) -> None:
    """Warn where the squash lies askew of the level by more than both can explain."""
    if limb.tilt_deg is None or limb.tilt_sigma_deg is None or sigma is None or limb.disc.tilt != 0:
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
    roll_sigma: float | None,
) -> Shot:
    centre_sigma, axes_sigma = limb_sigmas(limb)
    disc = limb.disc
    return Shot(
        file=name,
        time_utc=time,
        mount=mount,
        roll_deg=options.roll_deg or 0.0,
        roll_sigma_deg=roll_sigma,
        mirrored=options.mirrored,
        camera=photo.camera,
        focal_length_mm=photo.focal_length_mm,
        pixel_pitch_um=photo.pixel_pitch_um,
        centre_px=(disc.column, disc.row),
        semi_axes_px=(disc.a, disc.b),
        centre_sigma_px=centre_sigma,
        semi_axes_sigma_px=axes_sigma,
        axis_ratio=disc.b / disc.a,
        spots=_spots(findings.spots),
    )


def _spots(found: Sequence[MeasuredSpot]) -> tuple[Spot, ...]:
    spots = []
    for number, spot in enumerate(found, start=1):
        sigma_x, sigma_y = np.sqrt(np.diag(spot.covariance))
        correlation = spot.covariance[0, 1] / (sigma_x * sigma_y)
        spots.append(
            Spot(
                number,
                spot.x,
                spot.y,
                float(sigma_x),
                float(sigma_y),
                float(correlation),
                spot.area_msh,
                spot.darkness,
            )
        )
    return tuple(spots)


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


def _without_dust(photos: list[PhotoMeasurement]) -> list[PhotoMeasurement]:
    if len(photos) < 2:
        return photos
    shots = [DustShot(p.findings.spots, p.limb.disc, p.photo.luma.shape[:2], p.days) for p in photos]
    cleaned = []
    for photo, dust in zip(photos, fixed_specks(shots), strict=True):
        if dust:
            kept = tuple(spot for i, spot in enumerate(photo.findings.spots) if i not in dust)
            specks = tuple(
                (spot.column, spot.row, "dust: on the same pixels in another photo")
                for i, spot in enumerate(photo.findings.spots)
                if i in dust
            )
            findings = replace(photo.findings, spots=kept, refused=photo.findings.refused + specks)
            photo = replace(photo, findings=findings, shot=replace(photo.shot, spots=_spots(kept)))
            _warn(
                f"{photo.shot.file}: {len(dust)} dark speck(s) on the same pixels as in another photo taken for dust"
            )
        cleaned.append(photo)
    return cleaned


def _compare(photos: list[PhotoMeasurement]) -> tuple[list[SpotMatch], list[ShotTurn]]:
    matches: list[SpotMatch] = []
    turns: list[ShotTurn] = []
    for i, first in enumerate(photos):
        for second in photos[i + 1 :]:
            if first.findings.spots and second.findings.spots:
                found, turn = _compare_pair(first, second)
                matches += found
                turns.append(turn)
    return matches, turns


def _compare_pair(first: PhotoMeasurement, second: PhotoMeasurement) -> tuple[list[SpotMatch], ShotTurn]:
    name_a, name_b = first.shot.file, second.shot.file
    a, b = spot_table(first.findings.spots), spot_table(second.findings.spots)
    days = None if first.days is None or second.days is None else second.days - first.days
    if days is not None and days < 0:
        _warn(f"{name_b} was taken before {name_a}; give the photos in the order of time")
    mirrored = is_mirrored(a, b, days)
    matching = match_spots(a, b.mirrored() if mirrored else b, days)
    matches = [
        SpotMatch(name_a, one.a + 1, name_b, one.b + 1, round(one.probability, 4)) for one in matching.matches
    ]
    used = [one for one in matching.matches if one.probability > _USED_IN_TURN]
    _warn_doubts(name_a, name_b, matching, mirrored)
    turn = None if mirrored else _turn(first, second, used, days)
    if turn is None:
        return matches, ShotTurn(name_a, name_b, None, None, 0, mirrored)
    return matches, ShotTurn(name_a, name_b, turn.turn_deg, turn.sigma_deg, turn.spots_used, mirrored)


def _turn(
    first: PhotoMeasurement, second: PhotoMeasurement, used: list[Any], days: float | None
) -> Turn | None:
    if not used:
        return None
    pick_a, pick_b = [one.a for one in used], [one.b for one in used]
    a, b = spot_table(first.findings.spots).part(pick_a), spot_table(second.findings.spots).part(pick_b)
    centre = math.hypot(_centre_sigma(first), _centre_sigma(second))
    rolls = (first.shot.roll_sigma_deg, second.shot.roll_sigma_deg)
    return pattern_turn(a.xy, b.xy, (a.covariance, b.covariance), centre, rolls, days)


def _centre_sigma(photo: PhotoMeasurement) -> float:
    """Sigma of the centre along its worse direction, limb radii."""
    across: Array = photo.limb.covariance[:2, :2]
    return math.sqrt(float(np.linalg.eigvalsh(across)[-1])) / photo.limb.disc.a


def _warn_doubts(name_a: str, name_b: str, matching: Matching, mirrored: bool | None) -> None:
    if mirrored:
        _warn(
            f"{name_a} and {name_b}: one of them is mirrored (star diagonal or front camera), so no turn is given; "
            "measure again with --mirrored true for that one and --mirrored false for the other"
        )
    used = [one for one in matching.matches if one.probability > _USED_IN_TURN]
    if not used:
        _warn(f"{name_a} and {name_b}: no spot could be matched")
    if matching.rival_probability > 0.05:
        _warn(
            f"{name_a} and {name_b}: the matching is ambiguous; another one turns the disc by "
            f"{matching.rival_turn_deg:.0f} deg (probability {matching.rival_probability:.2f})"
        )
    doubtful = [f"{one.a + 1}:{one.b + 1}" for one in used if one.probability < _DOUBTFUL]
    if doubtful:
        _warn(f"{name_a} and {name_b}: doubtful matches {', '.join(doubtful)}")


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


def _shot_json(photo: PhotoMeasurement) -> dict[str, Any]:
    shot, site = photo.shot, photo.site
    return {
        "file": shot.file,
        "time_utc": shot.time_utc,
        "site": None if site is None else vars(site).copy(),
        "centre_px": shot.centre_px,
        "semi_axes_px": shot.semi_axes_px,
        "centre_sigma_px": shot.centre_sigma_px,
        "semi_axes_sigma_px": shot.semi_axes_sigma_px,
        "axis_ratio": shot.axis_ratio,
        "roll_deg": shot.roll_deg,
        "roll_sigma_deg": shot.roll_sigma_deg,
        "spots": [
            {
                "id": spot.id,
                "x": spot.x,
                "y": spot.y,
                "sigma_x": spot.sigma_x,
                "sigma_y": spot.sigma_y,
                "correlation": spot.correlation,
                "radius": math.hypot(spot.x, spot.y),
                "vertex_angle_deg": math.degrees(math.atan2(-spot.x, spot.y)),
                "area_msh": spot.area_msh,
                "darkness": spot.darkness,
            }
            for spot in shot.spots
        ],
    }


def given_by_file(options: PhotoOptions, shot: Shot | None, site: OutingSite | None) -> PhotoOptions:
    """Options completed with what an earlier outing file says of the same shot."""
    if shot is None:
        return options if options.site is not None else replace(options, site=site)
    return PhotoOptions(
        options.site or site,
        options.time or (None if options.utc_offset else shot.time_utc),
        options.utc_offset,
        options.mount or shot.mount,
        shot.mirrored if options.mirrored is None else options.mirrored,
        shot.roll_deg if options.roll_deg is None else options.roll_deg,
        shot.roll_sigma_deg if options.roll_sigma_deg is None else options.roll_sigma_deg,
    )

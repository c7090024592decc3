"""What is said of a photo before it is measured and what is known after, as plain types and JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from ...models.errors import InputError, UnknownNameError
from ...models.place import parse_utc, utc_days_of
from ..outing import MOUNTS, Outing, OutingSite, Shot, Spot
from .level import Level
from .limb import Limb
from .spots import MeasuredSpot, SpotFindings


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
    """One measured photo: its shot, the site if known, and all that was found on it, without the pixels.

    `size_px` is (rows, columns) of the upright picture.
    """

    shot: Shot
    site: OutingSite | None
    path: Path
    size_px: tuple[int, int]
    limb: Limb
    findings: SpotFindings
    level: Level = field(default_factory=Level)

    @property
    def days(self) -> float | None:
        """UTC days since 2000-01-01 12:00, None without a time."""
        return None if self.shot.time_utc is None else utc_days_of(parse_utc(self.shot.time_utc))


@dataclass(frozen=True)
class FailedPhoto:
    """A photo that could not be measured, and why."""

    file: str
    reason: str


@dataclass(frozen=True)
class SpotMatch:
    """Spot `id_a` of photo `shot_a` is spot `id_b` of photo `shot_b`; `by_hand` where a person said so."""

    shot_a: str
    id_a: int
    shot_b: str
    id_b: int
    probability: float
    by_hand: bool = False


@dataclass(frozen=True)
class ShotTurn:
    """The turn of the spot pattern between two photos, anticlockwise positive; None where it is not known.

    `mirrored`: whether one of the two is a mirror image of the other, None where fewer than three spots tell.
    `sigma_deg` holds 68 %, `low95_deg` to `high95_deg` 95 %: spots evolve with heavy tails.
    `scatter`: rms distance in limb radii that the turn leaves over; large where the pattern did not turn as one.
    """

    shot_a: str
    shot_b: str
    turn_deg: float | None
    sigma_deg: float | None
    spots_used: int
    mirrored: bool | None
    scatter: float | None = None
    low95_deg: float | None = None
    high95_deg: float | None = None


@dataclass(frozen=True)
class TargetTurn:
    """The turn that one spot alone shows, as a person would draw it by hand; anticlockwise positive."""

    shot_a: str
    id_a: int
    shot_b: str
    id_b: int
    turn_deg: float
    sigma_deg: float | None
    low95_deg: float | None = None
    high95_deg: float | None = None


@dataclass(frozen=True)
class LevelCheck:
    """The Sun's drift between two frames of a fixed tripod.

    Parameters
    ----------
    shot_a, shot_b : str
    drift_deg : float
        Direction over the level, anticlockwise from the right, the roll taken undone.
    sigma_deg : float
        From the centres alone; the roll's own doubt is left out, being what is checked.
    moved_radii : float
        How far the Sun moved, in its radii.
    predicted_deg, predicted_radii : dict
        The same by model; empty without a site.
    """

    shot_a: str
    shot_b: str
    drift_deg: float
    sigma_deg: float
    moved_radii: float
    predicted_deg: dict[str, float]
    predicted_radii: dict[str, float]


@dataclass(frozen=True)
class Measured:
    """All photos of an outing measured together."""

    outing: Outing
    photos: tuple[PhotoMeasurement, ...]
    matches: tuple[SpotMatch, ...] = ()
    turns: tuple[ShotTurn, ...] = field(default=())
    target: TargetTurn | None = None
    failed: tuple[FailedPhoto, ...] = ()
    level_checks: tuple[LevelCheck, ...] = ()

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
                "low95_deg": one.low95_deg,
                "high95_deg": one.high95_deg,
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
            "target": None if self.target is None else vars(self.target).copy(),
            "level_checks": [vars(check).copy() for check in self.level_checks],
            "failed": [vars(one).copy() for one in self.failed],
        }


def given_by_file(options: PhotoOptions, shot: Shot | None, site: OutingSite | None) -> PhotoOptions:
    """Options completed with what an earlier outing file says of the same shot."""
    if shot is None:
        return options if options.site is not None else replace(options, site=site)
    roll = (None, None) if shot.roll_is_measured else (shot.roll_deg, shot.roll_sigma_deg)
    return PhotoOptions(
        options.site or site,
        options.time or (None if options.utc_offset else shot.time_utc),
        options.utc_offset,
        options.mount or shot.mount,
        shot.mirrored if options.mirrored is None else options.mirrored,
        roll[0] if options.roll_deg is None else options.roll_deg,
        roll[1] if options.roll_sigma_deg is None else options.roll_sigma_deg,
    )


def outing_spots(found: Sequence[MeasuredSpot]) -> tuple[Spot, ...]:
    """Spots as the outing file keeps them, numbered from 1 in the order given."""
    spots = []
    for number, spot in enumerate(found, start=1):
        sigma_x, sigma_y = np.sqrt(np.diag(spot.covariance))
        correlation = spot.covariance[0, 1] / (sigma_x * sigma_y)
        sizes = (spot.area_msh, spot.darkness, spot.umbra_area_msh, spot.penumbra_darkness)
        area, darkness, umbra, penumbra = (value if math.isfinite(value) else None for value in sizes)
        spots.append(
            Spot(
                id=number,
                x=spot.x,
                y=spot.y,
                sigma_x=float(sigma_x),
                sigma_y=float(sigma_y),
                correlation=float(correlation),
                area_msh=area,
                darkness=darkness,
                umbra_area_msh=umbra,
                penumbra_darkness=penumbra,
            )
        )
    return tuple(spots)


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
        "limb_hidden_deg": [list(arc) for arc in photo.limb.hidden_deg],
        "roll_source": photo.level.source,
        "roll_clues": [vars(clue).copy() for clue in photo.level.clues],
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
                "umbra_area_msh": spot.umbra_area_msh,
                "penumbra_darkness": spot.penumbra_darkness,
                "by_hand": bool(spot.by_hand),
            }
            for spot in shot.spots
        ],
    }

"""The camera's roll from all that shows it: horizon, the camera's own level, the squash, the tripod.

No EXIF tag (up to version 3.0) holds a camera's roll: CameraElevationAngle (0x9405) is the pitch, and makers'
notes differ. The one documented tag that is no maker's is XMP GPano:PoseRollDegrees, "0 where level with the
horizon; as roll increases, the horizon rotates counterclockwise in the image" (Photo Sphere XMP metadata,
developers.google.com/streetview/spherical-metadata, table of GPano properties), so it is minus our roll.
Ordinary cameras seldom write it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from .horizon import find_horizon
from .lens import lens_doubt
from .limb import Limb, measure_limb
from .load import Photo

CAMERA_LEVEL_SIGMA_DEG = 1.0
"""A camera's own level, from its accelerometers (common practice, no source)."""
_STRAY = 3.5
_MOST_TAG_DEG = 20.0
_READ_BYTES = 1 << 20
_SQUASH_FLOOR_DEG = 0.02
LEAST_SQUASH = 0.005  # above 12 degrees of altitude lens and pixels may squash as much as the air
_GPANO = b"http://ns.google.com/photos/1.0/panorama/"
_POSE_ROLL = re.compile(rb"GPano:PoseRollDegrees(?:\s*=\s*[\"']|\s*>)\s*([-+]?[0-9.]+)")


@dataclass(frozen=True)
class LevelClue:
    """What one source says of the camera's anticlockwise roll, degrees; whether it was used."""

    source: str
    roll_deg: float
    sigma_deg: float
    used: bool = True


@dataclass(frozen=True)
class Level:
    """The roll taken for a photo, its sigma (None where nothing tells), and the clues."""

    roll_deg: float = 0.0
    sigma_deg: float | None = None
    clues: tuple[LevelClue, ...] = ()

    @property
    def source(self) -> str:
        """Names of the sources used, such as ``horizon + squash + tripod``."""
        return " + ".join(clue.source for clue in self.clues if clue.used) or "unknown"


def camera_roll_deg(path: Path) -> float | None:
    """Our roll by the photo's GPano:PoseRollDegrees, None where it has none or one of a turned camera."""
    try:
        with path.open("rb") as stream:
            head = stream.read(_READ_BYTES)
    except OSError:
        return None
    found = _POSE_ROLL.search(head) if _GPANO in head else None
    try:
        roll = None if found is None else -float(found.group(1))
    except ValueError:
        return None
    return roll if roll is not None and abs(roll) <= _MOST_TAG_DEG else None


def combine(prior: LevelClue, clues: Sequence[LevelClue]) -> Level:
    """Mean of the clues by their variances; one that strays from the prior by 3.5 sigmas is left out.

    Where those used disagree by more than their sigmas, the sigma grows by the Birge ratio.
    """
    judged = [prior]
    for clue in clues:
        apart = abs(clue.roll_deg - prior.roll_deg) / math.hypot(clue.sigma_deg, prior.sigma_deg or 1e-9)
        judged.append(replace(clue, used=apart < _STRAY))
    used = [clue for clue in judged if clue.used]
    weights = [1 / max(clue.sigma_deg, 1e-6) ** 2 for clue in used]
    roll = sum(w * clue.roll_deg for w, clue in zip(weights, used, strict=True)) / sum(weights)
    chi2 = sum(w * (clue.roll_deg - roll) ** 2 for w, clue in zip(weights, used, strict=True))
    birge = max(1.0, chi2 / max(len(used) - 1, 1))
    order = sorted(judged, key=lambda clue: clue.sigma_deg)
    return Level(roll, math.sqrt(birge / sum(weights)), tuple(order))


def level_clues(photo: Photo, limb: Limb) -> list[LevelClue]:
    """What the picture and its tags say."""
    clues = []
    horizon = find_horizon(photo, limb)
    if horizon is not None:
        clues.append(LevelClue("horizon", horizon.roll_deg, horizon.sigma_deg))
    tag = camera_roll_deg(photo.path)
    if tag is not None:
        clues.append(LevelClue("camera", -tag if limb.disc.mirrored else tag, CAMERA_LEVEL_SIGMA_DEG))
    squash = 1 - limb.disc.b / limb.disc.a
    if (
        limb.tilt_deg is not None
        and limb.tilt_sigma_deg is not None
        and squash > LEAST_SQUASH
        and not limb.smeared
    ):
        # A lens may squash by itself, which leans the axis by that over twice the squash.
        lens = math.degrees(limb.shape_doubt / (2 * squash))
        sigma = math.hypot(limb.tilt_sigma_deg, lens, _SQUASH_FLOOR_DEG)
        clues.append(LevelClue("squash", math.degrees(limb.disc.roll) - limb.tilt_deg, sigma))
    return clues


def levelled(photo: Photo, limb: Limb, tripod_sigma_deg: float) -> tuple[Limb, Level]:
    """The limb with the combined roll undone, and that roll.

    Parameters
    ----------
    photo : Photo
    limb : Limb
        Measured with roll 0 on a level tripod.
    tripod_sigma_deg : float
        How level the tripod stands.
    """
    prior = LevelClue("tripod", 0.0, tripod_sigma_deg)
    level = combine(prior, level_clues(photo, limb))
    if abs(level.roll_deg) < 1e-3:
        return limb, level
    disc = limb.disc
    if abs(math.radians(level.roll_deg)) * (disc.a - disc.b) < 0.01:
        tilt = None if limb.tilt_deg is None else limb.tilt_deg + level.roll_deg
        turned = replace(disc, roll=math.radians(level.roll_deg))
        return replace(limb, disc=turned, tilt_deg=tilt), level
    again = measure_limb(photo, roll_deg=level.roll_deg, mirrored=disc.mirrored, near=limb)
    again = replace(again, shape_doubt=limb.shape_doubt)
    # Air bends more than the fit's square term, so the squash is read once more with its axes nearly right.
    clues = [clue for clue in level.clues if clue.source not in ("tripod", "squash")]
    clues += [clue for clue in level_clues(photo, again) if clue.source == "squash"]
    level = combine(prior, clues)
    left = level.roll_deg - math.degrees(again.disc.roll)
    tilt = None if again.tilt_deg is None else again.tilt_deg + left
    turned = replace(again.disc, roll=math.radians(level.roll_deg))
    return replace(again, disc=turned, tilt_deg=tilt), level


def settle_level(
    photo: Photo,
    limb: Limb,
    mount: str,
    roll_deg: float | None,
    roll_sigma_deg: float | None,
    tripod_sigma_deg: float,
) -> tuple[Limb, Level, list[str]]:
    """The limb with the photo's roll undone and its shape's doubts counted, that roll, and what to warn of.

    Parameters
    ----------
    photo : Photo
    limb : Limb
        Measured with the given roll, or with 0.
    mount : str
    roll_deg, roll_sigma_deg : float, optional
        What the person says; it wins over all that the picture shows.
    tripod_sigma_deg : float
        How level a level tripod stands where nothing is said.

    Returns
    -------
    (Limb, Level, list of str)
        A level tripod's roll is combined from all clues; other mounts' roll stays as given, or unknown.
    """
    limb, warned = _shape_doubts(photo, limb, mount)
    if roll_deg is not None or (roll_sigma_deg is not None and mount != "level-tripod"):
        known = roll_deg is not None
        sigma = roll_sigma_deg if roll_sigma_deg is not None or not known else tripod_sigma_deg
        given = () if sigma is None else (LevelClue("given", roll_deg or 0.0, sigma),)
        return limb, Level(roll_deg or 0.0, sigma, given), warned
    if mount != "level-tripod":
        return limb, Level(0.0, None), warned
    limb, level = levelled(photo, limb, tripod_sigma_deg if roll_sigma_deg is None else roll_sigma_deg)
    for clue in level.clues:
        if not clue.used:
            warned.append(
                f"the {_NAMES[clue.source]} shows a roll of {clue.roll_deg:+.1f} +/- {clue.sigma_deg:.1f} deg "
                "(anticlockwise +), far askew of a level tripod, and was not used; check the tripod's level or give "
                "--roll"
            )
    return limb, level, warned


_NAMES = {"squash": "squash of the limb", "horizon": "horizon", "camera": "camera's own level"}
_SHUTTER_RAD = math.radians(0.4)
"""A hand that turns by 0.5 deg/s while the shutter rolls over the picture: 0.3 to 0.5 deg."""


def _shape_doubts(photo: Photo, limb: Limb, mount: str) -> tuple[Limb, list[str]]:
    """The limb with what lens, shutter and motion may do to its shape, and warnings."""
    lens = lens_doubt(photo, limb.disc)
    doubt, warned = lens.counted_rad, []
    if mount == "hand-held":
        doubt = math.hypot(doubt, _SHUTTER_RAD)
    if lens.angle_rad > _LENS_WARNING_RAD:
        warned.append(
            f"the disc lies {100 * lens.offset:.0f} % of the way from the picture's middle to its corner, where the "
            f"distortion of a {lens.kind} may turn spots by {math.degrees(lens.angle_rad):.1f} deg; put the Sun "
            "in the middle"
        )
    motion = limb.motion
    if limb.smeared:
        warned.append(
            f"the limb is smeared or doubled by {motion.length_px:.0f} pixels along {motion.direction_deg:.0f} deg "
            "(anticlockwise from the picture's right); its squash is false and no turn is taken from this photo"
        )
    elif motion.length_px > 0:
        doubt = math.hypot(doubt, 0.05 * motion.length_px / limb.disc.a)
    return replace(limb, shape_doubt=doubt), warned


_LENS_WARNING_RAD = math.radians(0.3)

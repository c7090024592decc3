"""What a camera will make of the Sun: the disc in pixels, and how well the turn will be known from it.

What measuring reaches is taken from `tests/validation` (README there: photo targets): a spot's place to 0.15 px an axis
in steady air (0.10 for those of 10 px and more; on the photo-like pairs it states 0.09 to 0.24), and to 1.0 times the
air's ripple in pixels (0.64 to 0.99 there); the disc's centre to 0.01 px and 0.15 times the ripple. What a turn is then
worth follows from the function that states it when photos are measured (`sim/photo/turning.py`), the spots' own changes
included.

The disc's size is that of the day, by the distant sphere, for every model: how large the Sun looks is known from any
photo, and a model with a near Sun has a diameter that it takes from there.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...models.distant_sphere import DistantSphere
from ...models.errors import InputError, UnknownNameError
from ...models.geometry import Array, GeometryModel, view_of
from ...models.observables import altitude, dot, semidiameter, wrap_angle
from ...models.place import Instants, Site
from ..camera import disc_radius_px
from ..outing import MOUNTS, TRIPOD_ROLL_SIGMA_DEG
from ..photo.turning import Turn, pattern_turn
from ..surface import radius_of_area
from ..turns import axis_turn, moment
from .optics import Optics

SEEING_ARCSEC = 2.0
"""Rms displacement of the limb by the air, a low Sun by day (common practice, no source)."""
FRAMES = 1
_FRAME_STEPS = (1, 2, 3, 4, 5, 7, 10, 15, 20, 30, 50)
_SPOT_PX, _SPOT_RIPPLE = 0.15, 1.0
_CENTRE_PX, _CENTRE_RIPPLE = 0.01, 0.15
REFUSED_PX, ADVISED_PX = 24.0, 300.0
"""Diameter of the disc below which no disc is found (`sim/photo/limb.py`), and which README advises."""
FRAMED_SHARE = 0.95  # of the picture's shorter side: above it the limb hardly stays inside
FOUND_WIDTHS_PX = (1.5, 2.5, 3.5, 4.5, 5.5, 7.0)
FOUND_SHARES = (0.0, 0.1, 0.45, 0.75, 0.94, 1.0)
"""Share of spots of that width found on discs of 150 to 600 px: `tests/validation/small_spots.py`, 2 runs."""
LIKELY_PX = FOUND_WIDTHS_PX[FOUND_SHARES.index(0.94)]
"""Width from which on a spot is likely to be found."""
_EXAMPLE_RADIUS = 0.6  # a spot half way out, for a turn to be told without a list of regions
_EXAMPLE_SPOTS = 5
_SMEAR_PX = 0.5
_ANY_ROLL_DEG = 60.0  # a wider normal prior tells no more than none
_STEP_S, _STEP_DEG = 30.0, 0.25


@dataclass(frozen=True)
class Aim:
    """How the photos will be taken.

    Parameters
    ----------
    level_sigma_deg : float
        How well the tripod is levelled, or an equatorial mount set to the pole.
    seeing_arcsec : float
        Rms displacement by the air in a single photo.
    frames : int
        Photos per window whose places are averaged, some seconds apart.
    mount : str
        ``level-tripod``, ``equatorial`` or ``hand-held``, which has any roll.

    Raises
    ------
    InputError
        A number is out of range.
    """

    level_sigma_deg: float = TRIPOD_ROLL_SIGMA_DEG
    seeing_arcsec: float = SEEING_ARCSEC
    frames: int = FRAMES
    mount: str = "level-tripod"

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("roll-sigma-deg", self.level_sigma_deg, 0.001, 45.0),
            ("seeing-arcsec", self.seeing_arcsec, 0.0, 60.0),
            ("frames", self.frames, 1, 10_000),
        ):
            if not low <= value <= high:
                raise InputError(name, f"must be between {low:g} and {high:g}", value)
        if self.mount not in MOUNTS:
            raise UnknownNameError("mount", self.mount, MOUNTS)


@dataclass(frozen=True)
class CameraNumbers:
    """What one camera makes of one day's two shots.

    Parameters
    ----------
    optics : Optics
    aim : Aim
    diameter_arcmin, diameter_px : (float, float)
        The disc at both shots, without refraction.
    longest_exposure_s : float
        Before the Sun's motion through a still picture smears half a pixel, under the model and shot where it is
        shortest.
    roll_sigma_deg : (float, float)
        What the level is worth about the line of sight, :func:`roll_sigmas_deg`.
    one_spot, more_spots : Turn
        Half way from the centre to the limb, one and five of them; by the distant sphere's day length.
    without_level : Turn
        One such spot with a perfect level.
    latitude_per_turn : float
        Degrees of latitude per degree of turn, by the distant sphere at these instants; the rule of thumb says 0.5.
    useful_frames : int
        Photos per window beyond which averaging gains less than a tenth of a single spot's uncertainty, at most 50.
    """

    optics: Optics
    aim: Aim
    diameter_arcmin: tuple[float, float]
    diameter_px: tuple[float, float]
    longest_exposure_s: float
    roll_sigma_deg: tuple[float, float]
    one_spot: Turn
    more_spots: Turn
    without_level: Turn
    latitude_per_turn: float
    useful_frames: int

    @property
    def roll_per_level(self) -> float:
        """Degrees of roll about the line of sight per degree of level error, in the shot where it is larger."""
        return max(self.roll_sigma_deg) / self.aim.level_sigma_deg

    @property
    def share_of_picture(self) -> float | None:
        """The disc over the picture's shorter side; None where that is not known."""
        camera = self.optics.camera
        return (
            max(self.diameter_px) / min(camera.width_px, camera.height_px)
            if self.optics.whole_picture
            else None
        )


def expected_errors(radius_px: float, aim: Aim, arcsec_per_px: float) -> tuple[float, float]:
    """Sigmas of a spot's place and of the disc's centre along an axis, limb radii."""
    ripple = aim.seeing_arcsec / arcsec_per_px / math.sqrt(aim.frames)
    spot = math.hypot(_SPOT_PX, _SPOT_RIPPLE * ripple)
    centre = math.hypot(_CENTRE_PX, _CENTRE_RIPPLE * ripple)
    return spot / radius_px, centre / radius_px


def expected_turn(
    first: Array,
    last: Array,
    errors: tuple[tuple[float, float], tuple[float, float]],
    rolls_sigma_deg: tuple[float, float],
    days: float,
) -> Turn | None:
    """What measuring will state of the turn of spots at `first` and `last`, (n, 2) limb radii each.

    `errors`: of :func:`expected_errors` in either shot. None for spots at the very centre.
    """
    count = len(first)
    own = tuple(np.tile(spot**2 * np.eye(2), (count, 1, 1)) for spot, _ in errors)
    modes = tuple(np.tile(centre * np.eye(2)[:, None, :], (1, count, 1)) for _, centre in errors)
    return pattern_turn(first, last, (own[0], own[1]), (modes[0], modes[1]), rolls_sigma_deg, days)


def width_px(area_msh: float, radius_px: float, foreshortening: float = 1.0) -> float:
    """Width of a round spot in the picture: the mean of its length and, foreshortened, its breadth (geometric)."""
    return 2 * math.sin(radius_of_area(area_msh)) * radius_px * math.sqrt(max(foreshortening, 0.0))


def chance_found(width: Array | float) -> Array:
    """Chance that a spot of that width in pixels is found, for its size alone."""
    return np.asarray(np.interp(width, FOUND_WIDTHS_PX, FOUND_SHARES))


def roll_sigmas_deg(site: Site, instants: Instants, aim: Aim) -> tuple[float, float]:
    """Uncertainty of the roll about the line of sight in both shots.

    level / cos(altitude) on a tripod, see :func:`whichsun.sim.compare.power.roll_sigmas_deg`; the level itself on an
    equatorial mount; `_ANY_ROLL_DEG` by hand.
    """
    if aim.mount == "hand-held":
        return _ANY_ROLL_DEG, _ANY_ROLL_DEG
    high = altitude(DistantSphere().view(instants, site, {}))
    lean = np.cos(high) if aim.mount == "level-tripod" else np.ones(2)
    return _pair(np.minimum(aim.level_sigma_deg / np.maximum(lean, 1e-3), _ANY_ROLL_DEG))


def latitude_per_turn(site: Site, instants: Instants) -> float:
    """Degrees of latitude per degree of turn of the disc between two instants under the distant sphere.

    The size of the inverse of d turn / d latitude at the site, from places a quarter of a degree to either side; inf
    where the turn does not depend on latitude.
    """
    middle = float(site.latitude_deg)
    around = np.clip([middle - _STEP_DEG, middle + _STEP_DEG], -90, 90)
    wide = Site(around[:, None], site.longitude_deg, site.height_m)
    view = DistantSphere().view(instants, wide, {})
    turns = axis_turn(moment(view, 0), moment(view, 1))
    change = float(np.rad2deg(wrap_angle(turns[1] - turns[0])))
    return abs(float(around[1] - around[0]) / change) if change else math.inf


def camera_numbers(
    optics: Optics,
    aim: Aim,
    site: Site,
    instants: Instants,
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
) -> CameraNumbers:
    """What the camera makes of the Sun at two shots.

    Parameters
    ----------
    optics : Optics
    aim : Aim
    site : Site
        One place.
    instants : Instants, shape (2,)
    models : sequence of (GeometryModel, mapping)
        Each with its given parameters.
    """
    angle = semidiameter(DistantSphere().view(instants, site, {}))
    radii = disc_radius_px(optics.camera, angle)
    rolls = roll_sigmas_deg(site, instants, aim)
    days = float(instants.utc_days[1] - instants.utc_days[0])
    radius = float(np.min(radii))

    def turn(count: int, frames: int, level: tuple[float, float]) -> Turn:
        around = 2 * np.pi * np.arange(count) / count
        places = _EXAMPLE_RADIUS * np.stack([np.cos(around), np.sin(around)], axis=-1)
        error = expected_errors(radius, replace(aim, frames=frames), optics.arcsec_per_px)
        found = expected_turn(places, places, (error, error), level, days)
        assert found is not None  # none of the places is the centre
        return found

    return CameraNumbers(
        optics,
        aim,
        _pair(2 * 60 * np.rad2deg(angle)),
        _pair(2 * radii),
        _longest_exposure_s(optics, site, instants, models),
        rolls,
        turn(1, aim.frames, rolls),
        turn(_EXAMPLE_SPOTS, aim.frames, rolls),
        turn(1, aim.frames, (0.0, 0.0)),
        latitude_per_turn(site, instants),
        _useful_frames([_sigma(turn(1, n, rolls)) for n in _FRAME_STEPS]),
    )


def _pair(values: Array) -> tuple[float, float]:
    return float(values[0]), float(values[1])


def _sigma(turn: Turn) -> float:
    assert turn.sigma_deg is not None  # both rolls are known
    return turn.sigma_deg


def _useful_frames(sigmas: list[float]) -> int:
    """Fewest photos with which the turn is within a tenth of what the most give."""
    enough = (n for n, sigma in zip(_FRAME_STEPS, sigmas, strict=True) if sigma <= 1.1 * sigmas[-1])
    return next(enough)


def _longest_exposure_s(
    optics: Optics,
    site: Site,
    instants: Instants,
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
) -> float:
    """Half a pixel over the fastest motion of the Sun's centre through a still picture."""
    fastest = 0.0
    step = _STEP_S / 86400
    moments = Instants.from_utc_days(np.concatenate([instants.utc_days, instants.utc_days + step]))
    for model, given in models:
        direction = view_of(model, moments, site, given).direction
        # The chord is safe where the arc cosine is not.
        chord = np.sqrt(np.maximum(2 - 2 * dot(direction[:2], direction[2:]), 0))
        fastest = max(fastest, float(np.max(2 * np.arcsin(chord / 2))) / _STEP_S)
    return _SMEAR_PX / (fastest * optics.camera.focal_length_px) if fastest else math.inf

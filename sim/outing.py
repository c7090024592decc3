"""One day's shots at one site: the types that measuring fills and scoring reads.

Reading and writing the TOML file stands in ``outing_file.py``. Units stand in the names; angles in
degrees, disc places in limb radii in the disc frame (x right, y up, squash and given roll undone).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

SCHEMA = "whichsun/outing/1"
MOUNTS = ("level-tripod", "equatorial", "hand-held")
TRIPOD_ROLL_SIGMA_DEG = 0.7
"""A bubble level is good to about 0.5 to 1 degree (common practice, no source)."""
TURN_KINDS = ("axis", "celestial-north", "spot", "pattern")


@dataclass(frozen=True)
class OutingSite:
    """Where the photos were taken, WGS84; the sigmas say how well that is known, None for well enough."""

    latitude_deg: float
    longitude_deg: float
    height_m: float = 0.0
    latitude_sigma_deg: float | None = None
    longitude_sigma_deg: float | None = None


@dataclass(frozen=True)
class Spot:
    """A dark spot measured on one shot.

    `correlation` is that of x and y; `area_msh` in millionths of the solar hemisphere, corrected for
    foreshortening, `umbra_area_msh` its darker inner part; `darkness` the depth of the darkest part below the
    photosphere, 0 to 1, `penumbra_darkness` that of the outer part; `by_hand` is true where a person added it.
    """

    id: int
    x: float
    y: float
    sigma_x: float
    sigma_y: float
    correlation: float = 0.0
    area_msh: float | None = None
    darkness: float | None = None
    umbra_area_msh: float | None = None
    penumbra_darkness: float | None = None
    by_hand: bool | None = None


@dataclass(frozen=True)
class Shot:
    """One photo: what was given and what was measured.

    ``None`` means not known. `time_utc` is ISO 8601 with Z. `roll_deg` is the camera's anticlockwise roll
    as seen from behind it, already undone in the spots; `roll_measured_deg` and
    `roll_measured_sigma_deg` what measuring found for it: a roll or sigma that differs was entered by hand and
    stays when the photo is measured again. `centre_px` is [column, row], `semi_axes_px`
    [across the vertical, along it], `axis_ratio` along / across, below 1 for a squashed disc. `dropped_px` are
    column, row, column, row, ... of finds that a person dropped.
    `limb_hidden_deg` are from, to, from, to, ... of the stretches of the limb that were not seen (horizon, branch,
    cloud, picture's edge), vertex angles, anticlockwise; `hidden` the cells of the disc in which no spot could be
    found, as text (``hidden.py``), where no model is charged for a spot that was not found.
    """

    file: str
    time_utc: str | None = None
    time_sigma_s: float | None = None
    mount: str = "level-tripod"
    roll_deg: float = 0.0
    roll_sigma_deg: float | None = None
    roll_measured_deg: float | None = None
    roll_measured_sigma_deg: float | None = None
    mirrored: bool | None = None
    camera: str | None = None
    focal_length_mm: float | None = None
    pixel_pitch_um: float | None = None
    centre_px: tuple[float, float] | None = None
    semi_axes_px: tuple[float, float] | None = None
    centre_sigma_px: tuple[float, float] | None = None
    semi_axes_sigma_px: tuple[float, float] | None = None
    axis_ratio: float | None = None
    dropped_px: tuple[float, ...] | None = None
    limb_hidden_deg: tuple[float, ...] | None = None
    hidden: str | None = None
    spots: tuple[Spot, ...] = ()

    @property
    def roll_is_measured(self) -> bool:
        """Whether roll and sigma are what measuring found, not what a person entered."""
        found = self.roll_measured_deg
        if found is None or not math.isclose(self.roll_deg, found, abs_tol=1e-9):
            return False
        return self.roll_sigma_deg == self.roll_measured_sigma_deg


@dataclass(frozen=True)
class HandMatch:
    """Two spots of two shots that a person said are one.

    Kept by place, (column, row) of the upright photo, because spots are numbered anew when measured again.
    """

    shot_a: str
    place_a_px: tuple[float, float]
    shot_b: str
    place_b_px: tuple[float, float]


@dataclass(frozen=True)
class Observable:
    """A measured quantity other than spot places; kinds, units and signs stand in ``outing_observables.KINDS``.

    `value` is 0 for a rise or set, which is its time. `spot_x`, `spot_y`: where the spot of a turn stood in the
    first photo, disc frame, limb radii. `horizon_deg`: apparent altitude of the horizon over which the Sun rose or
    set, 0 where not given.
    """

    kind: str
    value: float
    sigma: float
    time_utc: tuple[str, ...] = ()
    turn_kind: str | None = None
    spot_x: float | None = None
    spot_y: float | None = None
    horizon_deg: float | None = None
    time_sigma_s: float | None = None


@dataclass(frozen=True)
class Outing:
    """One day's shots at one site."""

    site: OutingSite | None
    shots: tuple[Shot, ...] = ()
    observables: tuple[Observable, ...] = field(default=())
    matches: tuple[HandMatch, ...] = ()

"""The measured turn, the rule of thumb, and what separates the rule from the full fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ...models.geometry import Array, view_of
from ...models.observables import unproject
from ...models.place import Site
from ...models.registry import get_model
from ..outing import TRIPOD_ROLL_SIGMA_DEG, Outing, Shot
from ..photo.matching import SpotTable, is_mirrored, match_spots
from ..photo.turning import Turn, pattern_turn
from ..rotation import rotation_law
from ..turns import celestial_north_turn, unwrapped_turn
from ..turns import pattern_turn as predicted_turn
from .data import OutingData
from .latitude import MODEL
from .numeric import wrap_degrees

_AREA_MSH, _DARKNESS = 100.0, 0.5  # where the file does not say


@dataclass(frozen=True)
class MeasuredTurn:
    """Turn of the spot pattern from the first to the last shot; degrees, anticlockwise positive.

    `squash_deg` is how much the turn would have differed had the squash not been undone; `used` holds the
    places in the first shot of the spots it comes from.
    """

    shot_a: str
    shot_b: str
    turn_deg: float | None
    sigma_deg: float | None
    spots_used: int
    mirrored: bool | None
    squash_deg: float = 0.0
    used: tuple[tuple[float, float], ...] = ()

    def to_json(self) -> dict:
        """Keys of the machine-readable output."""
        names = ("shot_a", "shot_b", "turn_deg", "sigma_deg", "spots_used", "mirrored")
        return {name: getattr(self, name) for name in names}


@dataclass(frozen=True)
class Separation:
    """What separates the rule of thumb from the full turn, degrees of turn (each half that of latitude).

    Attributes
    ----------
    rule_deg : float
        The rule's turn at the fitted latitude, as a size: 2 (90 - |latitude|).
    date_deg : float
        Added by the Sun's declination of the date (horizon to horizon, geometric).
    altitude_deg : float
        Added because the shots were not taken at the horizon, and not equally high.
    rotation_deg : float
        Added by the Sun's own rotation and the tilt of its axis.
    squash_deg : float
        What leaving the squash in would have added.
    left_deg : float
        Measured less computed: error of measurement, roll of the camera, change of the spots.
    """

    rule_deg: float
    date_deg: float
    altitude_deg: float
    rotation_deg: float
    squash_deg: float
    left_deg: float


def rule_of_thumb(turn_deg: float) -> float:
    """Size of the latitude by the equinox rule |latitude| = 90 - |turn|/2 (common practice, no source)."""
    return 90.0 - abs(turn_deg) / 2


def measured_turn(outing: Outing) -> MeasuredTurn:
    """Match the spots of the first and the last shot without any geometry and measure the turn.

    Without two shots the first given turn of the Sun's face stands in.
    """
    if len(outing.shots) < 2:
        return _given_turn(outing)
    first, last = outing.shots[0], outing.shots[-1]
    days = _days_between(first, last)
    a, b = spot_table(first), spot_table(last)
    mirrored = False if first.mirrored is not None and last.mirrored is not None else is_mirrored(a, b, days)
    turn = None if mirrored else _turn(first, last, a, b, days)
    if turn is None:
        return MeasuredTurn(first.file, last.file, None, None, 0, mirrored)
    used = _used(a, b, days)
    raw = _turn(first, last, _squashed(a, first), _squashed(b, last), days, used)
    squash = 0.0 if raw is None else float((raw.turn_deg - turn.turn_deg + 180) % 360 - 180)
    places = tuple((float(x), float(y)) for x, y in a.part(used[0]).xy)
    return MeasuredTurn(
        first.file, last.file, turn.turn_deg, turn.sigma_deg, turn.spots_used, mirrored, squash, places
    )


def _given_turn(outing: Outing) -> MeasuredTurn:
    for one in outing.observables:
        if one.kind == "turn" and one.turn_kind != "celestial-north":
            wrapped = float(wrap_degrees(np.asarray(one.value)))
            first, last = one.time_utc
            return MeasuredTurn(first, last, wrapped, one.sigma, 0, None)
    return MeasuredTurn("", "", None, None, 0, None)


def _days_between(first: Shot, last: Shot) -> float | None:
    from ...models.place import parse_utc, utc_days_of

    if not first.time_utc or not last.time_utc:
        return None
    return utc_days_of(parse_utc(last.time_utc)) - utc_days_of(parse_utc(first.time_utc))


def spot_table(shot: Shot) -> SpotTable:
    """Spots of a shot as arrays."""
    xy = np.array([(spot.x, spot.y) for spot in shot.spots], dtype=float).reshape(-1, 2)
    cov = np.array(
        [
            [
                [s.sigma_x**2, s.correlation * s.sigma_x * s.sigma_y],
                [s.correlation * s.sigma_x * s.sigma_y, s.sigma_y**2],
            ]
            for s in shot.spots
        ]
    ).reshape(-1, 2, 2)
    area = np.array([s.area_msh or _AREA_MSH for s in shot.spots], dtype=float)
    dark = np.array([s.darkness if s.darkness is not None else _DARKNESS for s in shot.spots], dtype=float)
    return SpotTable(xy, cov, area, dark)


def _squashed(table: SpotTable, shot: Shot) -> SpotTable:
    return replace(table, xy=table.xy * np.array([1.0, shot.axis_ratio or 1.0]))


def _used(a: SpotTable, b: SpotTable, days: float | None) -> tuple[np.ndarray, np.ndarray]:
    matches = [m for m in match_spots(a, b, days).matches if m.probability > 0.5]
    return np.array([m.a for m in matches], dtype=int), np.array([m.b for m in matches], dtype=int)


def _turn(
    first: Shot,
    last: Shot,
    a: SpotTable,
    b: SpotTable,
    days: float | None,
    used: tuple[np.ndarray, np.ndarray] | None = None,
) -> Turn | None:
    i, j = _used(a, b, days) if used is None else used
    if len(i) == 0:
        return None
    part_a, part_b = a.part(i), b.part(j)
    sigmas = (_roll_sigma_deg(first), _roll_sigma_deg(last))
    limbs = (_limb_modes(first, len(i)), _limb_modes(last, len(j)))
    return pattern_turn(part_a.xy, part_b.xy, (part_a.covariance, part_b.covariance), limbs, sigmas, days)


def _roll_sigma_deg(shot: Shot) -> float | None:
    if shot.roll_sigma_deg is not None:
        return shot.roll_sigma_deg
    return TRIPOD_ROLL_SIGMA_DEG if shot.mount == "level-tripod" else None


def _limb_modes(shot: Shot, spots: int) -> Array:
    """Displacements (2, n, 2) of all spots by one sigma of the disc's centre, across and along the vertical."""
    modes = np.zeros((2, spots, 2))
    if shot.centre_sigma_px is not None and shot.semi_axes_px is not None:
        for k in (0, 1):
            modes[k, :, k] = shot.centre_sigma_px[k] / shot.semi_axes_px[k]
    return modes


def computed_turns(
    data: OutingData, latitude_deg: float, law: str, used: tuple[tuple[float, float], ...] = ()
) -> tuple[float, float, float]:
    """Distant sphere at a latitude: turns of the pattern (of the spots at `used`, or of the whole face), of
    celestial north, and of the axis, not wrapped; degrees. nan where nothing measured is a turn."""
    instants = data.turn_instants
    if instants is None:
        return float("nan"), float("nan"), float("nan")
    model = get_model(MODEL)
    site = Site(latitude_deg, data.site.longitude_deg, data.site.height_m)
    view = view_of(model, instants, site)
    first, last = view[0], view[-1]
    points = unproject(first, *np.array(used).T) if used else None
    days = float(instants.utc_days[-1] - instants.utc_days[0])
    pattern = predicted_turn(first, last, days, rotation_law(law), points).turn
    whole = unwrapped_turn(model, instants, site)
    return (
        float(np.rad2deg(pattern)),
        float(np.rad2deg(celestial_north_turn(first, last))),
        float(np.rad2deg(whole)),
    )


def separation(
    data: OutingData, turn: MeasuredTurn, latitude_deg: float, declination: float, law: str
) -> Separation | None:
    """Split the difference between rule and measurement; None without a turn or a horizon crossing.

    Parameters
    ----------
    data : OutingData
    turn : MeasuredTurn
    latitude_deg : float
        Fitted latitude.
    declination : float
        The Sun's, radians, on that day.
    law : str
        Rotation law.

    Notes
    -----
    Horizon to horizon at declination d the celestial north turns by 2 acos(sin |latitude| / cos d), since
    cos q = sin(latitude)/cos(d) there.
    """
    if turn.turn_deg is None or data.turn_instants is None:
        return None
    cos_q = np.sin(np.deg2rad(abs(latitude_deg))) / np.cos(declination)
    if not cos_q <= 1:
        return None
    sense = -1.0 if latitude_deg >= 0 else 1.0
    rule = 2 * (90 - abs(latitude_deg))
    horizon = 2 * float(np.rad2deg(np.arccos(cos_q)))
    pattern, north, _ = computed_turns(data, latitude_deg, law, turn.used)
    along = (sense * north - horizon + 180) % 360 - 180
    own = (sense * (pattern - north) + 180) % 360 - 180
    left = (sense * (turn.turn_deg - pattern) + 180) % 360 - 180
    return Separation(rule, horizon - rule, float(along), float(own), sense * turn.squash_deg, float(left))

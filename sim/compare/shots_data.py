"""Photos as arrays: their spots, times, level, squash and limbs, and what is refused of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array
from ...models.place import Instants, parse_utc, utc_days_of
from ..hidden import hidden_grid
from ..outing import MOUNTS, TRIPOD_ROLL_SIGMA_DEG, Shot
from . import world
from .grouping import MOST_SHOTS_APART, joined_groups
from .hidden_parts import Hidden

LENS_SIGMA = 0.002  # of the logarithm of the ratio of two limb radii through one fixed lens
LEAST_SQUASH_SIGMA = 3e-4  # of the logarithm of the axis ratio: sky gradients break any smaller stated error
MOST_HOURS_APART = 72.0


@dataclass(frozen=True)
class Detections:
    """Spots of all shots, one after the other; `b` is 1 or a batch of made-up outings.

    Attributes
    ----------
    z : ndarray, shape (b, n, 2)
        Disc places, limb radii (x right, y up).
    root : ndarray, shape (b, n, 2, 2)
        Lower triangular roots of their covariances.
    shot : ndarray of int, shape (n,)
        Shot of each, not decreasing.
    valid : ndarray of bool, shape (b, n)
        False for padding.
    area : ndarray, shape (n,)
        ln of (area / smallest visible area), nan where areas are not known.
    """

    z: Array
    root: Array
    shot: np.ndarray
    valid: np.ndarray
    area: Array

    @property
    def n_shots(self) -> int:
        """Number of shots that have a place in the arrays."""
        return int(self.shot.max()) + 1 if len(self.shot) else 0


@dataclass(frozen=True)
class LimbRatio:
    """ln of a shot's horizontal limb radius less that of the first shot, through the same lens."""

    shot: int
    value: float
    sigma: float


def fields_of_shots(shots: tuple[Shot, ...], usable: list, days: Array) -> dict[str, Any]:
    """Fields of :class:`OutingData` that come from shots with spots."""
    if len(shots) > MOST_SHOTS_APART:
        usable = [joined_groups(spots) for spots in usable]
    counts = np.array([len(spots) for spots in usable])
    roll_sigma = np.array([_roll_sigma(shot) for shot in shots])
    equatorial = np.array([shot.mount == "equatorial" for shot in shots])
    grids = [None if shot.hidden is None else hidden_grid(shot.hidden) for shot in shots]
    hidden = Hidden.of(grids, ~np.isfinite(roll_sigma) | equatorial)
    open_share = 1.0 if hidden is None else float(hidden.open_share.mean())
    return {
        "detections": _detections(shots, usable),
        "ids": tuple(tuple(spot.id for spot in spots) for spots in usable),
        "instants": Instants.from_utc_days(days),
        "days": days - days[0],
        "roll_sigma": roll_sigma,
        "equatorial": equatorial,
        "squash_sigma": np.array([_squash_sigma(shot) for shot in shots]),
        "may_mirror": np.array([shot.mirrored is None for shot in shots]),
        "limb_ratios": limb_ratios(shots),
        "rates": world.Rates.from_counts(counts, open_share),
        "hidden": hidden,
    }


def days_of(shots: tuple[Shot, ...]) -> Array:
    """UTC days (s,) of the shots; refuses unknown times, a wrong order and more than 72 hours."""
    days = []
    for shot in shots:
        if not shot.time_utc:
            hint = "measure with --time and --utc-offset, or write time_utc into the file"
            raise InputError(f"time_utc of {shot.file}", "must be known to score an outing", hint=hint)
        days.append(utc_days_of(parse_utc(shot.time_utc, f"time_utc of {shot.file}")))
    for before, after, shot in zip(days, days[1:], shots[1:], strict=False):
        if not after > before:
            hint = "put the shots in the order of time and check dates and offsets"
            raise InputError(
                f"time_utc of {shot.file}",
                "must be later than that of the shot before it",
                shot.time_utc,
                hint,
            )
    if (days[-1] - days[0]) * 24 > MOST_HOURS_APART:
        hint = "spots change too much; score each day by itself"
        hours = round((days[-1] - days[0]) * 24)
        raise InputError(
            "time_utc", f"must lie within {MOST_HOURS_APART:.0f} h in one outing", f"{hours} h", hint
        )
    return np.array(days)


def _detections(shots: tuple[Shot, ...], usable: list) -> Detections:
    z, root, number, area = [], [], [], []
    for index, (shot, spots) in enumerate(zip(shots, usable, strict=True)):
        for spot in spots:
            name = f"spot {spot.id} of {shot.file}"
            if not (spot.sigma_x > 0 and spot.sigma_y > 0 and abs(spot.correlation) < 1):
                raise InputError(name, "must have positive sigma_x, sigma_y and |correlation| < 1")
            rho = spot.correlation
            z.append((spot.x, spot.y))
            low = [[spot.sigma_x, 0.0], [rho * spot.sigma_y, np.sqrt(1 - rho**2) * spot.sigma_y]]
            root.append(low)
            number.append(index)
            area.append(spot.area_msh if spot.area_msh and spot.area_msh > 0 else np.nan)
    places, areas = np.array(z), np.array(area)
    with np.errstate(invalid="ignore"):
        apparent = areas * np.sqrt(1 - (places**2).sum(-1))
    known = bool(np.all(np.isfinite(areas)))
    return Detections(
        z=places[None],
        root=np.array(root)[None],
        shot=np.array(number),
        valid=np.ones((1, len(number)), dtype=bool),
        area=np.log(areas / apparent.min()) if known else np.full(len(number), np.nan),
    )


def _roll_sigma(shot: Shot) -> float:
    if shot.mount not in MOUNTS:
        raise InputError(f"mount of {shot.file}", f"must be one of {', '.join(MOUNTS)}", shot.mount)
    if shot.roll_sigma_deg is not None:
        if not shot.roll_sigma_deg > 0:
            raise InputError(f"roll_sigma_deg of {shot.file}", "must be positive", shot.roll_sigma_deg)
        return float(np.deg2rad(shot.roll_sigma_deg))
    return np.inf if shot.mount == "hand-held" else float(np.deg2rad(TRIPOD_ROLL_SIGMA_DEG))


def _squash_sigma(shot: Shot) -> float:
    if shot.semi_axes_px is None or shot.semi_axes_sigma_px is None:
        return 1e-3
    across, along = (s / a for s, a in zip(shot.semi_axes_sigma_px, shot.semi_axes_px, strict=True))
    relative = np.hypot(across, along)
    return max(float(relative), LEAST_SQUASH_SIGMA)


def limb_ratios(shots: tuple[Shot, ...]) -> tuple[LimbRatio, ...]:
    """Ratios of the limbs' radii to the first shot's, of the shots that share its lens."""
    if not shots:
        return ()
    first = shots[0]
    ratios = []
    for index, shot in enumerate(shots[1:], start=1):
        same = bool(first.camera) and shot.camera == first.camera and first.focal_length_mm is not None
        if not same or shot.focal_length_mm != first.focal_length_mm:
            continue
        if first.pixel_pitch_um != shot.pixel_pitch_um or not (first.semi_axes_px and shot.semi_axes_px):
            continue
        value = float(np.log(shot.semi_axes_px[0] / first.semi_axes_px[0]))
        fit = np.hypot(_radius_sigma(first), _radius_sigma(shot))
        ratios.append(LimbRatio(index, value, float(np.hypot(fit, LENS_SIGMA))))
    return tuple(ratios)


def _radius_sigma(shot: Shot) -> float:
    if shot.semi_axes_px is None or shot.semi_axes_sigma_px is None:
        return 0.0
    return shot.semi_axes_sigma_px[0] / shot.semi_axes_px[0]

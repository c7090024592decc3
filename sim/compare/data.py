"""An outing as arrays: what every model is scored against. Unusable outings are refused here."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np

from ...models.errors import InputError, WhichsunWarning
from ...models.geometry import Array
from ...models.place import Instants, Site, parse_utc
from ..hidden import hidden_grid
from ..outing import MOUNTS, TRIPOD_ROLL_SIGMA_DEG, Outing, Shot
from . import world
from .grouping import MOST_SHOTS_APART, joined_groups
from .hidden_parts import Hidden

CLOCK_SIGMA_S = 60.0
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


@dataclass(frozen=True)
class OutingData:
    """Everything measured in one outing, ready for the likelihood.

    Attributes
    ----------
    detections : Detections
    ids : tuple of tuple of int
        The spots' own numbers, by shot, in the order of `detections`.
    instants : Instants, shape (s,)
    days : ndarray, shape (s,)
        Since the first shot.
    site : Site
    roll_sigma : ndarray, shape (s,)
        Radians; inf where the camera was held by hand.
    equatorial : ndarray of bool, shape (s,)
        The picture's up keeps to the mount's polar axis, with an unknown angle shared by all such shots.
    squash_sigma : ndarray, shape (s,)
        Of the logarithm of the axis ratio that was undone.
    clock_sigma : float
        Seconds, one offset for the outing.
    may_mirror : ndarray of bool, shape (s,)
        Nobody said whether the shot is mirrored; where it was said, measuring has undone it.
    limb_ratios : tuple of LimbRatio
    rates : world.Rates
    hidden : Hidden or None
        What the shots do not show of the disc; None where all of it is seen.
    """

    detections: Detections
    ids: tuple[tuple[int, ...], ...]
    instants: Instants
    days: Array
    site: Site
    roll_sigma: Array
    equatorial: np.ndarray
    squash_sigma: Array
    clock_sigma: float
    may_mirror: np.ndarray
    limb_ratios: tuple[LimbRatio, ...]
    rates: world.Rates
    hidden: Hidden | None = None

    @property
    def n_shots(self) -> int:
        """Number of shots."""
        return len(self.days)

    @property
    def counts(self) -> np.ndarray:
        """Detections in each shot."""
        return np.bincount(self.detections.shot, minlength=self.n_shots)

    def mirrored(self, shots: tuple[int, ...]) -> OutingData:
        """The same outing with some shots mirrored left to right."""
        sign = np.where(np.isin(self.detections.shot, shots), -1.0, 1.0)
        flip = np.stack([sign, np.ones_like(sign)], axis=-1)
        hidden = self.hidden and self.hidden.flipped(shots, up_down=False)
        return self._with(self.detections.z * flip, self.detections.root * flip[:, :, None], hidden)

    def upside_down(self, shots: tuple[int, ...]) -> OutingData:
        """The same outing with some shots turned by half a turn."""
        sign = np.where(np.isin(self.detections.shot, shots), -1.0, 1.0)
        hidden = self.hidden and self.hidden.flipped(shots, up_down=True)
        return self._with(self.detections.z * sign[:, None], self.detections.root, hidden)

    def shifted(self, hours: float) -> OutingData:
        """The same outing with every clock reading moved by `hours`."""
        return replace(self, instants=Instants.from_utc_days(self.instants.utc_days + hours / 24))

    def widened(self, factor: float) -> OutingData:
        """The same outing with every stated uncertainty multiplied by `factor`."""
        ratios = tuple(replace(ratio, sigma=ratio.sigma * factor) for ratio in self.limb_ratios)
        wider = replace(
            self,
            roll_sigma=self.roll_sigma * factor,
            squash_sigma=self.squash_sigma * factor,
            clock_sigma=self.clock_sigma * factor,
            limb_ratios=ratios,
        )
        return wider._with(self.detections.z, self.detections.root * factor, self.hidden)

    def _with(self, z: Array, root: Array, hidden: Hidden | None) -> OutingData:
        return replace(self, detections=replace(self.detections, z=z, root=root), hidden=hidden)


def data_of(outing: Outing) -> OutingData:
    """Arrays of an outing.

    Raises
    ------
    InputError
        One shot only, no site, a shot without time, shots out of order, spots in fewer than two shots.
    """
    if outing.site is None:
        raise InputError("site", "must be known to score an outing", hint="measure with --site or add [site]")
    shots = outing.shots
    if len(shots) < 2:
        raise InputError("shot", f"must be given at least twice to score an outing, got {len(shots)} shot(s)")
    days = _days(shots)
    usable = [[spot for spot in shot.spots if np.hypot(spot.x, spot.y) < world.LAST_RADIUS] for shot in shots]
    if len(shots) > MOST_SHOTS_APART:
        usable = [joined_groups(spots) for spots in usable]
    if sum(bool(spots) for spots in usable) < 2:
        empty = ", ".join(f"'{s.file}'" for s, spots in zip(shots, usable, strict=True) if not spots)
        raise InputError(
            "shot.spot",
            f"must be found in at least two shots, but none is usable in {empty}",
            hint="no common spots",
        )
    site = outing.site
    counts = np.array([len(spots) for spots in usable])
    roll_sigma = np.array([_roll_sigma(shot) for shot in shots])
    equatorial = np.array([shot.mount == "equatorial" for shot in shots])
    grids = [None if shot.hidden is None else hidden_grid(shot.hidden) for shot in shots]
    hidden = Hidden.of(grids, ~np.isfinite(roll_sigma) | equatorial)
    open_share = 1.0 if hidden is None else float(hidden.open_share.mean())
    return OutingData(
        detections=_detections(shots, usable),
        ids=tuple(tuple(spot.id for spot in spots) for spots in usable),
        instants=Instants.from_utc_days(days),
        days=days - days[0],
        site=Site(site.latitude_deg, site.longitude_deg, max(site.height_m, 0.0)),
        roll_sigma=roll_sigma,
        equatorial=equatorial,
        squash_sigma=np.array([_squash_sigma(shot) for shot in shots]),
        clock_sigma=max((shot.time_sigma_s or CLOCK_SIGMA_S for shot in shots), default=CLOCK_SIGMA_S),
        may_mirror=np.array([shot.mirrored is None for shot in shots]),
        limb_ratios=_limb_ratios(shots),
        rates=world.Rates.from_counts(counts, open_share),
        hidden=hidden,
    )


def _days(shots: tuple[Shot, ...]) -> Array:
    from ...models.place import utc_days_of

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


def _limb_ratios(shots: tuple[Shot, ...]) -> tuple[LimbRatio, ...]:
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


def warn_of_unused(outing: Outing) -> None:
    """Say which observables of the outing the comparison does not use yet."""
    kinds = sorted({observable.kind for observable in outing.observables})
    if kinds:
        text = f"[[observable]] of kind {', '.join(kinds)} is not used by score yet; spots and limb radii are"
        warnings.warn(text, WhichsunWarning, stacklevel=2)

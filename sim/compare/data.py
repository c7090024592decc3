"""An outing as arrays: what every model is scored against. Unusable outings are refused here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array
from ...models.place import Instants, Site
from ..outing import Observable, Outing, Shot
from . import world
from .hidden_parts import Hidden
from .quantities import Quantity, quantities_of
from .shots_data import MOST_HOURS_APART as MOST_HOURS_APART
from .shots_data import Detections, LimbRatio, days_of, fields_of_shots, limb_ratios

CLOCK_SIGMA_S = 60.0


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
    quantities : tuple of Quantity
        Whatever else was measured.
    site_sigma_deg : (float, float)
        How well latitude and longitude are known; 0 for well enough.
    bend_scale : float
        By how much the priors of the refraction's strength are widened.
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
    quantities: tuple[Quantity, ...] = ()
    site_sigma_deg: tuple[float, float] = (0.0, 0.0)
    bend_scale: float = 1.0

    @property
    def n_shots(self) -> int:
        """Number of shots."""
        return len(self.days)

    @property
    def has_spots(self) -> bool:
        """Whether spots of two or more shots are data."""
        return len(self.detections.shot) > 0

    @property
    def has_size(self) -> bool:
        """Whether an absolute angular size was measured."""
        return any(one.kind == "angular-diameter" for one in self.quantities)

    @property
    def has_attitude(self) -> bool:
        """Whether anything tells how the Sun's face is turned."""
        return self.has_spots or any(one.of_attitude for one in self.quantities)

    @property
    def has_clock_times(self) -> bool:
        """Whether anything was measured at a time by the clock."""
        return self.has_spots or any(not one.of_a_day for one in self.quantities)

    @property
    def turn_instants(self) -> Instants | None:
        """Times of the shots, else of the first given turn of the Sun's face; None without either."""
        if self.n_shots > 1:
            return self.instants
        given = [one for one in self.quantities if one.of_attitude]
        return Instants.from_utc_days(np.array(given[0].days)) if given else None

    @property
    def middle(self) -> Instants:
        """One instant in the middle of what was measured."""
        if self.n_shots:
            return self.instants[self.n_shots // 2]
        return Instants.from_utc_days(np.median([day for one in self.quantities for day in one.days]))

    @property
    def shared_sigma(self) -> dict[str, float]:
        """Standard deviations of the nuisances that quantities and an uncertain site add, by name."""
        found = {"refraction": self.bend_scale} if any(one.bend_sigma for one in self.quantities) else {}
        latitude, longitude = self.site_sigma_deg
        found |= {"latitude": latitude} if latitude > 0 else {}
        return found | ({"longitude": longitude} if longitude > 0 else {})

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
        """The same outing with every clock reading moved by `hours`; what only names a day stays."""
        return replace(
            self,
            instants=Instants.from_utc_days(self.instants.utc_days + hours / 24),
            quantities=tuple(one.shifted(hours / 24) for one in self.quantities),
        )

    def flipped_turns(self) -> OutingData:
        """The same outing with the turns of spots and patterns as mirrored photos would have given them."""
        return self.with_quantities(one.flipped() if one.may_flip else one for one in self.quantities)

    def with_quantities(self, quantities: Iterable[Quantity]) -> OutingData:
        """The same outing with other quantities."""
        return replace(self, quantities=tuple(quantities))

    def without_spots(self) -> OutingData:
        """The same outing with its quantities alone."""
        return replace(self, **_no_shots(self.rates))

    def widened(self, factor: float) -> OutingData:
        """The same outing with every stated uncertainty multiplied by `factor`."""
        ratios = tuple(replace(ratio, sigma=ratio.sigma * factor) for ratio in self.limb_ratios)
        wider = replace(
            self,
            roll_sigma=self.roll_sigma * factor,
            squash_sigma=self.squash_sigma * factor,
            clock_sigma=self.clock_sigma * factor,
            limb_ratios=ratios,
            quantities=tuple(replace(one, sigma=one.sigma * factor) for one in self.quantities),
            site_sigma_deg=(self.site_sigma_deg[0] * factor, self.site_sigma_deg[1] * factor),
            bend_scale=self.bend_scale * factor,
        )
        return wider._with(self.detections.z, self.detections.root * factor, self.hidden)

    def _with(self, z: Array, root: Array, hidden: Hidden | None) -> OutingData:
        return replace(self, detections=replace(self.detections, z=z, root=root), hidden=hidden)


def data_of(outing: Outing) -> OutingData:
    """Arrays of an outing.

    Raises
    ------
    InputError
        No site; fewer than two shots with spots and nothing else measured; a shot without time or out of order;
        quantities that contradict or repeat each other.
    """
    if outing.site is None:
        raise InputError("site", "must be known to score an outing", hint="measure with --site or add [site]")
    shots, others = outing.shots, bool(outing.observables)
    if len(shots) < 2 and not others:
        hint = "or measure something else too, see [[observable]]" if shots else ""
        raise InputError(
            "shot", f"must be given at least twice to score an outing, got {len(shots)} shot(s)", hint=hint
        )
    usable = [[spot for spot in shot.spots if np.hypot(spot.x, spot.y) < world.LAST_RADIUS] for shot in shots]
    has_spots = sum(bool(spots) for spots in usable) > 1
    days = days_of(shots) if has_spots or not others else np.empty(0)
    if not has_spots and not others:
        empty = ", ".join(f"'{s.file}'" for s, spots in zip(shots, usable, strict=True) if not spots)
        raise InputError(
            "shot.spot",
            f"must be found in at least two shots, but none is usable in {empty}",
            hint="no common spots",
        )
    spotted = [shot for shot, spots in zip(shots, usable, strict=True) if spots] if has_spots else []
    quantities = quantities_of(outing if has_spots else _limbs_as_quantities(outing), spotted)
    parts = (
        fields_of_shots(shots, usable, days) if has_spots else _no_shots(world.Rates.from_counts(np.zeros(1)))
    )
    site = outing.site
    return OutingData(
        site=Site(site.latitude_deg, site.longitude_deg, max(site.height_m, 0.0)),
        clock_sigma=_clock_sigma(shots if has_spots else (), quantities),
        quantities=quantities,
        site_sigma_deg=(site.latitude_sigma_deg or 0.0, site.longitude_sigma_deg or 0.0),
        **parts,
    )


def _no_shots(rates: world.Rates) -> dict[str, Any]:
    """The same fields where no spots of two shots are data: quantities speak alone."""
    nothing = np.empty(0)
    return {
        "detections": Detections(
            np.empty((1, 0, 2)), np.empty((1, 0, 2, 2)), np.empty(0, int), np.empty((1, 0), bool), nothing
        ),
        "ids": (),
        "instants": Instants(nothing, nothing, nothing),
        "days": nothing,
        "roll_sigma": nothing,
        "equatorial": np.empty(0, dtype=bool),
        "squash_sigma": nothing,
        "may_mirror": np.empty(0, dtype=bool),
        "limb_ratios": (),
        "rates": rates,
        "hidden": None,
    }


def _limbs_as_quantities(outing: Outing) -> Outing:
    """The outing with its limbs' ratios among its observables, where the photos' spots are no data."""
    if not all(shot.time_utc for shot in outing.shots):
        return outing
    ratios = [
        Observable(
            "angular-diameter-ratio",
            float(np.exp(ratio.value)),
            float(np.exp(ratio.value)) * ratio.sigma,
            (outing.shots[0].time_utc or "", outing.shots[ratio.shot].time_utc or ""),
        )
        for ratio in limb_ratios(outing.shots)
    ]
    return replace(outing, observables=(*outing.observables, *ratios))


def _clock_sigma(shots: tuple[Shot, ...], quantities: Sequence[Quantity]) -> float:
    """The largest of all clocks' stated errors; a minute where one says nothing."""
    stated = [shot.time_sigma_s for shot in shots]
    stated += [one.given.time_sigma_s for one in quantities if not one.of_a_day]
    return max((sigma or CLOCK_SIGMA_S for sigma in stated), default=CLOCK_SIGMA_S)

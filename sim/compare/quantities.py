"""Measured quantities other than spots, as the likelihood takes them; contradictions are refused here.

Every kind, its unit and its sign: ``outing_observables.KINDS``.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...models.errors import InputError, WhichsunWarning
from ...models.place import iso_utc, parse_utc, utc_days_of
from ..outing import Observable, Outing, Shot
from ..outing_observables import OF_A_DAY, OF_A_SPOT

BLUNDER = 0.02
"""Share of measurements that are anything in the possible range: a blunder costs finitely, under every model."""
REFRACTION_SIGMA, LOW_REFRACTION_SIGMA = 0.12, 0.25
"""Of the logarithm of the strength of refraction: between -10 and 30 C, and below `LOW_DEG` of apparent altitude."""
LOW_DEG = 2.0

_SPANS = {
    "turn": 360.0,
    "drift-direction": 360.0,
    "altitude": 90.0,
    "azimuth": 360.0,
    "angular-diameter": float(np.log(100.0)),
    "angular-diameter-ratio": float(2 * np.log(4.0)),
    "rise": 86400.0,
    "set": 86400.0,
    "rise-azimuth": 360.0,
    "set-azimuth": 360.0,
    "day-length": 24.0,
    "noon-altitude": 90.0,
}
"""Length of the range in which a blunder may fall, in the unit of the residual (deg, h, s, ln of a size)."""
_LOGARITHMIC = ("angular-diameter", "angular-diameter-ratio")
_BENT = ("rise", "set", "rise-azimuth", "set-azimuth", "day-length")
_NEAR_DAYS, _SAME_DAYS = 3 / 1440, 1 / 86400
_SPOTS_LAST_DAYS = 3.0


@dataclass(frozen=True)
class Quantity:
    """One measured quantity.

    Attributes
    ----------
    given : Observable
        As it stands in the outing.
    number : int
        Its place there, from 0.
    value, sigma : float
        deg, h, or natural logarithm of a size or ratio of sizes; a rise or set has value 0 and sigma in s.
    days : tuple of float
        UTC days from 2000-01-01 12:00 of its times; the mean noon of the local day for what belongs to a day.
    spot : (float, float) or None
        Place of a turn's spot in the first photo, limb radii.
    """

    given: Observable
    number: int
    value: float
    sigma: float
    days: tuple[float, ...]
    spot: tuple[float, float] | None = None

    @property
    def kind(self) -> str:
        """One of ``outing_observables.KINDS``."""
        return self.given.kind

    @property
    def span(self) -> float:
        """Length of the range in which a blunder may fall."""
        return _SPANS[self.kind]

    @property
    def circular(self) -> bool:
        """Whether the value is an angle that comes round every 360 degrees."""
        return self.span == 360.0

    @property
    def of_a_day(self) -> bool:
        """Whether its time only names the day."""
        return self.kind in OF_A_DAY

    @property
    def of_attitude(self) -> bool:
        """Whether it tells how the Sun's face is turned."""
        return self.kind == "turn" and self.given.turn_kind != "celestial-north"

    @property
    def may_flip(self) -> bool:
        """Whether mirrored photos would have turned its sign round."""
        return self.kind == "turn" and self.given.turn_kind in OF_A_SPOT

    @property
    def bend_sigma(self) -> float:
        """Prior standard deviation of the logarithm of the refraction that it went through; 0 if none counts."""
        if self.kind in _BENT:
            return LOW_REFRACTION_SIGMA
        if self.kind in ("altitude", "noon-altitude"):
            return LOW_REFRACTION_SIGMA if self.value < LOW_DEG else REFRACTION_SIGMA
        return 0.0

    @property
    def name(self) -> str:
        """What a person calls it: kind and times."""
        kind = f"{self.given.turn_kind} turn" if self.kind == "turn" else self.kind
        return f"{kind} {' to '.join(self.given.time_utc)}"

    def flipped(self) -> Quantity:
        """The same from mirrored photos."""
        spot = None if self.spot is None else (-self.spot[0], self.spot[1])
        return replace(self, value=-self.value, spot=spot)

    def shifted(self, days: float) -> Quantity:
        """The same by clocks that were off; what belongs to a day stays."""
        return self if self.of_a_day else replace(self, days=tuple(day + days for day in self.days))

    def shown(self, value: float) -> float:
        """A value of the kind's residual in the unit of the outing file."""
        return float(np.exp(value)) if self.kind in _LOGARITHMIC else value


def quantities_of(outing: Outing, shots_with_spots: Sequence[Shot]) -> tuple[Quantity, ...]:
    """All quantities of an outing.

    A turn of spots between two photos whose spots are data is left out with a warning: it is the same
    measurement again.

    Raises
    ------
    InputError
        Two of them contradict or repeat each other, or a turn of spots spans more than 72 hours.
    """
    assert outing.site is not None
    found = []
    spotted = [_days_of(shot.time_utc) for shot in shots_with_spots if shot.time_utc]
    for number, given in enumerate(outing.observables):
        one = _quantity(given, number, outing.site.longitude_deg)
        if one.of_attitude and all(min((abs(d - s) for s in spotted), default=9) < 1e-3 for d in one.days):
            text = f"the {one.name} is left out: the spots of those photos say it already"
            warnings.warn(text, WhichsunWarning, stacklevel=2)
            continue
        if one.may_flip and one.days[1] - one.days[0] > _SPOTS_LAST_DAYS:
            hint = "spots change too much; measure a turn within a day"
            raise InputError(_path(one), "must lie within 72 h for a turn of spots", hint=hint)
        found.append(one)
    for i, later in enumerate(found):
        for earlier in found[:i]:
            _refuse_twice(earlier, later)
    _refuse_sums(found)
    return tuple(found)


def _quantity(given: Observable, number: int, longitude_deg: float) -> Quantity:
    days = tuple(_days_of(time) for time in given.time_utc)
    if given.kind in OF_A_DAY:
        days = tuple(round(day + longitude_deg / 360) - longitude_deg / 360 for day in days)
    value, sigma = given.value, given.sigma
    if given.kind in _LOGARITHMIC:
        value, sigma = float(np.log(value)), sigma / value
    spot = None if given.spot_x is None or given.spot_y is None else (given.spot_x, given.spot_y)
    if not (np.isfinite(value) and np.isfinite(sigma) and sigma > 0):
        raise InputError(f"observable[{number + 1}]", "must have a finite value and a positive sigma")
    return Quantity(given, number, value, sigma, days, spot)


def _days_of(time: str) -> float:
    return utc_days_of(parse_utc(time))


def _path(one: Quantity) -> str:
    return f"observable[{one.number + 1}]"


def _refuse_twice(a: Quantity, b: Quantity) -> None:
    """Refuse two entries that say the same thing."""
    kinds = {_sense(a), _sense(b)}
    within = _SAME_DAYS if len(kinds) == 1 else _NEAR_DAYS if kinds in _SAME_THING else 0.0
    pairs = zip(a.days, b.days, strict=False)
    if len(a.days) != len(b.days) or not all(abs(x - y) < within for x, y in pairs):
        return
    if a.spot != b.spot and a.spot is not None and b.spot is not None:
        return
    rule = f"says the same as {_path(a)} ({a.kind} at {a.given.time_utc[0]}) once more"
    raise InputError(_path(b), rule, b.kind, "keep one of them")


def _sense(one: Quantity) -> str:
    if one.kind == "turn" and one.given.turn_kind == "celestial-north":
        return "drift-direction"
    return f"turn {one.given.turn_kind}" if one.kind == "turn" else one.kind


_SAME_THING = ({"rise", "altitude"}, {"set", "altitude"})
_SUMS = (
    ("day-length", ("rise", "set"), "follows from rise and set of the same day"),
    ("rise-azimuth", ("rise", "azimuth"), "is the azimuth at the rise, which is given too"),
    ("set-azimuth", ("set", "azimuth"), "is the azimuth at the set, which is given too"),
    (
        "drift-direction",
        ("drift-direction", "drift-direction"),
        "follows from the directions at its two times",
    ),
    (
        "angular-diameter-ratio",
        ("angular-diameter", "angular-diameter"),
        "follows from the diameters at its two times",
    ),
)


def _refuse_sums(found: Sequence[Quantity]) -> None:
    """Refuse an entry that two others give already."""
    for whole, parts, rule in _SUMS:
        for one in found:
            if _sense(one) != whole or (whole == "drift-direction" and len(one.days) == 1):
                continue
            first, second = ([p for p in found if _sense(p) == kind and len(p.days) == 1] for kind in parts)
            if any(_add_up(one, a, b) for a in first for b in second if a is not b):
                raise InputError(_path(one), rule, one.kind, "keep either this or those")


def _add_up(whole: Quantity, a: Quantity, b: Quantity) -> bool:
    if whole.kind == "day-length":
        return all(abs(part.days[0] - whole.days[0]) < 0.5 for part in (a, b)) and a.days < b.days
    if whole.of_a_day:
        return abs(a.days[0] - whole.days[0]) < 0.5 and abs(a.days[0] - b.days[0]) < _NEAR_DAYS
    return abs(a.days[0] - whole.days[0]) < _NEAR_DAYS and abs(b.days[0] - whole.days[-1]) < _NEAR_DAYS


def times_shown(one: Quantity) -> list[str]:
    """Its times as text, moved ones included."""
    return list(one.given.time_utc) if one.of_a_day else [iso_utc(day) for day in one.days]

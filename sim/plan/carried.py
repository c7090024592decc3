"""Regions of a summary carried to another time by a rotation law, and how unsure they have become by then.

Where the spreads come from. Kislovodsk's sunspot groups of 2010 to 2020 (8,498 places of 2,173 groups) were carried by
the law from each day to later ones; `tests/validation/region_drift.py` prints what follows below. Half widths of the
central 68 %; those of 95 % are 2.4 to 3.2 times as wide, as of a Student's t with 2.5 degrees of freedom. What a
summary's place and area are worth on its own day: the scatter of the USAF/NOAA places of 2010, whole degrees like the
summaries', about Kislovodsk's of the same days.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...models.distant_sphere import DistantSphere
from ...models.geometry import Array
from ...models.observables import body_vector, sub_observer_point
from ...models.place import Instants, Site
from ..rotation import RotationLaw, carry
from .regions import Region, RegionSummary

FIRST_LONGITUDE_DEG, FIRST_LATITUDE_DEG = 1.51, 0.94
"""68 % of USAF/NOAA less Kislovodsk, 222 groups of 2010 on the same day."""
FIRST_LN_AREA = 0.63
"""The same of ln area: scatter 0.36 and a median of -0.52 (the summaries' areas come out smaller), together."""
TAIL_DOF = 2.5
OLD_DAYS, TOO_OLD_DAYS = 3.0, 10.0
"""From the first on a plan says that the list is getting old; beyond the second the spots that were seen have mostly
left the disc or vanished, and it is not used."""
_ODD_DEG = 3.0
_AREAS_MSH = (50.0, 150.0)  # limits of the classes below
_SPREADS = (  # longitude, latitude, ln area: 68 % = level * days^power
    ((1.24, 0.59), (0.50, 0.50), (1.05, 0.35)),
    ((0.72, 0.64), (0.35, 0.53), (0.52, 0.55)),
    ((0.56, 0.63), (0.26, 0.61), (0.22, 0.65)),
)
_FOUND_AGAIN = (  # share after 0, 1, ... 6 days of those that the rotation kept within 55 deg of the meridian
    (1.0, 0.63, 0.49, 0.39, 0.33, 0.28, 0.24),
    (1.0, 0.97, 0.93, 0.87, 0.78, 0.71, 0.64),
    (1.0, 0.96, 0.92, 0.89, 0.88, 0.87, 0.86),
)


@dataclass(frozen=True)
class CarriedRegion:
    """A region at another time.

    Parameters
    ----------
    region : Region
    days : float
        From the summary's instant, negative before it.
    latitude_deg, longitude_deg : float
        Heliographic, Carrington longitude.
    latitude_sigma_deg, longitude_sigma_deg : float
        Half widths of the 68 % intervals.
    ln_area_sigma : float
        The same of the logarithm of the area.
    chance_there : float
        That the group still has spots (or already has), whether in sight or not.
    """

    region: Region
    days: float
    latitude_deg: float
    longitude_deg: float
    latitude_sigma_deg: float
    longitude_sigma_deg: float
    ln_area_sigma: float
    chance_there: float

    def draws(self, rng: np.random.Generator, count: int) -> Array:
        """Body-frame unit vectors (1 + count, 3): the place itself, then places drawn about it."""
        # Student's t of 2.5 degrees of freedom: a scale is less than half of its central 68 %.
        t = rng.standard_t(TAIL_DOF, size=(count, 2)) / _T_HALF68
        latitude = self.latitude_deg + np.append(0.0, t[:, 0]) * self.latitude_sigma_deg
        longitude = self.longitude_deg + np.append(0.0, t[:, 1]) * self.longitude_sigma_deg
        return body_vector(np.deg2rad(np.clip(latitude, -90, 90)), np.deg2rad(longitude))


_T_HALF68 = 1.2443
"""Half width of the central 68.27 % of that Student's t (scipy.stats.t(2.5).ppf(0.84134))."""


def nearest_summary(summaries: Sequence[RegionSummary], utc_days: float) -> RegionSummary | None:
    """The summary nearest in time, at most `TOO_OLD_DAYS` away; else None."""
    near = min(summaries, key=lambda one: abs(one.utc_days - utc_days), default=None)
    return near if near is not None and abs(near.utc_days - utc_days) <= TOO_OLD_DAYS else None


def meridian_longitude_deg(utc_days: float) -> float:
    """Carrington longitude of the central meridian seen from the Earth (the site moves it by 0.003 deg at most)."""
    view = DistantSphere().view(Instants.from_utc_days(utc_days), Site(0.0, 0.0), {})
    return float(np.rad2deg(sub_observer_point(view)[1]))


def place_of(region: Region, meridian_longitude: float) -> tuple[float, float]:
    """Latitude and Carrington longitude in degrees at the summary's instant.

    From the distance to the meridian, which is what was measured; a region that is to return has only the file's own
    Carrington longitude.
    """
    if region.meridian_deg is None:
        return region.latitude_deg, region.carrington_deg
    return region.latitude_deg, (meridian_longitude + region.meridian_deg) % 360


def odd_longitudes(summary: RegionSummary) -> list[str]:
    """A sentence for every region whose two longitudes in the file disagree: one of them is mistyped."""
    middle = meridian_longitude_deg(summary.utc_days)
    found = []
    for region in (*summary.regions, *summary.plages):
        by_meridian = place_of(region, middle)[1]
        gap = (region.carrington_deg - by_meridian + 180) % 360 - 180
        if abs(gap) > _ODD_DEG:
            found.append(
                f"{summary.file}: region {region.number} stands at Carrington longitude {by_meridian:.0f} by its "
                f"location and at {region.carrington_deg:.0f} by its column Lo; the location is taken"
            )
    return found


def carried(
    region: Region, summary: RegionSummary, utc_days: float, law: RotationLaw, meridian_longitude: float
) -> CarriedRegion:
    """A region with spots at another time.

    Parameters
    ----------
    region : Region
    summary : RegionSummary
        That holds it.
    utc_days : float
    law : RotationLaw
    meridian_longitude : float
        Of the summary's instant, degrees, :func:`meridian_longitude_deg`.
    """
    days = utc_days - summary.utc_days
    latitude, longitude = place_of(region, meridian_longitude)
    point = carry(body_vector(np.deg2rad([latitude]), np.deg2rad([longitude])), np.array(days), law)[0]
    size = int(np.searchsorted(_AREAS_MSH, region.area_msh or 0.0, side="right"))
    along, across, area = (level * abs(days) ** power for level, power in _SPREADS[size])
    return CarriedRegion(
        region,
        days,
        latitude,
        float(np.rad2deg(np.arctan2(point[1], point[0]))) % 360,
        float(np.hypot(FIRST_LATITUDE_DEG, across)),
        float(np.hypot(FIRST_LONGITUDE_DEG, along)),
        float(np.hypot(FIRST_LN_AREA, area)),
        _found_again(size, abs(days)),
    )


def _found_again(size: int, days: float) -> float:
    """Share of the table, going on beyond it as from the fourth to the sixth day."""
    shares = np.log(_FOUND_AGAIN[size])
    last = len(shares) - 1
    if days <= last:
        return float(np.exp(np.interp(days, np.arange(last + 1), shares)))
    return float(np.exp(shares[last] + (days - last) * (shares[last] - shares[last - 2]) / 2))

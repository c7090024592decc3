"""How far a sunspot group strays from where the rotation law carries it, how its area changes and whether it lives on.

By hand: python tests/validation/region_drift.py KISLOVODSK_CSV [USAF_TXT]. The first is the table of sunspot groups
2010 to 2020 of the Kislovodsk station (sunspot_group_properties.csv), the second the USAF/NOAA table of a year
(g2010.txt). What it prints is what sim/plan/carried.py holds: half widths of the 68 and 95 % intervals by lag and area.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
from collections import defaultdict
from typing import NamedTuple

import numpy as np
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law

CLASSES = ((0, 50), (50, 150), (150, 10_000))
EDGE_DEG = 55.0  # the table holds groups within 60 deg of the central meridian
STRANGER_DEG = 25.0  # a number used twice
SYNODIC_DEG_PER_DAY = 13.2


class Seen(NamedTuple):
    days: float
    latitude: float
    longitude: float
    area: float
    meridian: float


def kislovodsk(path: str) -> dict[tuple[int, str], list[Seen]]:
    groups = defaultdict(list)
    with open(path, newline="") as stream:
        for row in csv.DictReader(stream):
            time = dt.datetime.fromisoformat(row["date"])
            longitude = float(row["long_mean"])
            groups[time.year, row["group_number"]].append(
                Seen(
                    time.timestamp() / 86400,
                    float(row["lat_mean"]),
                    longitude,
                    float(row["area"]),
                    wrapped(longitude - float(row["L0"])),
                )
            )
    return {key: sorted(value) for key, value in groups.items()}


def usaf(path: str) -> list[Seen]:
    """Rows at 24 h UT steps; longitudes of the whole-degree distance from the meridian are printed to 0.1."""
    found = []
    with open(path) as stream:
        for line in stream:
            year, month, day = int(line[:4]), int(line[4:6]), float(line[6:12])
            start = dt.datetime(year, month, 1, tzinfo=dt.UTC).timestamp() / 86400
            numbers = [line[a:b].strip() for a, b in ((39, 44), (57, 62), (63, 68), (69, 75))]
            if all(numbers):
                area, longitude, latitude, meridian = map(float, numbers)
                found.append(Seen(start + day - 1, latitude, longitude, area, meridian))
    return found


def wrapped(degrees):
    return (degrees + 180) % 360 - 180


def half(values, share: float) -> float:
    low, high = np.percentile(values, (50 - 50 * share, 50 + 50 * share))
    return float(high - low) / 2


def stray(first: Seen, later: Seen, law) -> tuple[float, float]:
    days = later.days - first.days
    drift = np.rad2deg(law.drift(np.deg2rad(first.latitude))) * days
    return wrapped(later.longitude - first.longitude - drift), later.latitude - first.latitude


def power_law(days, values) -> tuple[float, float]:
    slope, level = np.polyfit(np.log(days), np.log(values), 1)
    return float(np.exp(level)), float(slope)


def straying(groups) -> None:
    law = rotation_law(DEFAULT_LAW)
    pairs = defaultdict(list)
    for seen in groups.values():
        for i, first in enumerate(seen):
            for later in seen[i + 1 :]:
                days = later.days - first.days
                lag = round(days)
                if 1 <= lag <= 7 and abs(days - lag) < 0.35:
                    longitude, latitude = stray(first, later, law)
                    if abs(longitude) < STRANGER_DEG:
                        pairs[lag].append((first.area, longitude, latitude, np.log(later.area / first.area)))
    for low, high in CLASSES:
        print(f"\narea {low} to {high} msh: half widths, 68 % and 95 %")
        rows = []
        for lag in sorted(pairs):
            table = np.array([row for row in pairs[lag] if low <= row[0] < high])
            widths = [half(table[:, k], share) for k in (1, 2, 3) for share in (0.6827, 0.95)]
            rows.append((lag, *widths))
            words = "longitude {:.2f} {:.2f}  latitude {:.2f} {:.2f}  ln area {:.2f} {:.2f}".format(*widths)
            print(f"  {lag} d, n {len(table)}: {words}  median ln area {np.median(table[:, 3]):+.2f}")
        table = np.array(rows)
        for name, column in (("longitude", 1), ("latitude", 3), ("ln area", 5)):
            level, slope = power_law(table[:, 0], table[:, column])
            print(f"  {name}: 68 % = {level:.2f} days^{slope:.2f}")


def living(groups) -> None:
    """Share of groups found again, of those that the turning Sun keeps inside the table's strip."""
    days_observed = sorted({one.days for seen in groups.values() for one in seen})
    print("\nshare found again")
    for low, high in CLASSES:
        shares = []
        for lag in range(1, 7):
            alive = total = 0
            for seen in groups.values():
                for first in seen:
                    inside = (
                        low <= first.area < high and first.meridian + SYNODIC_DEG_PER_DAY * lag < EDGE_DEG
                    )
                    at = first.days + lag
                    place = np.searchsorted(days_observed, at - 0.35)
                    looked = place < len(days_observed) and days_observed[place] < at + 0.35
                    if inside and looked:
                        total += 1
                        alive += any(abs(later.days - at) < 0.35 for later in seen)
            shares.append((lag, alive / total, total))
        text = "  ".join(f"{lag} d {share:.2f} ({n})" for lag, share, n in shares)
        lags, values = np.array([(lag, share) for lag, share, _ in shares]).T
        rate = float(np.sum(-np.log(values) * lags) / np.sum(lags**2))
        print(f"  area {low} to {high}: {text}; exp(-{rate:.3f} days)")


def at_once(groups, table: list[Seen]) -> None:
    """Two stations' places of one group within 0.4 days: nearest within 6 deg, carried to one time."""
    law = rotation_law(DEFAULT_LAW)
    found = []
    every = [one for seen in groups.values() for one in seen]
    for one in every:
        near = []
        for other in table:
            if abs(other.days - one.days) < 0.4:
                longitude, latitude = stray(one, other, law)
                if np.hypot(longitude, latitude) < 6:
                    near.append(
                        (
                            np.hypot(longitude, latitude),
                            longitude,
                            latitude,
                            np.log(other.area / one.area) if other.area > 0 else np.nan,
                            one.area,
                        )
                    )
        if near:
            found.append(min(near))
    rows = np.array(found)
    print(f"\nUSAF/NOAA less Kislovodsk on the same day, n {len(rows)}: 68 and 95 %")
    for name, column in (("longitude", 1), ("latitude", 2), ("ln area", 3)):
        values = rows[:, column][np.isfinite(rows[:, column])]
        print(
            f"  {name}: median {np.median(values):+.2f}, {half(values, 0.6827):.2f}, {half(values, 0.95):.2f}"
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kislovodsk")
    parser.add_argument("usaf", nargs="?")
    arguments = parser.parse_args()
    all_groups = kislovodsk(arguments.kislovodsk)
    straying(all_groups)
    living(all_groups)
    if arguments.usaf:
        at_once(all_groups, usaf(arguments.usaf))

"""The clock of a site: a named time zone, one found from the coordinates, or the zone of the longitude."""

from __future__ import annotations

import datetime as dt
import difflib
import importlib.util
import warnings
import zoneinfo
from dataclasses import dataclass

from ...models.errors import InputError, UnknownNameError
from ...models.place import Site, datetime_of

GIVEN, FOUND, NAUTICAL = "given", "coordinates", "longitude"
_OR_INSTALL = ", or have it found: pip install 'whichsun[zones]'"


@dataclass(frozen=True)
class Zone:
    """A time zone and where it comes from.

    Parameters
    ----------
    name : str
        Of the IANA time zone database, or ``UTC+2`` for the zone of the longitude.
    info : tzinfo
    source : str
        ``given``, ``coordinates`` or ``longitude``.
    """

    name: str
    info: dt.tzinfo
    source: str

    def local(self, utc_days: float) -> dt.datetime:
        """The clock at UTC days from 2000-01-01 12:00, to the millisecond."""
        return datetime_of(utc_days).astimezone(self.info)

    def offset_h(self, utc_days: float) -> float:
        """Local time minus UTC, hours."""
        offset = self.local(utc_days).utcoffset()
        assert offset is not None  # aware by construction
        return offset.total_seconds() / 3600

    @property
    def words(self) -> str:
        """The zone and how it was found, in words."""
        told = {
            GIVEN: f"{self.name} (as given)",
            FOUND: f"{self.name} (from the coordinates; at a border check it, or give --zone)",
            NAUTICAL: f"{self.name}, the zone of the longitude only, without summer time: "
            f"your clock may show something else; give --zone{_OR_INSTALL if _finder_missing() else ''}",
        }
        return told[self.source]


def zone_named(name: str) -> Zone:
    """A zone of the IANA database by its name, such as ``Europe/Oslo``; or ``UTC``, ``UTC+5:30``."""
    fixed = _fixed(name)
    if fixed is not None:
        return Zone(name, fixed, GIVEN)
    try:
        return Zone(name, zoneinfo.ZoneInfo(name), GIVEN)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        known = zoneinfo.available_timezones()
        near = difflib.get_close_matches(name, known, n=5, cutoff=0.4) or ["Europe/Oslo", "UTC", "UTC+2"]
        raise UnknownNameError(
            "zone", name, near, "a name of the IANA time zone database, or UTC+2"
        ) from None


def _fixed(name: str) -> dt.timezone | None:
    if not name.upper().startswith("UTC"):
        return None
    rest = name[3:].strip()
    if not rest:
        return dt.UTC
    sign = {"+": 1, "-": -1}.get(rest[0])
    hours, _, minutes = rest[1:].partition(":")
    if sign is None or not hours.isdecimal() or not (minutes or "0").isdecimal():
        raise InputError("zone", "must be a zone's name or UTC+HH:MM", name)
    offset = dt.timedelta(hours=int(hours), minutes=int(minutes or 0))
    if offset > dt.timedelta(hours=14) or int(minutes or 0) > 59:
        raise InputError("zone", "must be within 14 hours of UTC", name)
    return dt.timezone(sign * offset)


def nautical_zone(longitude_deg: float) -> Zone:
    """Whole hours from UTC by the longitude, as ships at sea keep them (15 deg wide, centred)."""
    hours = round(((longitude_deg + 180) % 360 - 180) / 15)
    return Zone(f"UTC{hours:+d}" if hours else "UTC", dt.timezone(dt.timedelta(hours=hours)), NAUTICAL)


def zone_of(site: Site, name: str | None = None) -> Zone:
    """The zone given, or the one at the site where the package `timezonefinder` is installed, or by longitude."""
    if name is not None:
        return zone_named(name)
    found = _found(float(site.latitude_deg), (float(site.longitude_deg) + 180) % 360 - 180)
    if found is None:
        return nautical_zone(float(site.longitude_deg))
    return Zone(found, zoneinfo.ZoneInfo(found), FOUND)


def _finder_missing() -> bool:
    return importlib.util.find_spec("timezonefinder") is None


def _found(latitude_deg: float, longitude_deg: float) -> str | None:
    """Name of the zone on land by timezonefinder; None at sea, without the package or for a zone of no name here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            from timezonefinder import TimezoneFinder
        except ImportError:
            return None
        name = TimezoneFinder().timezone_at(lat=latitude_deg, lng=longitude_deg)
    if name is None or name.startswith("Etc/"):
        return None
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return None
    return name

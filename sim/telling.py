"""Sites, days and moments in words for titles and captions, the same everywhere."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from ..models.place import Site
from .outing import Shot

SIMULATED_CAMERA = "simulated camera"
"""The camera's name in a drawn photo, by which captions know that nobody took it."""

# strftime would follow the machine's language.
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def nobody_took(shots: Iterable[Shot]) -> bool:
    """Whether some photos were drawn by a program."""
    return any(shot.camera == SIMULATED_CAMERA for shot in shots)


def place_words(site: Site, digits: int = 1) -> str:
    """Latitude and longitude of a site, ``46.5° N, 30.0° W``, to that many decimals of a degree."""
    longitude = (float(site.longitude_deg) + 180) % 360 - 180
    return f"{_degrees(float(site.latitude_deg), digits, 'NS')}, {_degrees(longitude, digits, 'EW')}"


def longitude_words(longitude_deg: float) -> str:
    """``longitude 30° W`` of -30, to as many digits as it has."""
    degrees = (longitude_deg + 180) % 360 - 180
    return f"longitude {abs(degrees):.6g}\N{DEGREE SIGN} {'W' if degrees < 0 else 'E'}"


def _degrees(value: float, digits: int, letters: str) -> str:
    text = f"{abs(value):.{digits}f}"
    return f"{text}\N{DEGREE SIGN} {letters[value < 0 and float(text) > 0]}"


def day_words(day: str | dt.date) -> str:
    """``18 April 2027`` of ``2027-04-18``."""
    date = dt.date.fromisoformat(str(day))
    return f"{date.day} {_MONTHS[date.month - 1]} {date.year}"


def moment_words(time_utc: str | None) -> str:
    """``18 April 2027, 07:40 UTC`` of an ISO 8601 time, with its seconds where they are not zero."""
    if time_utc is None:
        return "time unknown"
    day, clock = time_utc.removesuffix("Z").split("T")
    return f"{day_words(day)}, {clock.removesuffix(':00')} UTC"


def parameter_name(name: str, unit: str) -> str:
    """A parameter's name for reading, without its unit: ``height`` of ``height_km``."""
    ending = "_" + unit.replace("/", "_per_").replace(" ", "_")
    return name.removesuffix(ending).replace("_", " ")


def number_words(value: float) -> str:
    """Four digits of a number, with commas and without exponents: ``7,090,000`` of 7.0901e6."""
    return f"{float(f'{value:.4g}'):,.10g}"

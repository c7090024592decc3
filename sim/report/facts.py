"""Data behind a report as texts: site, times, photos, measured quantities, spots, versions, checksums."""

from __future__ import annotations

import hashlib
import platform
import re
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

from ...models.place import Site
from ..outing import Observable, Outing, Shot
from ..outing_observables import KINDS, WITHOUT_VALUE
from ..telling import place_words
from .document import Table

SITE_STEP_DEG = 0.1  # about 11 km, to which a site is rounded unless the exact one is asked for
_LIBRARIES = ("numpy", "scipy", "astropy", "astropy-iers-data", "pyerfa", "pyproj", "pillow", "matplotlib")


def site_words(site: Site, *, exact: bool) -> str:
    """The site as ``46.5° N, 30.0° W``, rounded to 0.1 degree unless `exact`."""
    if exact:
        return f"{place_words(site, 5)}, {float(site.height_m):.0f} m"
    return f"{place_words(site)} (rounded to {SITE_STEP_DEG:g} degree)"


def rounded_site(site: Site, *, exact: bool) -> dict[str, float]:
    """Latitude and longitude for other programs, rounded to 0.1 degree unless `exact`."""
    values = {"latitude_deg": float(site.latitude_deg), "longitude_deg": float(site.longitude_deg)}
    return values if exact else {name: round(value, 1) for name, value in values.items()}


def time_words(time_utc: str | None) -> str:
    """``2027-04-18 07:40:00 UTC``."""
    return "time unknown" if time_utc is None else time_utc.replace("T", " ").removesuffix("Z") + " UTC"


def coarse(result: Any, observables: Sequence[Observable]) -> Any:
    """The result of a score without what gives the site away.

    The given latitude is rounded; of other measurements the times are cut to the minute (sunrise tells a longitude)
    and the numbers to what :func:`digits_of` says (a noon altitude tells a latitude).
    """
    if isinstance(result, str):
        for time in {time for one in observables for time in one.time_utc}:
            result = result.replace(time, _to_minute(time))
        return result
    if isinstance(result, list):
        return [coarse(item, observables) for item in result]
    if not isinstance(result, dict):
        return result
    told = {key: coarse(item, observables) for key, item in result.items()}
    if "given_deg" in told:
        told["given_deg"] = round(told["given_deg"], 1)
    digits = digits_of(told.get("kind"))
    for key in ("measured", "predicted"):
        if digits is not None and isinstance(told.get(key), float):
            told[key] = round(told[key], digits)
    return told


def _to_minute(time_utc: str) -> str:
    """An ISO 8601 time without its seconds."""
    return re.sub(r"(T\d\d:\d\d):\d\d(\.\d+)?", r"\1", time_utc)


def digits_of(kind: str | None) -> int | None:
    """Decimals to which a kind of measurement is told where the site is rounded; None for all of them."""
    if kind not in KINDS or kind in WITHOUT_VALUE or kind.startswith("angular-diameter"):
        return None
    return 2 if KINDS[kind].unit == "h" else 1


def photo_table(shots: Sequence[Shot]) -> Table:
    """One row per photo: what was given and what was measured."""
    rows = []
    for shot in shots:
        lens = "" if shot.focal_length_mm is None else f"{shot.focal_length_mm:g} mm"
        camera = ", ".join(part for part in (shot.camera or "", lens) if part)
        disc = ""
        if shot.semi_axes_px is not None:
            disc = " by ".join(f"{2 * axis:.1f}" for axis in shot.semi_axes_px) + " px"
        roll = f"{shot.roll_deg:+.2f}"
        if shot.roll_sigma_deg is not None:
            roll += f" ± {shot.roll_sigma_deg:.2f}"
        times = time_words(shot.time_utc)
        if shot.time_sigma_s:
            times += f" ± {shot.time_sigma_s:g} s"
        rows.append(
            [shot.file, times, camera, shot.mount, f"{roll}\N{DEGREE SIGN}", disc, str(len(shot.spots))]
        )
    columns = ("photo", "time", "camera and lens", "mount", "roll undone", "disc", "spots")
    return Table(columns, rows, "The photos")


def quantity_table(observables: Sequence[Observable], *, exact: bool) -> Table:
    """Other measurements, as coarse as :func:`coarse` makes them unless `exact`."""
    rows = []
    for one in observables:
        kind, digits = KINDS[one.kind], None if exact else digits_of(one.kind)
        unit = kind.unit.removesuffix("1")
        number = f"{one.value:.6g}" if digits is None else f"{one.value:.{digits}f}"
        value = "" if one.kind in WITHOUT_VALUE else f"{number} {unit}".strip()
        sigma = f"{one.sigma:g} {kind.sigma_unit or unit}".strip()
        times = [time_words(time if exact else _to_minute(time)) for time in one.time_utc]
        name = one.kind if one.turn_kind is None else f"{one.kind} ({one.turn_kind})"
        rows.append([name, value, sigma, " and ".join(times)])
    return Table(("measured", "value", "uncertainty", "time"), rows, "Other measurements")


def spot_table(shots: Sequence[Shot]) -> Table:
    """Every spot: place in limb radii (x right, y to the zenith, squash and roll undone), uncertainty, area."""
    rows = []
    for shot in shots:
        for spot in shot.spots:
            area = "" if spot.area_msh is None else f"{spot.area_msh:.0f}"
            place = [f"{spot.x:+.4f}", f"{spot.y:+.4f}", f"{spot.sigma_x:.4f}", f"{spot.sigma_y:.4f}"]
            by_hand = "by hand" if spot.by_hand else ""
            rows.append([shot.file, str(spot.id), *place, area, by_hand])
    columns = ("photo", "spot", "x", "y", "sigma x", "sigma y", "area, millionths", "added")
    return Table(columns, rows, "Every spot, in disc radii", folded=True)


def version_table() -> Table:
    """What worked: the program, the language, the libraries."""
    rows = [["whichsun", version("whichsun")], ["Python", platform.python_version()]]
    return Table(("program", "version"), [*rows, *([name, version(name)] for name in _LIBRARIES)], "Versions")


def checksum_table(outing: Path, photos: Sequence[tuple[str, Path]]) -> Table:
    """SHA-256 of the outing file and of every photo that is there."""
    rows = [[outing.name, _sha256(outing)]]
    rows += [[name, _sha256(path)] for name, path in photos if path.is_file()]
    return Table(("file", "SHA-256"), rows, "Checksums of the files used")


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def named_apart(outing: Outing, folder: Path) -> tuple[Outing, list[Path]]:
    """The outing with bare file names, each once, and where its photos lie.

    Folders tell of a person's machine; a name that comes twice gets a number.
    """
    names: dict[str, str] = {}
    for shot in outing.shots:
        name = Path(shot.file).name or shot.file
        taken = set(names.values())
        number, free = 1, name
        while free in taken:
            number += 1
            free = f"{name} ({number})"
        names[shot.file] = free
    shots = tuple(replace(shot, file=names[shot.file]) for shot in outing.shots)
    matches = tuple(
        replace(match, shot_a=names[match.shot_a], shot_b=names[match.shot_b]) for match in outing.matches
    )
    return replace(outing, shots=shots, matches=matches), [folder / shot.file for shot in outing.shots]

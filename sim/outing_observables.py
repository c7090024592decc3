"""Other measurements of an outing than spots: their kinds, units and signs, and the ``[[observable]]`` tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from .outing import TURN_KINDS, Observable
from .toml_check import Key, TomlText


@dataclass(frozen=True)
class Kind:
    """One kind of measurement.

    Attributes
    ----------
    times : tuple of int
        How many times it may have.
    unit, sigma_unit : str
        Of `value` and `sigma`.
    low, high : float
        Bounds of `value`.
    most_sigma : float
    meaning : str
    """

    times: tuple[int, ...]
    unit: str
    low: float
    high: float
    most_sigma: float
    meaning: str
    sigma_unit: str = ""


KINDS = {
    "turn": Kind(
        (2,), "deg", -360, 360, 60, "how far the disc turned, anticlockwise positive; see turn_kind"
    ),
    "drift-direction": Kind(
        (1, 2),
        "deg",
        -360,
        360,
        60,
        "vertex angle of the way in which the Sun drifts through a level frame; with two times how far it turned",
    ),
    "altitude": Kind(
        (1,), "deg", -5, 90, 60, "apparent altitude of the Sun's centre, as seen through the air"
    ),
    "azimuth": Kind((1,), "deg", -360, 360, 60, "azimuth of the Sun's centre from true north through east"),
    "angular-diameter": Kind((1,), "deg", 0.01, 30, 10, "angular diameter of the Sun, horizontal"),
    "angular-diameter-ratio": Kind(
        (2,), "1", 0.05, 20, 5, "diameter at the second time over that at the first"
    ),
    "rise": Kind((1,), "", 0, 0, 86400, "the time at which the upper limb appeared", "s"),
    "set": Kind((1,), "", 0, 0, 86400, "the time at which the upper limb went", "s"),
    "rise-azimuth": Kind((1,), "deg", -360, 360, 60, "azimuth of the Sun at its rise on that day"),
    "set-azimuth": Kind((1,), "deg", -360, 360, 60, "azimuth of the Sun at its set on that day"),
    "day-length": Kind((1,), "h", 0, 24, 24, "from rise to set of the upper limb on that day"),
    "noon-altitude": Kind((1,), "deg", -5, 90, 60, "the day's highest apparent altitude of the Sun's centre"),
}
"""By name. A time of the kinds that end in "on that day" and of a day's length and noon altitude is any instant of
the local mean solar day. Clockwise turns are negative; azimuths run from true north through east."""

WITHOUT_VALUE = ("rise", "set")
WITH_HORIZON = ("rise", "set", "rise-azimuth", "set-azimuth", "day-length")
OF_A_DAY = ("rise-azimuth", "set-azimuth", "day-length", "noon-altitude")
OF_A_SPOT = ("spot", "pattern")

OBSERVABLE_KEYS = {
    "kind": Key("text", required=True, choices=tuple(KINDS)),
    "turn_kind": Key("text", choices=TURN_KINDS),
    "value": Key("number"),
    "sigma": Key("number", required=True, above=0),
    "time_utc": Key("times", required=True),
    "time_sigma_s": Key("number", above=0),
    "horizon_deg": Key("number", low=-5, high=45),
    "spot_x": Key("number", low=-1, high=1),
    "spot_y": Key("number", low=-1, high=1),
    "spot_radius": Key("number", low=0, high=1),
    "spot_vertex_angle_deg": Key("number", low=-360, high=360),
}
_PLACES = (("spot_x", "spot_y"), ("spot_radius", "spot_vertex_angle_deg"))


def observable_of(toml: TomlText, table: Mapping[str, Any], index: int) -> Observable:
    """The observable of a table whose keys were checked.

    Raises
    ------
    TomlError
        Its keys do not go together, or a value is out of the kind's bounds.
    """
    path = ("observable", index)
    name, kind = table["kind"], KINDS[table["kind"]]
    _check_times(toml, table, kind, path)
    if (name == "turn") != ("turn_kind" in table):
        needed = f"is needed for a turn, one of {', '.join(TURN_KINDS)}"
        raise toml.error((*path, "turn_kind"), needed if name == "turn" else "is for turns only")
    if name in WITHOUT_VALUE and "value" in table:
        rule = f"is not for kind '{name}', which is its time_utc; its sigma is in seconds; remove it"
        raise toml.error((*path, "value"), rule)
    if name not in WITHOUT_VALUE:
        _check_number(toml, table, "value", (kind.low, kind.high), kind.unit, path)
    _check_number(toml, table, "sigma", (0.0, kind.most_sigma), kind.sigma_unit or kind.unit, path)
    if "horizon_deg" in table and name not in WITH_HORIZON:
        raise toml.error((*path, "horizon_deg"), f"is only for the kinds {', '.join(WITH_HORIZON)}")
    if "time_sigma_s" in table and name in OF_A_DAY:
        raise toml.error((*path, "time_sigma_s"), f"is not for kind '{name}', whose time only names the day")
    x, y = _spot_of(toml, table, path)
    return Observable(
        name,
        table.get("value", 0.0),
        table["sigma"],
        table["time_utc"],
        table.get("turn_kind"),
        x,
        y,
        table.get("horizon_deg"),
        table.get("time_sigma_s"),
    )


def _check_times(toml: TomlText, table: Mapping[str, Any], kind: Kind, path: tuple[str | int, ...]) -> None:
    times = table["time_utc"]
    if len(times) not in kind.times:
        wanted = " or ".join(str(number) for number in kind.times)
        message = f"expected {wanted} time(s) for kind '{table['kind']}', got {len(times)}"
        raise toml.error((*path, "time_utc"), message)
    if len(times) == 2 and not times[0] < times[1]:
        raise toml.error((*path, "time_utc"), f"expected the earlier time first, got {list(times)}")


def _check_number(
    toml: TomlText,
    table: Mapping[str, Any],
    key: str,
    bounds: tuple[float, float],
    unit: str,
    path: tuple[str | int, ...],
) -> None:
    words = f"a number between {bounds[0]:g} and {bounds[1]:g} {unit}".removesuffix(" 1")
    if key not in table:
        raise toml.error((*path, key), f"is missing; {words} is needed for kind '{table['kind']}'")
    if not bounds[0] <= table[key] <= bounds[1]:
        raise toml.error((*path, key), f"expected {words} for kind '{table['kind']}', got {table[key]:g}")


def _spot_of(
    toml: TomlText, table: Mapping[str, Any], path: tuple[str | int, ...]
) -> tuple[float | None, float | None]:
    """Place of the spot in the first photo, limb radii, from either pair of keys."""
    given = [key for pair in _PLACES for key in pair if key in table]
    if not given:
        return None, None
    if table.get("turn_kind") not in OF_A_SPOT:
        raise toml.error((*path, given[0]), "is only for turns of a spot or a pattern")
    if given not in [list(pair) for pair in _PLACES]:
        pairs = " or ".join(" and ".join(pair) for pair in _PLACES)
        raise toml.error((*path, given[0]), f"expected {pairs}, got {', '.join(given)}")
    if "spot_x" in table:
        x, y = table["spot_x"], table["spot_y"]
    else:
        angle = math.radians(table["spot_vertex_angle_deg"])
        x, y = -table["spot_radius"] * math.sin(angle), table["spot_radius"] * math.cos(angle)
    if not math.hypot(x, y) < 1:
        raise toml.error((*path, given[0]), "expected a place inside the limb (radius below 1)")
    return x, y


def observable_items(observable: Observable) -> dict[str, Any]:
    """Keys and values of its table; what is not known is left out."""
    items = {f.name: getattr(observable, f.name) for f in fields(observable)}
    items["time_utc"] = list(observable.time_utc) if len(observable.time_utc) != 1 else observable.time_utc[0]
    if observable.kind in WITHOUT_VALUE:
        del items["value"]
    return {name: value for name, value in items.items() if value is not None}

"""Reading and writing the outing file: one day's shots at one site, TOML.

An existing file is refused without `overwrite`; with it the file is merged: what a person entered by hand
(site, times, mount, roll, camera, observables, spots marked ``by_hand = true``, matches, comments, shots
that were not measured this time) is kept, what measuring found is replaced.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import AoT, String, StringType, Table, Trivia

from ..models.errors import InputError, OutputExistsError
from .files import write_whole
from .hidden import hidden_grid, hidden_text
from .outing import MOUNTS, SCHEMA, HandMatch, Outing, OutingSite, Shot, Spot
from .outing_observables import OBSERVABLE_KEYS, observable_items, observable_of
from .toml_check import Key, TomlText, check_table, parse_toml, read_toml

SITE_KEYS = {
    "latitude_deg": Key("number", required=True, low=-90, high=90),
    "longitude_deg": Key("number", required=True, low=-360, high=360),
    "height_m": Key("number", low=0, high=9000),
    "latitude_sigma_deg": Key("number", low=0, high=90),
    "longitude_sigma_deg": Key("number", low=0, high=180),
}
SPOT_KEYS = {
    "id": Key("integer", required=True, low=0),
    "x": Key("number", required=True, low=-1.5, high=1.5),
    "y": Key("number", required=True, low=-1.5, high=1.5),
    "sigma_x": Key("number", required=True, above=0),
    "sigma_y": Key("number", required=True, above=0),
    "correlation": Key("number", low=-1, high=1),
    "radius": Key("number", low=0),
    "vertex_angle_deg": Key("number", low=-360, high=360),
    "area_msh": Key("number", low=0),
    "darkness": Key("number", low=0, high=1),
    "umbra_area_msh": Key("number", low=0),
    "penumbra_darkness": Key("number", low=0, high=1),
    "by_hand": Key("truth"),
}
SHOT_KEYS = {
    "file": Key("text", required=True),
    "time_utc": Key("time"),
    "time_sigma_s": Key("number", low=0),
    "mount": Key("text", choices=MOUNTS),
    "roll_deg": Key("number", low=-360, high=360),
    "roll_sigma_deg": Key("number", low=0),
    "roll_measured_deg": Key("number", low=-360, high=360),
    "roll_measured_sigma_deg": Key("number", low=0),
    "mirrored": Key("truth"),
    "camera": Key("text"),
    "focal_length_mm": Key("number", above=0),
    "pixel_pitch_um": Key("number", above=0),
    "centre_px": Key("pair"),
    "semi_axes_px": Key("pair", above=0),
    "centre_sigma_px": Key("pair", low=0),
    "semi_axes_sigma_px": Key("pair", low=0),
    "axis_ratio": Key("number", above=0),
    "dropped_px": Key("numbers"),
    "limb_hidden_deg": Key("numbers", low=-360, high=720),
    "hidden": Key("text"),
    "spot": Key("tables", table=SPOT_KEYS),
}
MATCH_KEYS = {
    "shot_a": Key("text", required=True),
    "place_a_px": Key("pair", required=True),
    "shot_b": Key("text", required=True),
    "place_b_px": Key("pair", required=True),
}
OUTING_KEYS = {
    "schema": Key("text", required=True, choices=(SCHEMA,)),
    "made_by": Key("text"),
    "note": Key("text"),
    "site": Key("table", table=SITE_KEYS),
    "shot": Key("tables", table=SHOT_KEYS),
    "match": Key("tables", table=MATCH_KEYS),
    "observable": Key("tables", table=OBSERVABLE_KEYS),
}

_MEASURED = (
    "roll_measured_deg",
    "roll_measured_sigma_deg",
    "centre_px",
    "semi_axes_px",
    "centre_sigma_px",
    "semi_axes_sigma_px",
    "axis_ratio",
    "dropped_px",
    "limb_hidden_deg",
    "hidden",
)


def read_outing(path: Path | str) -> Outing:
    """Read and check an outing file.

    Raises
    ------
    InputError
        There is no such file.
    TomlError
        Syntax, unknown key, wrong value; names the key, the line where known and what was expected.
    """
    return _outing_of(read_toml(path))


def _outing_of(toml: TomlText) -> Outing:
    data = check_table(toml, OUTING_KEYS)
    site = OutingSite(**data["site"]) if "site" in data else None
    shots = tuple(_shot_of(toml, table, i) for i, table in enumerate(data.get("shot", [])))
    _check_unique(toml, [shot.file for shot in shots], lambda i: ("shot", i, "file"))
    observables = tuple(observable_of(toml, table, i) for i, table in enumerate(data.get("observable", [])))
    matches = tuple(HandMatch(**table) for table in data.get("match", []))
    for i, match in enumerate(matches):
        _check_match(toml, match, {shot.file for shot in shots}, ("match", i))
    return Outing(site, shots, observables, matches)


def _check_match(
    toml: TomlText, match: HandMatch, files: Collection[str], path: tuple[str | int, ...]
) -> None:
    for key, file in (("shot_a", match.shot_a), ("shot_b", match.shot_b)):
        if file not in files:
            known = ", ".join(f'"{one}"' for one in sorted(files)[:6]) or "none"
            raise toml.error((*path, key), f'expected the file of a shot ({known}), got "{file}"')
    if match.shot_a == match.shot_b:
        raise toml.error((*path, "shot_b"), f'expected another shot than shot_a, got "{match.shot_b}"')


def _shot_of(toml: TomlText, table: dict[str, Any], index: int) -> Shot:
    tables = table.pop("spot", [])
    _check_unique(toml, [spot["id"] for spot in tables], lambda i: ("shot", index, "spot", i, "id"))
    spots = []
    for i, spot in enumerate(tables):
        _check_derived(toml, spot, ("shot", index, "spot", i))
        names = {field.name for field in fields(Spot)}
        spots.append(Spot(**{name: value for name, value in spot.items() if name in names}))
    if len(table.get("limb_hidden_deg", ())) % 2:
        raise toml.error(("shot", index, "limb_hidden_deg"), "expected pairs of numbers, from and to")
    if "hidden" in table:
        try:
            table["hidden"] = hidden_text(hidden_grid(table["hidden"]))
        except ValueError as error:
            raise toml.error(("shot", index, "hidden"), str(error)) from None
    return Shot(**table, spots=tuple(spots))


def _check_unique(toml: TomlText, names: Iterable[Any], path_of: Any) -> None:
    seen: set[Any] = set()
    for i, name in enumerate(names):
        if name in seen:
            raise toml.error(path_of(i), f"expected a value used once, got {name!r} again")
        seen.add(name)


def _check_derived(toml: TomlText, spot: Mapping[str, Any], path: tuple[str | int, ...]) -> None:
    """Refuse a radius or vertex angle that contradicts x and y (someone changed one of them)."""
    x, y = spot["x"], spot["y"]
    if "radius" in spot and abs(spot["radius"] - math.hypot(x, y)) > 1e-3:
        message = f"contradicts x, y ({math.hypot(x, y):.4f}), got {spot['radius']:g}; correct or remove it"
        raise toml.error((*path, "radius"), message)
    if "vertex_angle_deg" in spot:
        off = math.remainder(math.radians(spot["vertex_angle_deg"]) - math.atan2(-x, y), 2 * math.pi)
        if abs(off) * math.hypot(x, y) > 2e-3:
            message = f"contradicts x, y, got {spot['vertex_angle_deg']:g}; correct or remove it"
            raise toml.error((*path, "vertex_angle_deg"), message)


def write_outing(
    outing: Outing,
    path: Path | str,
    overwrite: bool = False,
    *,
    explicit: Collection[str] = (),
) -> None:
    """Write `outing` as TOML, whole; an existing file is merged when `overwrite` is given.

    Parameters
    ----------
    outing : Outing
    path : path
    overwrite : bool
        Without it an existing file is refused.
    explicit : collection of str
        Names of given fields (``"site"`` or those of :class:`Shot`, such as ``"time_utc"``) whose new value
        replaces one that stands in the file, because the person just gave it; ``"by_hand"`` where `outing`
        holds the spots by hand already and those that it lacks were dropped.

    Raises
    ------
    OutputExistsError
        The file is there and `overwrite` was not given.
    TomlError, InputError
        The file to merge with is no outing, or a shot was measured under another roll than it says.
    """
    path = Path(path)
    if not path.exists():
        write_whole(path, outing_text(outing))
        return
    if not overwrite:
        raise OutputExistsError(path)
    write_whole(path, merge_outing(path.read_text("utf-8"), outing, explicit=explicit, file=str(path)))


def outing_text(outing: Outing) -> str:
    """The outing as TOML text."""
    document = tomlkit.document()
    document["schema"] = SCHEMA
    document["made_by"] = _program()
    if outing.site is not None:
        document["site"] = _table(_site_items(outing.site))
    if outing.shots:
        document["shot"] = _tables(_shot_table(shot) for shot in outing.shots)
    if outing.matches:
        document["match"] = _tables(_table(_items(one)) for one in outing.matches)
    if outing.observables:
        document["observable"] = _tables(
            _table(_plain_items(observable_items(one))) for one in outing.observables
        )
    return tomlkit.dumps(document)


def merge_outing(
    old_text: str, new: Outing, *, explicit: Collection[str] = (), file: str = "outing.toml"
) -> str:
    """Text of an outing file measured again: hand-entered values and comments of `old_text` are kept.

    See :func:`write_outing` for `explicit`. Shots are matched by file name; those of the old file that
    are not in `new` stay; all are put in the order of time where every one has a time. A spot with
    ``by_hand = true`` stays, with a new number where its own is taken. A match stays unless ``"by_hand"`` is
    explicit and `new` has both of its shots without it.
    """
    old = _outing_of(parse_toml(old_text, file))
    document = tomlkit.parse(old_text)
    document["made_by"] = _program()
    if new.site is not None and (old.site is None or "site" in explicit):
        document["site"] = _table(_site_items(new.site))
    old_shots = {shot.file: (i, shot) for i, shot in enumerate(old.shots)}
    shots: Any = document.get("shot")
    for shot in new.shots:
        if shot.file in old_shots:
            index, before = old_shots[shot.file]
            _merge_shot(shots[index], before, shot, explicit)
        elif shots is None:
            document["shot"] = shots = _tables([_shot_table(shot)])
        else:
            shots.append(_shot_table(shot))
    _merge_matches(document, old, new, "by_hand" in explicit)
    fresh = [one for one in new.observables if one not in old.observables]
    if fresh and "observable" in document:
        for one in fresh:
            document["observable"].append(_table(_plain_items(observable_items(one))))  # type: ignore[union-attr]
    elif fresh:
        document["observable"] = _tables(_table(_plain_items(observable_items(one))) for one in fresh)
    _put_in_order_of_time(document, file)
    return tomlkit.dumps(document)


def _put_in_order_of_time(document: Any, file: str) -> None:
    """Sort the shots where all have a time and are not in order, as photos once given the other way round."""
    shots = _outing_of(parse_toml(tomlkit.dumps(document), file)).shots
    times = [shot.time_utc.rstrip("Z") for shot in shots if shot.time_utc is not None]
    order = sorted(range(len(times)), key=times.__getitem__)
    if len(times) == len(shots) and order != list(range(len(shots))):
        tables = list(document["shot"])
        document["shot"] = _tables(tables[place] for place in order)


def _merge_matches(document: Any, old: Outing, new: Outing, whole: bool) -> None:
    """Matches by hand: those of `old` kept, those of `new` added; `whole` takes out what `new` lacks."""
    files = {shot.file for shot in new.shots}
    wanted = [_items(one) for one in new.matches]
    tables: Any = document.get("match")
    for i in reversed(range(len(old.matches))):
        match = old.matches[i]
        if whole and {match.shot_a, match.shot_b} <= files and _items(match) not in wanted:
            del tables[i]
    known = [_items(one) for one in old.matches]
    fresh = [_table(one) for one in wanted if one not in known]
    if tables is None:
        if fresh:
            document["match"] = _tables(fresh)
        return
    for one in fresh:
        tables.append(one)
    if len(tables) == 0:
        document.remove("match")


def _merge_shot(table: Any, before: Shot, shot: Shot, explicit: Collection[str]) -> None:
    kept_roll = "roll_deg" in table and "roll_deg" not in explicit and not before.roll_is_measured
    if kept_roll and not math.isclose(before.roll_deg, shot.roll_deg, abs_tol=1e-9):
        raise InputError(
            "roll_deg",
            f"of '{shot.file}' is {before.roll_deg:g} in the file, but the photo was measured with another",
            shot.roll_deg,
            "measure with the roll of the file or remove it there",
        )
    by_hand = [spot for spot in table.get("spot", []) if spot.get("by_hand") and "by_hand" not in explicit]
    table.pop("spot", None)
    measured = {*_MEASURED, *(("roll_deg", "roll_sigma_deg") if before.roll_is_measured else ())}
    for name, value in _shot_items(shot).items():
        if name in measured or name in explicit or name not in table:
            table[name] = _written(value)
    for name in measured:
        if getattr(shot, name) is None:
            table.pop(name, None)
    spots = [_table(_spot_items(spot)) for spot in shot.spots]
    used = {spot.id for spot in shot.spots}
    for spot in by_hand:
        copy = _table(dict(spot))
        if copy["id"] in used:
            copy["id"] = max(used) + 1
        used.add(int(copy["id"]))  # type: ignore[call-overload]
        spots.append(copy)
    if spots:
        table["spot"] = _tables(spots)


def _program() -> str:
    from importlib.metadata import version

    return f"whichsun {version('whichsun')}"


def _plain(value: Any) -> Any:
    """Nine significant digits; numpy's types to Python's."""
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, (tuple, list)):
        return [_plain(one) for one in value]
    number = value.item() if hasattr(value, "item") else value
    return number if isinstance(number, (int, bool)) else float(f"{number:.9g}")


def _items(thing: Any, skip: Collection[str] = ()) -> dict[str, Any]:
    return _plain_items({f.name: getattr(thing, f.name) for f in fields(thing) if f.name not in skip})


def _plain_items(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _plain(value) for name, value in values.items() if value is not None}


def _site_items(site: OutingSite) -> dict[str, Any]:
    return _items(site)


def _shot_items(shot: Shot) -> dict[str, Any]:
    return _items(shot, skip=("spots",))


def _spot_items(spot: Spot) -> dict[str, Any]:
    items = _items(spot)
    vertex_angle = math.degrees(math.atan2(-spot.x, spot.y))
    derived = {"radius": round(math.hypot(spot.x, spot.y), 6), "vertex_angle_deg": round(vertex_angle, 4)}
    first = {name: items.pop(name) for name in ("id", "x", "y", "sigma_x", "sigma_y", "correlation")}
    return {**first, **derived, **items}


def _table(items: Mapping[str, Any]) -> Table:
    table = tomlkit.table()
    for name, value in items.items():
        table[name] = _written(value)
    return table


def _written(value: Any) -> Any:
    """Text of several lines as such, from the line after its opening quotes on, where TOML lets it begin."""
    if isinstance(value, str) and "\n" in value:
        return String(StringType.MLB, value, "\n" + value, Trivia())
    return value


def _tables(tables: Iterable[Table]) -> AoT:
    array = tomlkit.aot()
    for table in tables:
        array.append(table)
    return array


def _shot_table(shot: Shot) -> Table:
    table = _table(_shot_items(shot))
    if shot.spots:
        table["spot"] = _tables(_table(_spot_items(spot)) for spot in shot.spots)
    return table

"""A small declarative check of TOML files, shared by outings and scenarios.

A table is described by a mapping from key to :class:`Key`. :func:`check_table` walks the parsed file along
it and raises :class:`TomlError` that names file, line, key, what was expected and what came.
"""

from __future__ import annotations

import datetime as dt
import difflib
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..models.errors import InputError, TomlError
from ..models.place import iso_utc, parse_utc, utc_days_of

TomlPath = tuple[str | int, ...]


@dataclass(frozen=True)
class Key:
    """What one key of a table may hold.

    Parameters
    ----------
    kind : str
        ``"number"``, ``"integer"``, ``"text"``, ``"truth"``, ``"pair"`` (two numbers), ``"numbers"``,
        ``"time"`` (one ISO 8601 time with offset), ``"times"`` (one or a list), ``"table"``, ``"tables"``
        (``[[name]]``) or ``"values"`` (a table of any names with numbers or texts).
    required : bool
        The table is refused without it.
    low, high : float
        Bounds of numbers, inclusive.
    above : float
        Numbers must be greater than this.
    choices : tuple of str
        Allowed texts; empty for any.
    table : mapping, optional
        Keys of the inner table or tables.
    """

    kind: str
    required: bool = False
    low: float = -math.inf
    high: float = math.inf
    above: float = -math.inf
    choices: tuple[str, ...] = ()
    table: Mapping[str, Key] | None = None


@dataclass(frozen=True)
class TomlText:
    """A parsed TOML file with the means to tell where a key stands."""

    file: str
    data: dict[str, Any]
    lines: dict[TomlPath, int]

    def error(self, path: TomlPath, message: str) -> TomlError:
        """A :class:`TomlError` at `path`; the line is that of the key, else of the table round it."""
        found = next((self.lines[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self.lines), None)
        return TomlError(self.file, message, key=path_text(path), line=found)


def path_text(path: TomlPath) -> str:
    """A path as a person reads it: ``shot[2].spot[1].x``, counted from 1."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else ("." if text else "") + part
    return text


def read_toml(path: Path | str) -> TomlText:
    """Read and parse a TOML file.

    Raises
    ------
    InputError
        There is no such file, or it cannot be read as text.
    TomlError
        It is not TOML; the parser's own words carry the line.
    """
    try:
        text = Path(path).read_bytes().decode("utf-8")
    except FileNotFoundError:
        raise InputError("file", "must be an existing TOML file", str(path)) from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError("file", f"must be a readable text file ({error})", str(path)) from None
    return parse_toml(text, str(path))


def parse_toml(text: str, file: str) -> TomlText:
    """Parse TOML text; `file` is its name in messages."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line (\d+)", str(error))
        raise TomlError(file, f"is not valid TOML: {error}", line=int(found[1]) if found else None) from None
    return TomlText(file, data, key_lines(text))


_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]#,=]+?)\s*\]\]?\s*(#.*)?$")
_ASSIGNMENT = re.compile(
    r"""^\s*((?:[\w-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[\w-]+|"[^"]*"|'[^']*'))*)\s*=(.*)$"""
)
_STRING = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'')


def key_lines(text: str) -> dict[TomlPath, int]:
    """Line numbers, from 1, of the tables and keys of TOML text, found by scanning it."""
    lines: dict[TomlPath, int] = {}
    counts: dict[TomlPath, int] = {}
    table: TomlPath = ()
    depth, fence = 0, ""
    for number, line in enumerate(text.splitlines(), 1):
        if fence:
            fence = "" if fence in line else fence
            continue
        if depth <= 0 and (header := _HEADER.match(line)):
            table = _table_path(_split_key(header[2]), header[1] == "[[", counts)
            lines.setdefault(table, number)
            continue
        rest = line
        if depth <= 0 and (assignment := _ASSIGNMENT.match(line)):
            lines.setdefault(table + _split_key(assignment[1]), number)
            rest = assignment[2]
        fence = next((mark for mark in ('"""', "'''") if rest.count(mark) % 2), "")
        bare = _STRING.sub("", rest).split("#")[0]
        depth = max(0, depth) + bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")
    return lines


def _split_key(text: str) -> tuple[str, ...]:
    parts = re.findall(r"""[\w-]+|"[^"]*"|'[^']*'""", text)
    return tuple(part.strip("\"'") for part in parts)


def _table_path(names: tuple[str, ...], is_list: bool, counts: dict[TomlPath, int]) -> TomlPath:
    """Path of a table header with the present index of every list of tables on the way."""
    path: TomlPath = ()
    for depth, name in enumerate(names):
        path = (*path, name)
        if is_list and depth == len(names) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def check_table(
    toml: TomlText, keys: Mapping[str, Key], data: Mapping[str, Any] | None = None, path: TomlPath = ()
) -> dict[str, Any]:
    """Check a table and return its values; absent keys stay absent.

    Times come back as ISO 8601 text in UTC ending in Z, pairs as tuples of two floats, numbers as floats.

    Raises
    ------
    TomlError
        An unknown key, a missing one, or a value of the wrong kind or out of bounds.
    """
    data = toml.data if data is None else data
    for name in data:
        if name not in keys:
            near = difflib.get_close_matches(name, keys, n=1)
            guess = f"did you mean '{near[0]}'? " if near else ""
            raise toml.error((*path, name), f"unknown key: {guess}known here are {', '.join(keys)}")
    for name, key in keys.items():
        if key.required and name not in data:
            raise toml.error((*path, name), f"is missing; {_expected(key)} is needed")
    return {name: _check_value(toml, keys[name], value, (*path, name)) for name, value in data.items()}


def _check_value(toml: TomlText, key: Key, value: Any, path: TomlPath) -> Any:
    if key.kind == "table" and isinstance(value, Mapping):
        return check_table(toml, key.table or {}, value, path)
    if key.kind == "tables" and isinstance(value, list) and all(isinstance(one, Mapping) for one in value):
        return [check_table(toml, key.table or {}, one, (*path, i)) for i, one in enumerate(value)]
    if key.kind in ("time", "times"):
        return _check_times(toml, key, value, path)
    checked = _SIMPLE[key.kind](value) if key.kind in _SIMPLE else None
    if checked is None:
        raise toml.error(path, f"expected {_expected(key)}, got {_shown(value)}")
    numbers = checked if isinstance(checked, tuple) else (checked,)
    if key.kind in ("number", "integer", "pair", "numbers"):
        for number in numbers:
            if not (math.isfinite(number) and key.low <= number <= key.high and number > key.above):
                raise toml.error(path, f"expected {_expected(key)}, got {_shown(value)}")
    if key.choices and checked not in key.choices:
        near = difflib.get_close_matches(str(value), key.choices, n=1)
        guess = f"; did you mean '{near[0]}'?" if near else ""
        raise toml.error(path, f"expected {_expected(key)}, got {_shown(value)}{guess}")
    return checked


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _numbers(value: Any) -> tuple[float, ...] | None:
    good = isinstance(value, list) and all(_is_number(one) for one in value)
    return tuple(float(one) for one in value) if good else None


def _pair(value: Any) -> tuple[float, ...] | None:
    numbers = _numbers(value)
    return numbers if numbers is not None and len(numbers) == 2 else None


def _values(value: Any) -> dict[str, float | str] | None:
    good = isinstance(value, Mapping) and all(_is_number(v) or isinstance(v, str) for v in value.values())
    return {name: v if isinstance(v, str) else float(v) for name, v in value.items()} if good else None


_SIMPLE = {
    "number": lambda value: float(value) if _is_number(value) else None,
    "integer": lambda value: value if _is_number(value) and isinstance(value, int) else None,
    "text": lambda value: value if isinstance(value, str) else None,
    "truth": lambda value: value if isinstance(value, bool) else None,
    "pair": _pair,
    "numbers": _numbers,
    "values": _values,
}

_KIND_WORDS = {
    "number": "a number",
    "integer": "a whole number",
    "text": "text",
    "truth": "true or false",
    "pair": "a list of two numbers",
    "numbers": "a list of numbers",
    "time": "an ISO 8601 time with offset, such as 2027-03-20T06:10:00Z",
    "times": "one ISO 8601 time with offset or a list of them",
    "table": "a table",
    "tables": "a list of tables ([[...]])",
    "values": "a table of numbers or texts",
}


def _expected(key: Key) -> str:
    words = _KIND_WORDS[key.kind]
    if key.choices:
        return "one of " + ", ".join(f'"{choice}"' for choice in key.choices)
    if math.isfinite(key.low) and math.isfinite(key.high):
        return f"{words} between {key.low:g} and {key.high:g}"
    if math.isfinite(key.low):
        return f"{words}, {key.low:g} or more"
    if math.isfinite(key.above):
        return f"{words} above {key.above:g}"
    return words


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (dt.datetime, dt.date, dt.time)):
        return value.isoformat()
    if isinstance(value, Mapping):
        return "a table"
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _check_times(toml: TomlText, key: Key, value: Any, path: TomlPath) -> Any:
    many = key.kind == "times"
    values = value if many and isinstance(value, list) else [value]
    texts = []
    for one in values:
        if not isinstance(one, (str, dt.datetime)):
            raise toml.error(path, f"expected {_expected(key)}, got {_shown(one)}")
        try:
            texts.append(iso_utc(utc_days_of(parse_utc(one, path_text(path)))))
        except InputError as error:
            hint = f"; {error.hint}" if error.hint else ""
            raise toml.error(path, f"{error.requirement}, got {_shown(one)}{hint}") from None
    return tuple(texts) if many else texts[0]

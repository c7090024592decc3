"""Every error and warning of ours.

=====================  ======================================================================
class                  when to use
=====================  ======================================================================
InputError             a value from outside is wrong (a latitude of 91, an empty range)
UnknownNameError       a name is not among the known ones (model, map, parameter, law)
TomlError              an outing or scenario file has a wrong key or value
PictureError           a photo cannot be read or measured
OutputExistsError      a file that would be written is there already
MissingLibraryError    an optional package or system library is not installed
WhichsunWarning        the work goes on, but the person should know (also in JSON `warnings`)
=====================  ======================================================================

Wording: what is wrong in quotes, what was needed, what was received, what to do. One line.
Only the command line catches :class:`WhichsunError`; it prints the line and exits with code 2.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class WhichsunError(Exception):
    """Base of all errors of ours; they travel between processes whatever their arguments were."""

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuilt, (type(self), self.args, vars(self).copy())


def _rebuilt(kind: type[WhichsunError], arguments: tuple[object, ...], fields: dict[str, object]) -> object:
    error = kind.__new__(kind)
    error.args = arguments
    vars(error).update(fields)
    return error


class WhichsunWarning(UserWarning):
    """Something that the person should know though the work goes on."""


class InputError(WhichsunError, ValueError):
    """A value from outside breaks a rule.

    Parameters
    ----------
    name : str
        What the person calls the value, for example ``latitude_deg``.
    requirement : str
        The rule, worded to follow the name: ``must be between -90 and 90``.
    received : object, optional
        What came instead.
    hint : str, optional
        What to do about it.
    """

    def __init__(self, name: str, requirement: str, received: object = None, hint: str = "") -> None:
        self.name, self.requirement, self.received, self.hint = name, requirement, received, hint
        got = "" if received is None else f", got {received!r}"
        super().__init__(f"'{name}' {requirement}{got}" + (f"; {hint}" if hint else ""))


class UnknownNameError(WhichsunError, LookupError):
    """A name is not among the known ones; the message lists them and the nearest."""

    def __init__(self, kind: str, received: str, known: Iterable[str], hint: str = "") -> None:
        self.kind, self.received, self.known = kind, received, tuple(known)
        near = difflib.get_close_matches(received, self.known, n=1)
        guess = f"did you mean '{near[0]}'? " if near else ""
        message = f"unknown {kind} '{received}': {guess}known are {', '.join(self.known) or 'none'}"
        super().__init__(message + (f"; {hint}" if hint else ""))


class TomlError(WhichsunError, ValueError):
    """A TOML file of ours is wrong: file, key, line where known, and what was expected."""

    def __init__(self, file: str, message: str, key: str = "", line: int | None = None) -> None:
        self.file, self.key, self.line = file, key, line
        where = file + (f", line {line}" if line is not None else "") + (f", '{key}'" if key else "")
        super().__init__(f"{where}: {message}")


class PictureError(WhichsunError, ValueError):
    """A photo cannot be read or measured; says which photo, why, and what to do."""

    def __init__(self, file: str, problem: str, hint: str = "") -> None:
        self.file, self.problem, self.hint = file, problem, hint
        super().__init__(f"{file}: {problem}" + (f"; {hint}" if hint else ""))


class OutputExistsError(WhichsunError, FileExistsError):
    """An output is there already and `--overwrite` was not given."""

    def __init__(self, path: object) -> None:
        self.path = str(path)
        super().__init__(f"'{path}' exists already; give --overwrite or another name")

    def __str__(self) -> str:
        return str(self.args[0])


class MissingLibraryError(WhichsunError, ImportError):
    """An optional package or a system library is missing; names what to install."""

    def __init__(self, library: str, purpose: str, install: str) -> None:
        self.library, self.purpose, self.install = library, purpose, install
        super().__init__(f"'{library}' is needed for {purpose}; install it with: {install}")

"""Writing files: refused where one is there already, written whole, JSON without surprises."""

from __future__ import annotations

import math
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from ..models.errors import OutputExistsError


def jsonable(value: Any) -> Any:
    """Plain JSON types: arrays to lists, non-finite numbers to None, paths to text."""
    if isinstance(value, dict):
        return {str(key): jsonable(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [jsonable(item) for item in value]
    if isinstance(value, (str, bool, int)) or value is None:
        return value
    if isinstance(value, Path):
        return str(value)
    if hasattr(value, "tolist"):
        return jsonable(value.tolist())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    raise TypeError(f"no JSON for {type(value).__name__}")


def check_free(paths: Iterable[Path | str], overwrite: bool) -> None:
    """Raise :class:`OutputExistsError` for the first path that is there, unless `overwrite`."""
    for path in paths:
        if Path(path).exists() and not overwrite:
            raise OutputExistsError(path)


def write_whole(path: Path | str, content: bytes | str) -> None:
    """Write a file whole: a temporary file beside it, then a rename.

    Raises
    ------
    OSError
        It cannot be written there; names the file that was asked for.
    """
    path = Path(path)
    try:
        _write_whole(path, content)
    except OSError as error:
        words = f"{error.strerror or error}; name a file in a folder that can be written to"
        raise OSError(error.errno, words, str(path)) from error


def _write_whole(path: Path, content: bytes | str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    data = content.encode("utf-8") if isinstance(content, str) else content
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise

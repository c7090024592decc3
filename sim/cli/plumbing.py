"""What every command shares: warnings, JSON, tables, output files, safe writing.

A command parses its options, calls one library function and hands the result to :func:`report`.
"""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any

from ...models.errors import WhichsunWarning
from ..files import check_free, jsonable, write_whole

__all__ = [
    "check_free",
    "collected_warnings",
    "print_table",
    "print_wrapped",
    "progress_on_stderr",
    "report",
    "write_whole",
]

_PIPE_WIDTH = 140  # columns of a table that goes to a file or a pipe
_TEXT_WIDTH = 110


@contextmanager
def collected_warnings() -> Iterator[list[str]]:
    """Collect :class:`WhichsunWarning` texts, each once; print them to standard error at the end."""
    texts: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            yield texts
        finally:
            for warning in caught:
                text = str(warning.message)
                if issubclass(warning.category, WhichsunWarning) and text not in texts:
                    texts.append(text)
    for text in texts:
        print(f"whichsun: warning: {text}", file=sys.stderr)


def report(
    schema: str,
    work: Callable[[], dict[str, Any]],
    *,
    as_json: bool,
    show: Callable[[dict[str, Any]], None],
) -> None:
    """Run `work`, then print its result: one JSON object, or what `show` prints for people.

    `schema` is the command's name; the object gets ``schema`` and ``warnings``.
    """
    with collected_warnings() as texts:
        result = work()
    result = {"schema": f"whichsun/{schema}/1", **result}
    result["warnings"] = [*result.get("warnings", []), *texts]
    if as_json:
        _print_json(result)
    else:
        show(result)


def _print_json(result: dict[str, Any]) -> None:
    """Print one JSON object, some of it at a time: a pool's may be larger than what memory holds of it twice."""
    pieces = json.JSONEncoder(indent=2, allow_nan=False).iterencode(jsonable(result))
    for text in iter(lambda: "".join(islice(pieces, 50_000)), ""):
        sys.stdout.write(text)
    print()


def print_table(
    columns: Iterable[str], rows: Iterable[Iterable[str]], title: str = "", *, tight: bool = False
) -> None:
    """Print a plain readable table; numbers come formatted. `tight` spares a column between any two."""
    from rich import box
    from rich.console import Console
    from rich.table import Table

    table = Table(
        title=title or None, box=box.SIMPLE, title_justify="left", pad_edge=False, collapse_padding=tight
    )
    for column in columns:
        table.add_column(column)
    for row in rows:
        table.add_row(*row)
    width = None if sys.stdout.isatty() else _PIPE_WIDTH
    Console(markup=False, highlight=False, width=width).print(table)


def print_wrapped(lines: Iterable[str], indent: str = "") -> None:
    """Print sentences, each broken to a readable width; leading spaces of a line indent all of it."""
    width = min(_TEXT_WIDTH, shutil.get_terminal_size().columns) if sys.stdout.isatty() else _TEXT_WIDTH
    for line in lines:
        text = line.lstrip(" ")
        margin = indent + " " * (len(line) - len(text))
        print(
            textwrap.fill(
                text,
                width,
                initial_indent=margin,
                subsequent_indent=margin + "  ",
                break_long_words=False,
                break_on_hyphens=False,
            )
        )


@contextmanager
def progress_on_stderr(title: str, *, quiet: bool) -> Iterator[Callable[[int, int, str], None]]:
    """A bar on standard error where that is a terminal; the value is called with (done, of, words)."""
    from rich.console import Console
    from rich.progress import Progress

    hidden = quiet or not sys.stderr.isatty()
    with Progress(console=Console(stderr=True), transient=True, disable=hidden) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, of, words: bar.update(task, completed=done, total=of, description=words)

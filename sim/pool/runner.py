"""Sums over rows, block by block, and what is kept of them so that a stopped run goes on.

Rows are cut into blocks of fixed size and the blocks' sums are added in the blocks' order, so that neither
the number of workers nor the order in which they finish can change a digit.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from ...models.errors import InputError
from ...models.geometry import Array
from ..files import write_whole
from ..workers import Executor
from .meter import Meter, Progress
from .submissions import Submissions
from .target import Work

ROWS_AT_ONCE = 2000
_SAVE_EVERY_S, _SHARE_OF_TIME = 10.0, 0.05  # a large file takes long to write whole
Function = Callable[[Work], Array]


class Checkpoint:
    """Results of blocks, kept in a file that is written whole, so that a stopped run goes on from there."""

    def __init__(self, path: Path | None) -> None:
        self._path, self._known, self._next, self._new = path, {}, time.monotonic() + _SAVE_EVERY_S, False
        if path is not None and path.exists():
            try:
                with np.load(path, allow_pickle=False) as stored:
                    self._known = {name: stored[name] for name in stored.files}
            except (OSError, ValueError, EOFError) as error:
                hint = "give another file or delete it"
                raise InputError("checkpoint", f"cannot be read ({error})", str(path), hint) from None

    def key(self, function: Function, work: Work) -> str:
        """Name of a result: what is done to which rows under what."""
        if self._path is None:
            return ""
        what = repr((function.__name__, work.block, work.variant, work.points.shape))
        digest = hashlib.sha256(what.encode() + work.points.tobytes() + work.reference.tobytes())
        return digest.hexdigest()[:32]

    def get(self, key: str) -> Array | None:
        """A result that is known already."""
        return self._known.get(key)

    def put(self, key: str, result: Array) -> None:
        """Keep a result; the file is written now and then."""
        if self._path is not None:
            self._known[key], self._new = result, True
            if time.monotonic() > self._next:
                self.save()

    def save(self) -> None:
        """Write the file if there is anything new."""
        if self._path is None or not self._new:
            return
        import io

        begun = time.monotonic()
        buffer = io.BytesIO()
        np.savez(buffer, **self._known)
        write_whole(self._path, buffer.getvalue())
        now = time.monotonic()
        self._next, self._new = now + max(_SAVE_EVERY_S, (now - begun) / _SHARE_OF_TIME), False


class Runner:
    """Sums over rows, block by block.

    Parameters
    ----------
    executor : Executor
    checkpoint : Checkpoint
    progress : callable
        Called with (done, of, words).

    Attributes
    ----------
    meter : Meter
        Of the work that :meth:`map` does.
    """

    def __init__(self, executor: Executor, checkpoint: Checkpoint, progress: Progress) -> None:
        self._executor, self._checkpoint, self._progress = executor, checkpoint, progress
        self.meter = Meter(progress)

    def blocks(self, rows: Submissions) -> list[tuple[str, Submissions]]:
        """The rows in blocks of fixed size, each with a digest of what it holds."""
        parts = [rows[start : start + ROWS_AT_ONCE] for start in range(0, len(rows), ROWS_AT_ONCE)]
        return [(_digest(part), part) for part in parts]

    def map(self, function: Function, works: Sequence[Work], words: str) -> list[Array]:
        """Results of `function` in the order of `works`."""
        keys = [self._checkpoint.key(function, work) for work in works]
        results: list[Any] = [self._checkpoint.get(key) for key in keys]
        open_ = [number for number, result in enumerate(results) if result is None]
        for work, result in zip(works, results, strict=True):
            if result is not None:
                self.meter.did(work, words)
        try:
            for place, result in self._executor.run(function, [works[n] for n in open_]):
                results[open_[place]] = result
                self._checkpoint.put(keys[open_[place]], result)
                self.meter.did(works[open_[place]], words)
        except BaseException:
            self._checkpoint.save()
            raise
        return results

    def each(self, function: Callable[[Any], Any], works: Sequence[Any], words: str) -> list[Any]:
        """Results of any function in the order of `works`; they are not kept in the checkpoint."""
        results: list[Any] = [None] * len(works)
        for done, (place, result) in enumerate(self._executor.run(function, works), 1):
            results[place] = result
            self._progress(done, len(works), words)
        return results


def _digest(rows: Submissions) -> str:
    digest = hashlib.sha256()
    for field in fields(rows):
        if field.name not in ("id", "source"):
            digest.update(np.ascontiguousarray(getattr(rows, field.name)).tobytes())
    return digest.hexdigest()

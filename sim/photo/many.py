"""Many photos: finding them in folders, measuring them side by side, and which of their pairs to compare."""

from __future__ import annotations

import glob
import os
import re
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

from ...models.errors import InputError, MissingLibraryError, PictureError, WhichsunError, WhichsunWarning
from ..workers import worker_pool, workers_for
from .formats import ENDINGS, RAW_ENDINGS
from .measured import FailedPhoto, PhotoMeasurement, PhotoOptions

Measure = Callable[..., PhotoMeasurement]
"""Called with (path, options, name=...); for other processes a function of a module."""

ALL_PAIRS = 6
_OWN_PICTURES = (".overlay.png", ".pair.png")  # what `measure` writes
_TOLD = 3


def picture_files(given: Sequence[Path]) -> tuple[list[Path], bool]:
    """The photos that the arguments name, and whether some came from a folder or a pattern.

    Parameters
    ----------
    given : sequence of Path
        Photos, folders (their picture files by ending, not those in folders below) and patterns with ``*``,
        ``?`` or ``[``. A pattern that is itself the name of a file is that file.

    Raises
    ------
    InputError
        A folder or pattern holds no picture.
    """
    found: list[Path] = []
    gathered = False
    for one in given:
        if one.is_dir():
            inside = [path for path in one.iterdir() if path.is_file() and _is_photo(path)]
        elif not one.exists() and glob.has_magic(str(one)):
            inside = [path for path in map(Path, glob.glob(str(one))) if path.is_file() and _is_photo(path)]
        else:
            found.append(one)
            continue
        if not inside:
            raise InputError("PHOTO", "must be photos, or a folder or pattern with photos in it", str(one))
        gathered = True
        found += sorted(_without_raw_twins(inside), key=_natural)
    return found, gathered


def _is_photo(path: Path) -> bool:
    name = path.name.lower()
    return name.endswith(ENDINGS) and not name.startswith(".") and not name.endswith(_OWN_PICTURES)


def _without_raw_twins(paths: list[Path]) -> list[Path]:
    """Leave out the RAW files beside which a camera wrote the same photo ready made."""
    ready = {path.with_suffix("") for path in paths if path.suffix.lower() not in RAW_ENDINGS}
    return [p for p in paths if p.suffix.lower() not in RAW_ENDINGS or p.with_suffix("") not in ready]


def _natural(path: Path) -> list[tuple[int, int, str]]:
    """Sorting key that puts sun9 before sun10."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts if part]


def in_order_of_time(photos: Sequence[PhotoMeasurement]) -> list[PhotoMeasurement]:
    """The photos sorted by time if all have one, else as they are."""
    timed = [(photo.days, index, photo) for index, photo in enumerate(photos)]
    if any(days is None for days, _, _ in timed):
        return list(photos)
    return [photo for _, _, photo in sorted(timed, key=lambda one: (one[0] or 0.0, one[1]))]


def pairs_to_compare(count: int) -> list[tuple[int, int]]:
    """Pairs (i, j), i < j, of a series that are matched.

    All pairs of up to six photos; of more, each with the first one and with the one before it, which grows
    with the number of photos and holds the pair of the first and the last.
    """
    return [
        (i, j) for i in range(count) for j in range(i + 1, count) if count <= ALL_PAIRS or i in (0, j - 1)
    ]


@dataclass(frozen=True)
class _Outcome:
    photo: PhotoMeasurement | None
    failed: FailedPhoto | None
    warnings: tuple[str, ...]
    error: WhichsunError | None


def measure_each(
    measure: Measure,
    paths: Sequence[str | os.PathLike[str]],
    options: Sequence[PhotoOptions],
    names: Sequence[str],
    *,
    processes: int | None = 1,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[list[PhotoMeasurement], list[FailedPhoto]]:
    """Measure photos one by one; those that cannot be measured are listed and the rest go on.

    Parameters
    ----------
    measure : callable
    paths, options, names : sequences of one length
    processes : int, optional
        How many processes share the work; None takes one per core for more than a few photos. Results and
        warnings are the same, in the same order, whatever the number.
    progress : callable, optional
        Called with (photos done, photos in all).

    Raises
    ------
    WhichsunError
        No photo could be measured.
    """
    tasks = [(measure, path, option, name) for path, option, name in zip(paths, options, names, strict=True)]
    workers = workers_for(processes, len(tasks))
    outcomes: list[_Outcome | None] = [None] * len(tasks)
    running = _here(tasks) if workers == 1 else _in_processes(tasks, workers)
    for done, (index, outcome) in enumerate(running, start=1):
        outcomes[index] = outcome
        if progress is not None:
            progress(done, len(tasks))
    known = [outcome for outcome in outcomes if outcome is not None]
    for outcome in known:
        for text in outcome.warnings:
            warnings.warn(text, WhichsunWarning, stacklevel=3)
    photos = [outcome.photo for outcome in known if outcome.photo is not None]
    if not photos:
        raise _all_failed(known)
    return photos, [outcome.failed for outcome in known if outcome.failed is not None]


def _all_failed(outcomes: Sequence[_Outcome]) -> WhichsunError:
    errors = [outcome.error for outcome in outcomes if outcome.error is not None]
    if len(errors) == 1:
        return errors[0]
    told = " | ".join(str(error) for error in errors[:_TOLD])
    more = f" | and {len(errors) - _TOLD} more" if len(errors) > _TOLD else ""
    return WhichsunError(f"none of the {len(errors)} photos could be measured: {told}{more}")


def _one(task: tuple[Measure, str | os.PathLike[str], PhotoOptions, str]) -> _Outcome:
    """Measure one photo, its warnings kept for later; also the work of the other processes."""
    measure, path, option, name = task
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", WhichsunWarning)
        try:
            photo, failed, error = measure(path, option, name=name), None, None
        except (PictureError, MissingLibraryError) as problem:
            photo, failed, error = None, FailedPhoto(name, _reason(problem)), problem
    texts = tuple(str(one.message) for one in caught if issubclass(one.category, WhichsunWarning))
    return _Outcome(photo, failed, texts, error)


def _reason(problem: PictureError | MissingLibraryError) -> str:
    """Why, without the file's name, which stands beside it."""
    if isinstance(problem, MissingLibraryError):
        return str(problem)
    return problem.problem + (f"; {problem.hint}" if problem.hint else "")


def _here(tasks: Sequence[tuple]) -> Iterator[tuple[int, _Outcome]]:
    for index, task in enumerate(tasks):
        yield index, _one(task)


def _in_processes(tasks: Sequence[tuple], workers: int) -> Iterator[tuple[int, _Outcome]]:
    left = dict(enumerate(tasks))
    with worker_pool(workers) as pool:
        try:
            futures = {pool.submit(_one, task): index for index, task in left.items()}
            for future in as_completed(futures):
                outcome = future.result()
                left.pop(futures[future])
                yield futures[future], outcome
        except BrokenProcessPool:
            pass  # one photo ended its process, and with it all that were under way
        finally:
            pool.shutdown(wait=False, cancel_futures=True)
    for index, task in left.items():
        yield index, _in_its_own(task)


def _in_its_own(task: tuple) -> _Outcome:
    """Measure one photo in a process of its own, with which no other is lost."""
    try:
        with worker_pool(1) as pool:
            return pool.submit(_one, task).result()
    except BrokenProcessPool:
        return _lost(task[3])


def _lost(name: str) -> _Outcome:
    error = PictureError(
        name, "the system ended the process that measured it (out of memory?)", "measure fewer photos at once"
    )
    return _Outcome(None, FailedPhoto(name, _reason(error)), (), error)

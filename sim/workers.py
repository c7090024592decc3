"""Who does the work: threads or processes of this machine, or an existing Dask scheduler.

Work is cut into pieces that depend on nothing but themselves and the results are put in their order, so that neither
the number of workers nor the order in which they finish can change a digit.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any, Protocol

from ..models.errors import InputError, MissingLibraryError, WhichsunError

_FEW = 4
_MOST_PROCESSES = 16
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


class Executor(Protocol):
    """Runs work in any order and yields (place, result) as it is done."""

    def run(self, function: Callable[[Any], Any], works: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        """Do all of `works`."""
        ...


class Here:
    """This very process, one piece after the other."""

    def run(self, function: Callable[[Any], Any], works: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        """See :class:`Executor`."""
        yield from enumerate(map(function, works))

    def close(self) -> None:
        """Nothing to end."""


class Threads:
    """Threads of this process; numpy lets go of the interpreter while it computes."""

    def __init__(self, workers: int) -> None:
        self._pool = ThreadPoolExecutor(workers)

    def run(self, function: Callable[[Any], Any], works: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        """See :class:`Executor`."""
        futures = [self._pool.submit(function, work) for work in works]
        try:
            for place, future in enumerate(futures):
                yield place, future.result()
        finally:
            for future in futures:
                future.cancel()

    def close(self) -> None:
        """End the threads once what runs is done."""
        self._pool.shutdown(wait=True, cancel_futures=True)


class Processes:
    """Processes of this machine, for functions of a module; what is not begun is left when the work is given up."""

    def __init__(self, workers: int) -> None:
        self._workers = workers

    def run(self, function: Callable[[Any], Any], works: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        """See :class:`Executor`."""
        with worker_pool(self._workers) as pool:
            try:
                yield from enumerate(pool.map(function, works, chunksize=1))
            finally:
                pool.shutdown(wait=False, cancel_futures=True)

    def close(self) -> None:
        """Processes end with their work."""


class Cluster:
    """Workers of an existing Dask scheduler; a piece whose worker dies is done again by another."""

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise MissingLibraryError("dask", "--scheduler", "pip install 'whichsun[cluster]'") from None
        self._address = address
        try:
            self._client: Any = Client(address, timeout="10s", set_as_default=False)
        except (OSError, TimeoutError, ValueError) as error:
            reason = " ".join(str(error).split())[:120]
            raise InputError("scheduler", f"cannot be reached ({reason})", address) from None

    def run(self, function: Callable[[Any], Any], works: Sequence[Any]) -> Iterator[tuple[int, Any]]:
        """See :class:`Executor`."""
        from distributed import as_completed

        futures = [self._client.submit(function, work, pure=False, retries=3) for work in works]
        place = {future.key: number for number, future in enumerate(futures)}
        try:
            for future in as_completed(futures, loop=self._client.loop):
                yield place[future.key], future.result()
        except WhichsunError:
            raise
        except Exception as error:  # whatever a cluster does to a piece: one line, not its traceback
            reason = f"{type(error).__name__}: {' '.join(str(error).split())[:160]}"
            hint = "workers need this very version of whichsun"
            raise InputError("scheduler", f"failed to do a block ({reason})", self._address, hint) from None
        finally:
            self._client.cancel(futures)

    def close(self) -> None:
        """Leave the scheduler as it is."""
        self._client.close()


@contextmanager
def executor_for(scheduler: str | None, own: Callable[[], Any] | None = None) -> Iterator[Any]:
    """The workers: those of `scheduler`, or what `own` makes; by default one thread per core of this machine."""
    executor: Any = Cluster(scheduler) if scheduler else own() if own else Threads(cores())
    try:
        yield executor
    finally:
        executor.close()


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def workers_for(processes: int | None, count: int) -> int:
    """How many processes share `count` pieces of work; None takes one per core for more than a few."""
    if processes is None:
        processes = min(cores(), _MOST_PROCESSES) if count >= _FEW else 1
    return max(1, min(processes, count))


@contextmanager
def worker_pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Processes started anew, each with one thread of linear algebra."""
    context = multiprocessing.get_context("spawn")
    with _single_threaded(), ProcessPoolExecutor(workers, mp_context=context) as pool:
        yield pool


@contextmanager
def _single_threaded() -> Iterator[None]:
    """One thread of linear algebra in each process that is started meanwhile."""
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value

"""A Dask cluster on this machine, for what takes `--scheduler`."""

from __future__ import annotations

import os
import subprocess
import sys
import time

import pytest


@pytest.fixture
def dask_cluster():
    """Address of a scheduler, and its two workers.

    Processes of their own, so that nothing of the cluster runs under the tests' strict warnings.
    """
    pytest.importorskip("distributed")
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "PYTHONWARNINGS": "ignore"}
    here = ["--host", "127.0.0.1", "--no-dashboard"]
    command = [sys.executable, "-m", "distributed.cli.dask_scheduler", *here, "--port", "0"]
    started = [
        subprocess.Popen(
            command, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, env=environment
        )
    ]
    try:
        address = _address(started[0])
        for _ in range(2):
            command = [sys.executable, "-m", "distributed.cli.dask_worker", address, *here]
            command += ["--nthreads", "1", "--no-nanny"]
            started.append(
                subprocess.Popen(
                    command, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL, env=environment
                )
            )
        yield address, started[1:]
    finally:
        for process in reversed(started):
            process.kill()
            process.wait(timeout=10)
            if process.stderr is not None:
                process.stderr.close()


def _address(scheduler):
    """Address that the scheduler says it listens at."""
    end = time.monotonic() + 60
    while time.monotonic() < end:
        line = scheduler.stderr.readline()
        if "tcp://" in line:
            return "tcp://" + line.split("tcp://")[1].split()[0]
    raise AssertionError("no scheduler came up")

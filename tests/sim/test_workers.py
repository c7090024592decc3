"""The same digits whoever does the work."""

from __future__ import annotations

import json
import os
import signal

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.sim import workers
from whichsun.sim.cli.main import main
from whichsun.sim.compare.drawing import Design
from whichsun.sim.compare.power import expected_evidence
from whichsun.sim.outing import OutingSite

DESIGN = Design(OutingSite(46.5, -30.0), ("2027-04-18T07:40Z", "2027-04-18T20:20Z"), spots_found=2.0)


def _square(number):
    if number == 3:
        raise InputError("number", "must not be 3", number)
    return number**2


@pytest.mark.parametrize(
    "make",
    [workers.Here, lambda: workers.Threads(2), lambda: workers.Processes(2)],
    ids=["here", "threads", "processes"],
)
def test_results_come_with_their_places(make):
    with workers.executor_for(None, make) as executor:
        assert sorted(executor.run(_square, [5, 0, 2])) == [(0, 25), (1, 0), (2, 4)]
        with pytest.raises(InputError, match="must not be 3"):
            list(executor.run(_square, [1, 3, 2]))


def test_power_and_sweep_on_a_cluster_with_a_worker_killed(dask_cluster, capsys):
    address, own = dask_cluster
    alone = expected_evidence(DESIGN, outings=2)
    killed = []

    def progress(done, of, words):
        if done == 1 and not killed:
            killed.append(own[0].pid)
            os.kill(own[0].pid, signal.SIGKILL)

    there = expected_evidence(DESIGN, outings=2, scheduler=address, progress=progress)
    assert killed
    assert there.trials == alone.trials

    asked = ["sweep", "--date", "2027-03-20", "--latitudes", "-60:60:30", "--json"]
    assert main(asked) == 0
    here = json.loads(capsys.readouterr().out)
    assert main([*asked, "--scheduler", address]) == 0
    assert json.loads(capsys.readouterr().out) == here
    assert np.isfinite(here["rows"][0]["pattern_turn_deg"])

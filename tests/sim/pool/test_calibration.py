"""The calibration of `tests/validation`: the same rows whoever does the work, stopped and carried on or not."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "validation" / "calibration.py"


def calibrate(*options):
    """Run the script on one outing of each of the two classes that obey the assumptions; its table."""
    asked = [sys.executable, str(SCRIPT), "--outings", "1", "--broken", "0", *map(str, options)]
    done = subprocess.run(asked, capture_output=True, text=True, timeout=1500, check=False)
    assert done.returncode == 0, done.stderr
    return [line for line in done.stdout.splitlines() if line.startswith("|")]


@pytest.mark.slow
def test_same_rows_here_and_on_a_cluster(dask_cluster, tmp_path):
    address, _ = dask_cluster
    here, there = tmp_path / "here.jsonl", tmp_path / "there.jsonl"
    table = calibrate("--workers", "1", "--save", here)
    rows = [json.loads(line) for line in here.read_text().splitlines()]
    assert [(row["class"], row["number"]) for row in rows] == [("good", 0), ("weak", 0)]
    assert all(0 <= rank <= 1 for row in rows for rank in row["ranks"].values())

    assert calibrate("--scheduler", address, "--save", there) == table
    assert there.read_bytes() == here.read_bytes()

    # As after a stop: the second outing's row is there, the first is not.
    there.write_text(here.read_text().splitlines()[1] + "\n")
    assert calibrate("--scheduler", address, "--save", there) == table
    assert there.read_bytes() == here.read_bytes()

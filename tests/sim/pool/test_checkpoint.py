"""The file of finished blocks: written now and then, however large it gets."""

from __future__ import annotations

import numpy as np
from whichsun.sim.pool import runner


def test_a_slow_file_is_written_less_often(tmp_path, monkeypatch):
    clock, written = [0.0], []

    def write(path, content):
        clock[0] += 4.0
        written.append(clock[0])
        path.write_bytes(content)

    monkeypatch.setattr(runner.time, "monotonic", lambda: clock[0])
    monkeypatch.setattr(runner, "write_whole", write)
    file = tmp_path / "c.npz"
    checkpoint = runner.Checkpoint(file)
    for number in range(300):
        clock[0] += 1.0
        checkpoint.put(f"k{number}", np.array([float(number)]))
    # After the first ten seconds; then each writing of four seconds is a twentieth of the time at most.
    assert written[0] < 20
    assert np.diff(written).min() >= 80
    assert 3 <= len(written) <= 5
    checkpoint.save()
    assert runner.Checkpoint(file).get("k299") == 299.0

"""What `plan` prints on a terminal of 80 columns."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path

from whichsun.sim.cli import plumbing
from whichsun.sim.cli.main import main

REGIONS = Path(__file__).parents[2] / "data" / "regions" / "20000922SRS.txt"


class _Terminal(io.StringIO):
    def isatty(self):
        return True


def test_sentences_keep_to_the_terminal(monkeypatch):
    out = _Terminal()
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setattr(plumbing.shutil, "get_terminal_size", lambda: os.terminal_size((80, 24)))
    plumbing.print_wrapped(["word " * 60], indent="  ")
    assert max(map(len, out.getvalue().splitlines())) in range(70, 81)


def test_table_of_regions_of_two_models_fits(capsys):
    place = ["--site", "60,10.75", "--dates", "2000-09-22", "--evidence", "none"]
    assert main(["plan", *place, "--regions", str(REGIONS)]) == 0
    table = capsys.readouterr().out.split("Regions as targets")[1].split("  1. ")[0]
    assert "distant-" in table
    assert max(map(len, table.splitlines())) <= 80

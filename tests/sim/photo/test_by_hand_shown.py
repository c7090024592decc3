"""A spot that only an eye sees has no area; the readable table says so."""

from pathlib import Path

import pytest
from whichsun.sim.cli.main import main

PICTURES = Path(__file__).parents[2] / "data" / "photo"


@pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")
def test_a_spot_placed_by_eye_alone_is_shown(capsys):
    photo = PICTURES / "pair-1" / "sunrise.jpg"
    assert main(["measure", str(photo), "--add-spot", "1:812,455"]) == 0  # bare photosphere there
    rows = [line.split() for line in capsys.readouterr().out.splitlines() if line.strip()]
    assert any(row[-2:] == ["-", "-"] for row in rows)

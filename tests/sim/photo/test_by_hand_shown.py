"""A spot that only an eye sees has no area; the readable table says so."""

from pathlib import Path

import pytest
from whichsun.sim.cli.main import main
from whichsun.sim.outing_file import read_outing

PICTURES = Path(__file__).parents[2] / "data" / "photo"


@pytest.fixture
def measured_once(tmp_path):
    """The command that measures a photo into an outing file, run once, and that file."""
    photo = tmp_path / "sunrise.jpg"
    photo.write_bytes((PICTURES / "pair-1" / "sunrise.jpg").read_bytes())
    outing = tmp_path / "outing.toml"
    again = ["measure", str(photo), "-o", str(outing), "--overwrite"]
    assert main(again) == 0
    return again, outing


@pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")
def test_a_spot_placed_by_eye_alone_is_shown(capsys):
    photo = PICTURES / "pair-1" / "sunrise.jpg"
    assert main(["measure", str(photo), "--add-spot", "1:812,455"]) == 0  # bare photosphere there
    rows = [line.split() for line in capsys.readouterr().out.splitlines() if line.strip()]
    assert any(row[-2:] == ["-", "-"] for row in rows)


@pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")
def test_a_measured_roll_is_measured_again_and_an_edited_one_stays(measured_once):
    again, outing = measured_once
    (first,) = read_outing(outing).shots
    assert first.roll_is_measured
    assert main(again) == 0
    assert read_outing(outing).shots == (first,)
    line = next(line for line in outing.read_text().splitlines() if line.startswith("roll_deg"))
    outing.write_text(outing.read_text().replace(line, "roll_deg = 0.5"))
    assert main(again) == 0
    (edited,) = read_outing(outing).shots
    assert edited.roll_deg == 0.5
    assert not edited.roll_is_measured
    assert main(again) == 0
    assert read_outing(outing).shots == (edited,)


@pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")
def test_a_dropped_find_stays_dropped(measured_once):
    again, outing = measured_once
    (first,) = read_outing(outing).shots
    assert main([*again, "--drop-spot", "1:3"]) == 0
    (dropped,) = read_outing(outing).shots
    assert [spot.id for spot in first.spots if spot.id != 3] == [spot.id for spot in dropped.spots]
    assert dropped.dropped_px is not None
    assert len(dropped.dropped_px) == 2
    assert main(again) == 0
    assert read_outing(outing).shots == (dropped,)
    assert main([*again, "--drop-spot", "1:5"]) == 0
    (twice,) = read_outing(outing).shots
    assert len(twice.dropped_px or ()) == 4
    assert {3, 5}.isdisjoint(spot.id for spot in twice.spots)
    # taking the place out of the file brings the find back
    text = "\n".join(line for line in outing.read_text().splitlines() if not line.startswith("dropped_px"))
    outing.write_text(text)
    assert main(again) == 0
    assert read_outing(outing).shots == (first,)

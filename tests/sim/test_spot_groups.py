"""Groups of spots: area, order, tilt, no touching, in the scenario file and on the command line."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.models.observables import body_vector
from whichsun.sim.cli.main import main
from whichsun.sim.scenario import read_scenario
from whichsun.sim.spot_groups import spot_group
from whichsun.sim.surface import radius_of_area

SCENARIO = Path(__file__).parents[2] / "scenarios" / "distant-sphere-pair.toml"


@pytest.mark.parametrize("latitude", [18.0, -25.0])
def test_a_group(latitude):
    group = spot_group(np.random.default_rng(3), latitude, 359.0, 800, spots=12)
    leader, follower = group[:2]
    assert len(group) == 12
    # Small spots get 1 msh or more, so that the sum may exceed what was asked by a little.
    assert sum(spot.area_msh for spot in group) == pytest.approx(800, rel=0.02)
    assert leader.area_msh == 400
    assert abs(leader.latitude_deg) < abs(latitude) < abs(follower.latitude_deg)
    east = [(spot.longitude_deg - 359 + 180) % 360 - 180 for spot in (leader, follower)]
    assert east[0] > 3  # longitude grows towards the west limb: the leader is in the west
    assert east[1] < -3
    places = body_vector(*np.deg2rad([(s.latitude_deg, s.longitude_deg) for s in group]).T)
    for (i, one), (j, other) in combinations(enumerate(group), 2):
        apart = np.arccos(np.clip(places[i] @ places[j], -1, 1))
        assert apart > radius_of_area(one.area_msh) + radius_of_area(other.area_msh)
    again = spot_group(np.random.default_rng(3), latitude, 359.0, 800, spots=12)
    assert again == group


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((70, 0, 100), "'latitude_deg' must be between -60 and 60"),
        ((10, 0, 5), "'area_msh' must be between 10"),
    ],
)
def test_bad_input(arguments, words):
    with pytest.raises(InputError, match=words):
        spot_group(np.random.default_rng(1), *arguments)


def test_in_a_scenario_file(tmp_path):
    text = SCENARIO.read_text().replace("[sun]\n", "[sun]\ngranulation = 0.05\nfaculae = 0.15\n")
    text += "\n[[sun.group]]\nlatitude_deg = 12\nlongitude_deg = 190\narea_msh = 300\nspots = 5\n"
    path = tmp_path / "group.toml"
    path.write_text(text)
    surface, before = read_scenario(path).surface, read_scenario(SCENARIO).surface
    assert surface.spots[: len(before.spots)] == before.spots
    assert len(surface.spots) == len(before.spots) + 5
    granulation, faculae = surface.mottling()
    assert (granulation.contrast, faculae.contrast) == (0.05, 0.15)
    assert len(faculae.points) == sum(spot.area_msh >= 10 for spot in surface.spots)


def test_on_the_command_line(tmp_path, capsys):
    options = ["--model", "distant-sphere", "--site", "46.5,-30", "--at", "2027-04-18T09:00:00Z"]
    options += ["--size", "200x200", "--group", "15,190,600,9", "--granulation", "0.1", "--faculae", "0.2"]
    assert main(["render", *options, "-o", str(tmp_path / "a.png"), "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["shot"]["spots"]) == 9
    assert main(["render", *options, "--group", "15,230,600,20", "-o", str(tmp_path / "b.png")]) == 0
    assert "more spots in" in capsys.readouterr().out
    assert main(["render", *options, "--granulation", "0.5", "-o", str(tmp_path / "c.png")]) == 2
    assert "'granulation' must be between 0 and 0.3" in capsys.readouterr().err
    assert not (tmp_path / "c.png").exists()

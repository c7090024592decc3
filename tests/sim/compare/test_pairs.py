"""Two pairs of photos made from real pictures of the Sun by a program that is not ours, from their spots alone."""

from pathlib import Path

import numpy as np
import pytest
from whichsun.sim.compare.contest import Options
from whichsun.sim.compare.scores import score_outing
from whichsun.sim.outing_file import read_outing

FOLDER = Path(__file__).parents[2] / "data" / "compare"


def scored(name):
    return score_outing(read_outing(FOLDER / name), None, Options(repairs=False))


@pytest.mark.slow
def test_pair_1_is_won_by_the_distant_sphere():
    result = scored("pair-1.toml")
    assert (result.verdict.kind, result.verdict.model) == ("favours", "distant-sphere")
    latitude = result.latitude
    # the program that made the pair put it at 14.2 N; asked for: within 1 degree and inside the interval
    assert abs(latitude.fitted_deg - 14.2) < 1.0
    assert latitude.low95_deg < 14.2 < latitude.high95_deg
    assert latitude.hemisphere == "north"
    sizes = [np.hypot(r["dx"], r["dy"]) for r in result.to_json()["models"][0]["residuals"]]
    # well-matched: without the one in ten that merge, split or decay in 12 hours
    well = np.sort(sizes)[: int(0.85 * len(sizes))]
    assert np.sqrt(np.mean(well**2)) < 0.005


@pytest.mark.slow
def test_pair_2_is_won_by_the_nearby_plane():
    result = scored("pair-2.toml")
    assert (result.verdict.kind, result.verdict.model) == ("favours", "nearby-plane")
    leader = next(score for score in result.models if score.model == "nearby-plane").leader
    assert leader.variant.fixed["face"] == "facing-pole"
    row = next(r for r in result.to_json()["models"] if r["variant"] == leader.variant.name)
    height = row["parameters"]["height_km"]["value"]
    assert 4500 < height < 5500  # made with "about 5,000 km"

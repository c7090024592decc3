"""The main job on two pairs of photos that another program made from real pictures of the Sun.

Pictures: NASA/SDO and the HMI science team; orientation, refraction, tint, blur and noise were computed by an
independent program on JPL DE421 (tests/data/photo/README.md). pair-1: a distant Sun over the rotating Earth
at 14.2 N 91.0 E. pair-2: the same Sun's picture as the face of a near Sun over a plane, at 58.2 N 91.0 E.
"""

import math
from pathlib import Path

import pytest
from whichsun.sim.compare.contest import Options
from whichsun.sim.compare.scores import score_outing
from whichsun.sim.photo.measure import measure_photos

PICTURES = Path(__file__).parents[1] / "data" / "photo"

pytestmark = [
    pytest.mark.slow,
    pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning"),  # doubtful matches are told
]


def scored(pair, *names):
    photos = [PICTURES / pair / name for name in names]
    measured = measure_photos(photos, names=list(names))
    return score_outing(measured.outing, [], Options()).to_json()


@pytest.fixture(scope="module")
def pair_1():
    return scored("pair-1", "sunrise.jpg", "sunset.jpg")


def row_of(result, model):
    return next(row for row in result["models"] if row["model"] == model and row["variant"] is None)


def test_pair_1_is_won_by_the_distant_sphere(pair_1):
    assert (pair_1["verdict"]["kind"], pair_1["verdict"]["model"]) == ("favours", "distant-sphere")
    assert row_of(pair_1, "distant-sphere")["p_value"] > 0.01


def test_pair_1_latitude(pair_1):
    # The site is 14.2 N; required: within 1.0 degree and inside the fit's own 95 % interval.
    latitude = pair_1["latitude"]
    assert latitude["fitted_deg"] == pytest.approx(14.2, abs=1.0)
    assert latitude["low95_deg"] < 14.2 < latitude["high95_deg"]
    assert latitude["hemisphere"] == "north"


def test_pair_1_spots(pair_1):
    # Required: well-matched spots within 0.5 % of the disc radius rms; a group that merges or splits in 12 hours is
    # an outlier, not a disproof. Well matched: the better four fifths.
    residuals = row_of(pair_1, "distant-sphere")["residuals"]
    squares = sorted(r["dx"] ** 2 + r["dy"] ** 2 for r in residuals)
    well = squares[: 4 * len(squares) // 5]
    assert len(well) >= 16
    assert math.sqrt(sum(well) / len(well)) < 0.005


def test_pair_1_true_turn_is_beyond_180(pair_1):
    # 14 N in July: the Sun culminates north of the zenith; 206 deg anticlockwise by four independent programs
    # (list of check values of this project), read from two shots as 154 clockwise. That is the axis; 1 deg covers it.
    assert pair_1["turn"]["unwrapped_axis_deg"] == pytest.approx(206, abs=1.5)


def test_pair_2_is_won_by_the_nearby_plane():
    # Drawn with a Sun some 5,000 km up, its face kept to the map's centre. "Some": within 5 %.
    result = scored("pair-2", "morning.jpg", "evening.jpg")
    assert (result["verdict"]["kind"], result["verdict"]["model"]) == ("favours", "nearby-plane")
    row = row_of(result, "nearby-plane")
    assert row["best_variant"].startswith("facing-pole")
    assert row["p_value"] > 0.01
    assert row["parameters"]["height_km"]["value"] == pytest.approx(5000, rel=0.05)
    others = [r["ln_evidence"] for r in result["models"] if r["model"] != "nearby-plane"]
    assert row["ln_evidence"] - max(others) > 20

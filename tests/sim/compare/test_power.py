"""Expected evidence of a planned outing, and the drawing of outings that it rests on."""

import json
from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.registry import get_model
from whichsun.sim.cli.main import main
from whichsun.sim.compare.contest import Options
from whichsun.sim.compare.drawing import Design, draw_outing, draw_truth
from whichsun.sim.compare.power import (
    ExpectedEvidence,
    Trial,
    advice,
    changes,
    check_times,
    expected_evidence,
    roll_sigmas_deg,
)
from whichsun.sim.outing import OutingSite
from whichsun.sim.rotation import rotation_law
from whichsun.sim.safety import CAUTIONS

SPHERE, PLANE = "distant-sphere", "nearby-plane"
LAW = rotation_law("howard-1984")
NORTH = OutingSite(47.0, 8.0)
DAY = ("2027-04-18T06:00:00Z", "2027-04-18T16:30:00Z")
GOOD = Design(NORTH, DAY, spots_found=4.0)
# 4 degrees from the zenith, eight minutes apart
OVERHEAD = Design(
    OutingSite(14.0, 8.0), ("2027-04-16T11:24:00Z", "2027-04-16T11:32:00Z"), spots_found=3.0, place_sigma=0.01
)


def test_drawn_outings_hold_as_many_spots_as_designed():
    rng = np.random.default_rng(5)
    design = replace(GOOD, spots_found=5.0, false_per_shot=1.0)
    outings = [draw_outing(rng, get_model(SPHERE), {}, design, LAW) for _ in range(400)]
    counts = np.array([[len(shot.spots) for shot in outing.shots] for outing in outings])
    # Poisson: 5 real and 1 x 0.98^2 false ones a photo; a few more are lost beyond 0.98 radii by noise.
    expected = 5.0 + 0.96
    assert counts.mean() == pytest.approx(expected, abs=4 * np.sqrt(expected / 400))
    assert counts[:, 0].var() == pytest.approx(expected, rel=0.35)


def test_truths_follow_the_prior():
    rng = np.random.default_rng(6)
    drawn = [draw_truth(rng, get_model(PLANE), Options())[1] for _ in range(600)]
    faces = [values["face"] for values in drawn]
    for face in ("facing-pole", "fixed", "spinning"):  # a third each; four standard deviations
        assert faces.count(face) / 600 == pytest.approx(1 / 3, abs=4 * np.sqrt(2 / 9 / 600))
    heights = np.log([values["height_km"] for values in drawn])
    middle = np.log(np.sqrt(500 * 50000))
    assert heights.mean() == pytest.approx(middle, abs=4 * np.log(100) / np.sqrt(12 * 600))
    held = draw_truth(rng, get_model(PLANE), Options(given={"height_km": 5000.0, "face": "fixed"}))[1]
    assert (held["height_km"], held["face"]) == (5000.0, "fixed")


def test_level_counts_more_under_a_high_sun():
    # delta / cos(altitude): at 60 degrees twice the level's own uncertainty; an equatorial mount does not feel it
    noon = Design(OutingSite(30.0, 0.0), ("2027-03-20T12:05:00Z", "2027-03-20T17:00:00Z"))
    high, low = roll_sigmas_deg(noon)
    assert high == pytest.approx(0.7 / np.cos(np.deg2rad(60)), rel=0.02)
    assert low < 0.75
    assert roll_sigmas_deg(replace(noon, mount="equatorial")) == (0.7, 0.7)


def test_a_good_outing_decides_and_one_overhead_cannot():
    good = expected_evidence(GOOD, outings=5)
    assert good.decides
    assert "decide between distant-sphere and nearby-plane" in good.words
    assert all(row["wrong"] == 0 for row in good.truths())
    bad = expected_evidence(OVERHEAD, outings=5)
    assert not bad.decides
    assert bad.share_decided < 0.5
    assert "cannot decide" in bad.words or "Do not count" in bad.words
    for truth, against in ((SPHERE, PLANE), (PLANE, SPHERE)):
        assert np.median(good.ln_bayes_factors(truth, against)) > np.median(
            bad.ln_bayes_factors(truth, against)
        )


def test_numbers_do_not_depend_on_processes():
    here = expected_evidence(OVERHEAD, outings=2)
    shared = expected_evidence(OVERHEAD, outings=2, processes=2)
    assert here.trials == shared.trials
    other = expected_evidence(OVERHEAD, outings=2, options=Options(seed=2))
    assert other.trials != here.trials


def made_up(ln_b, kinds):
    trials = [
        Trial(SPHERE, {SPHERE: b, PLANE: 0.0}, kind, model)
        for b, (kind, model) in zip(ln_b, kinds, strict=True)
    ]
    trials.append(Trial(PLANE, {}, None, None))
    trials.append(Trial(PLANE, {SPHERE: 0.0, PLANE: 5.0}, "favours", PLANE))
    return ExpectedEvidence(GOOD, (SPHERE, PLANE), tuple(trials))


@pytest.mark.parametrize(
    ("right", "words"),
    [
        (0, f"cannot decide between {SPHERE} and {PLANE}: none of the simulated outings with {SPHERE}"),
        (1, f"cannot decide between {SPHERE} and {PLANE}: only 10 % of the simulated outings"),
        (10, "at the least, 50 % of the simulated outings with nearby-plane as the truth were decided."),
    ],
)
def test_expectation_in_words(right, words):
    kinds = [("favours", SPHERE)] * right + [("undecided", SPHERE)] * (10 - right)
    assert words in made_up([1.0] * 10, kinds).words


def test_shares_and_quantiles_by_hand():
    found = made_up(
        [1.0, 2.0, 4.0, 9.0, -4.0],
        [
            ("undecided", SPHERE),
            ("none-fits", None),
            ("favours", SPHERE),
            ("favours", SPHERE),
            ("favours", PLANE),
        ],
    )
    assert found.shares(SPHERE) == {"right": 0.4, "wrong": 0.2, "undecided": 0.4}
    assert found.shares(PLANE) == {"right": 0.5, "wrong": 0.0, "undecided": 0.5}
    assert found.share_decided == 0.4
    assert not found.decides
    sphere, plane = found.pairs()
    assert sphere["ln_bayes_factor_median"] == 2.0
    assert sphere["share_above_20_to_1"] == 0.4
    # an outing without spots tells nothing: ln B 0
    assert plane["ln_bayes_factor_median"] == 2.5
    assert found.truths()[1] == {
        "truth": PLANE, "outings": 2, "without_spots": 1, "right": 0.5, "wrong": 0.0, "undecided": 0.5,
    }  # fmt: skip


def test_advice_names_the_change_that_helps_most():
    weak = made_up([1.0], [("undecided", SPHERE)])
    strong = made_up([8.0], [("favours", SPHERE)])
    assert "a longer baseline (decided 0 -> 50 %" in advice(weak, [("a longer baseline", strong)])
    assert "None of the simulated changes" in advice(strong, [("more spots", weak)])


def test_changes_are_what_they_say():
    by_words = changes(GOOD)
    longer = next(design for words, design in by_words if "baseline" in words)
    assert longer.times_utc[0] < GOOD.times_utc[0]
    assert longer.times_utc[-1] > GOOD.times_utc[-1]
    check_times(longer)
    rest = {
        (d.spots_found, round(d.roll_sigma_deg, 3), d.place_sigma)
        for words, d in by_words
        if "baseline" not in words
    }
    assert rest == {(8.0, 0.7, 0.004), (4.0, 0.233, 0.004), (4.0, 0.7, 0.002)}
    # from sunrise to sunset there is nothing to lengthen
    whole = replace(GOOD, times_utc=("2027-04-18T04:40:00Z", "2027-04-18T18:05:00Z"))
    assert not any("baseline" in words for words, _ in changes(whole))


@pytest.mark.parametrize(
    ("times", "message"),
    [
        (DAY[:1], "'at' must be given at least twice"),
        (DAY[::-1], "must be times that follow each other"),
        (("2027-04-18T01:00:00Z", DAY[1]), "must be a time at which the Sun is up"),
        ((DAY[0], "2027-04-25T12:00:00Z"), "must lie within 72 h"),
        (("2027-04-18T06:00:00", DAY[1]), "2027-04-18T06:00:00"),
    ],
)
def test_times_that_cannot_be_are_refused(times, message):
    with pytest.raises(InputError, match=message):
        expected_evidence(replace(GOOD, times_utc=times), outings=1)


def test_other_bad_input_is_refused():
    with pytest.raises(InputError, match="at least two different models"):
        expected_evidence(GOOD, (SPHERE, SPHERE), outings=1)
    with pytest.raises(UnknownNameError, match="unknown model 'flat'"):
        expected_evidence(GOOD, (SPHERE, "flat"), outings=1)
    with pytest.raises(InputError, match="outings"):
        expected_evidence(GOOD, outings=0)
    with pytest.raises(UnknownNameError, match="rotation law"):
        expected_evidence(GOOD, outings=1, options=Options(law="quick"))
    with pytest.raises(InputError, match="spots_found"):
        Design(NORTH, DAY, spots_found=0.0)
    with pytest.raises(InputError, match="mount"):
        Design(NORTH, DAY, mount="roof")


COMMAND = [
    "power",
    "--site",
    "14,8",
    "--at",
    OVERHEAD.times_utc[0],
    "--at",
    OVERHEAD.times_utc[1],
    "--spots",
    "3",
]


def test_command_in_json(capsys):
    assert main([*COMMAND, "--outings", "1", "--processes", "1", "--what-if", "--json"]) == 0
    got = json.loads(capsys.readouterr().out)
    assert got["schema"] == "whichsun/power/1"
    assert got["models"] == [SPHERE, PLANE]
    assert [(p["truth"], p["against"]) for p in got["pairs"]] == [(SPHERE, PLANE), (PLANE, SPHERE)]
    assert {row["truth"] for row in got["truths"]} == {SPHERE, PLANE}
    assert len(got["what_if"]) == 4
    assert all(one["change"] and one["pairs"] for one in got["what_if"])
    shares = [one["share_decided"] for one in got["what_if"]]
    assert shares == sorted(shares, reverse=True)
    assert got["advice"]
    assert got["cautions"] == list(CAUTIONS)


def test_command_for_people(capsys):
    assert main([*COMMAND, "--outings", "1", "--processes", "1"]) == 0
    text = capsys.readouterr().out
    assert "of the simulated outings" in text
    assert "ln B, median" in text
    assert "solar filter" in text


def test_command_refuses_in_one_line(capsys):
    assert main(["power", "--site", "47,8", "--at", DAY[0], "--outings", "1"]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1
    assert "at least twice" in error

"""The result told to a newcomer: sentences from results made by hand, one case each."""

import copy

import pytest
from whichsun.sim.compare.plainly import (
    driver_lines,
    meaning_lines,
    needed_legend,
    needed_table,
    robust_table,
    safety_lines,
    sections,
)

NEAR = {"shot": "a.jpg", "id": 1, "dx": 0.0, "dy": 0.0, "zx": 0.5, "zy": -1.0}


def mean_row(model, summary, matched, p=0.3, residuals=(NEAR,)):
    matches = [
        {"shot_a": "a.jpg", "id_a": k, "shot_b": "b.jpg", "id_b": k, "probability": 1.0}
        for k in range(matched)
    ]
    return {
        "model": model, "variant": None, "summary": summary, "ln_evidence": 1.0, "ln_evidence_by": "importance",
        "ln_evidence_error": 0.02,
        "p_value": p, "matches": matches, "residuals": list(residuals),
    }  # fmt: skip


def driver(number, contribution, without, matched_to=(), kind="spot", name=None):
    return {
        "kind": kind, "shot": "a.jpg", "id": number, "name": name or f"spot {number} of photos/a.jpg",
        "contribution": contribution, "ln_bayes_factor_without": without, "matched_to": list(matched_to),
        "model": "round", "against": "flat",
    }  # fmt: skip


def robust(kind, what, factor, verdict="favours", leads="round"):
    return {"kind": kind, "what": what, "ln_bayes_factor": factor, "verdict": verdict, "leads": leads}


@pytest.fixture
def result():
    return {
        "verdict": {"kind": "favours", "model": "round", "against": "flat", "ln_bayes_factor": 6.0},
        "models": [mean_row("round", "The Earth is round.", 5), mean_row("flat", "The Earth is flat.", 1)],
        "drivers": [
            driver(1, 4.0, 2.0, [{"shot": "b.jpg", "id": 7}]),
            {**driver(7, 3.9, 2.1, [{"shot": "a.jpg", "id": 1}]), "shot": "b.jpg", "name": "spot 7 of b.jpg"},
            driver(3, -2.0, 8.0),
            driver(4, 0.2, 5.8),
        ],
        "robustness": [
            robust("as-scored", "as scored", 6.0),
            robust("uncertainties", "all uncertainties doubled", 2.0, "undecided"),
            robust("prior", "flat: height_km uniform, 500 to 50,000 km", 5.0),
            robust("prior", "flat: height_km log-uniform, 50 to 500,000 km", -4.0, "favours", "flat"),
        ],
        "needed": [],
        "data": {"photos": 2, "spots": 9, "other_measurements": 0},
    }


def test_a_favoured_model_is_told_in_plain_words(result):
    text = " ".join(meaning_lines(result))
    assert "about 400 times as likely under round (the Earth is round) as under" in text
    assert "30 in 100 match no better" in text
    assert "any other idea can be added" in text


def test_undecided_and_no_fit_say_so(result):
    undecided = copy.deepcopy(result)
    undecided["verdict"]["kind"] = "undecided"
    assert "Nothing is proved either way" in meaning_lines(undecided)[0]
    none = copy.deepcopy(result)
    none["verdict"] |= {"kind": "none-fits", "model": None}
    assert "No idea in the table" in meaning_lines(none)[0]
    assert not any("fits by itself" in line for line in meaning_lines(none))


@pytest.mark.parametrize(
    ("spots", "others", "start"),
    [
        (9, 0, "Photos like these are about"),
        (9, 2, "Photos and measurements like these are about"),
        (0, 2, "Measurements like these are about"),
        (0, 1, "A measurement like this one is about"),
    ],
)
def test_what_the_outing_holds_is_called_by_its_name(result, spots, others, start):
    result["data"] = {"photos": 2 if spots else 0, "spots": spots, "other_measurements": others}
    assert meaning_lines(result)[0].startswith(start)
    for kind in ("undecided", "none-fits"):
        result["verdict"]["kind"] = kind
        text = " ".join(meaning_lines(result))
        assert ("the photos fit" in text or "puts the spots" in text) == (spots > 0)
        assert ("lens" in text or "mirrored" in text) == (spots > 0)


def test_odds_that_are_rough_say_so(result):
    assert not any("roughly" in line for line in safety_lines(result))
    result["models"][1]["ln_evidence_error"] = 0.18
    assert any("roughly" in line and "flat (to 20 %)" in line for line in safety_lines(result))


def test_the_strongest_drivers_are_named_once_with_their_partners(result):
    lines = driver_lines(result)
    assert lines[0] == "round finds 5 spots again in the other photos where it puts them, flat 1 spot."
    assert lines[1] == "Without spot 1 of a.jpg (spot 7 of b.jpg) the odds would be about 55 times smaller."
    assert lines[2] == (
        "Without spot 3 of a.jpg the odds would be about 7 times larger: it speaks against round."
    )
    assert len(lines) == 4
    assert "hangs on a single spot" in lines[3]


def test_the_only_measurement_is_no_news(result):
    result["drivers"] = [driver(1, 3.0, 0.02, kind="quantity", name="the spot turn")]
    assert not any("Without" in line for line in driver_lines(result))


def test_a_verdict_that_no_single_spot_decides(result):
    for one in result["drivers"]:
        one["ln_bayes_factor_without"] = 5.0
    assert driver_lines(result)[-1].startswith("No single spot decides")


def test_safety_tells_what_would_change(result):
    lines = safety_lines(result)
    assert lines[0] == "With all uncertainties doubled the odds decide nothing (about 7 to 1, round ahead)."
    assert "the odds favour flat, about 55 to 1 in the worst case (flat: height_km log-uniform" in lines[1]


def test_far_spots_are_named(result):
    far = [
        {"shot": "p/a.jpg", "id": 2, "dx": 0.1, "dy": 0.0, "zx": 4.2, "zy": 0.1},
        {"shot": "p/b.jpg", "id": 5, "dx": 0.0, "dy": 0.0, "zx": 0.1, "zy": 0.1},
    ]
    far.append({**dict.fromkeys(NEAR), "kind": "altitude", "time_utc": ["2027-01-01T06:00:00Z"], "z": -5.0})
    result["models"][0] = mean_row("round", "The Earth is round.", 5, residuals=far)
    line = next(line for line in safety_lines(result) if line.startswith("Farthest"))
    assert "the altitude of 2027-01-01T06:00:00Z (5.0 standard errors), spot 2 of a.jpg (4.2 stand" in line
    assert "spot 5" not in line


def test_nested_sampling_is_told(result):
    slow = {**result["models"][1], "variant": "spinning", "ln_evidence_by": "nested"}
    result["models"].append(slow)
    assert any("For flat spinning" in line and "nested sampling" in line for line in safety_lines(result))


def test_sections_come_in_order_and_empty_ones_are_left_out(result):
    assert [heading for heading, _ in sections(result)] == [
        "What drives it",
        "What it means",
        "How safe it is",
    ]
    bare = {**result, "drivers": [], "robustness": []}
    bare["verdict"] = {**result["verdict"], "against": None, "kind": "undecided"}
    assert [heading for heading, _ in sections(bare)] == ["What it means"]


def test_tables(result):
    row = {
        "map": "m", "face": "fixed", "height_km": 1234.0, "height_low95_km": 1000.0, "height_high95_km": 2000.0,
        "at_bound": False, "diameter_km": None, "matched": 0, "spots": 9, "chi2": 0.0, "dof": None, "note": "",
    }  # fmt: skip
    result["needed"] = [row, {**row, "height_km": None, "note": "off the map"}]
    table = needed_table(result)
    assert table[0] == ["m", "fixed", "1,234", "1,000 to 2,000", "-", "0 of 9", "-"]
    assert table[1][1] == "off the map"
    assert "number means nothing" in needed_legend(result)
    assert robust_table(result["robustness"])[1] == [
        "all uncertainties doubled", "2.0", "about 7 to 1 for round", "undecided",
    ]  # fmt: skip

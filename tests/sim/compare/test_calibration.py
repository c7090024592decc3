"""A short calibration of the score; the long one is tests/validation/calibration.py, whose functions this runs."""

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

OUTINGS = 8


@pytest.fixture(scope="module")
def calibration():
    folder = str(Path(__file__).parents[2] / "validation")
    sys.path.insert(0, folder)
    try:
        import calibration

        yield calibration
    finally:
        sys.path.remove(folder)


@pytest.mark.slow
def test_claims_and_ranks_of_a_few_outings(calibration, capsys):
    rows = [calibration.one(calibration.drawn("good", number)) for number in range(OUTINGS)]
    claims, wrong, expected = calibration.claims_row(rows)
    assert claims >= 4  # two in three good outings are claimed
    assert wrong <= stats.poisson.ppf(0.99, max(expected, 1e-9))
    ranks = np.concatenate(list(calibration.ranks_by_name(rows).values()))
    assert len(ranks) >= OUTINGS
    # 0.001: a wrong parametrisation puts the truth at an end of nearly every posterior
    assert stats.kstest(ranks, "uniform").pvalue > 0.001
    named = [row for row in rows if row["verdict"] == "favours"]
    assert sum(row["model"] == row["truth"] for row in named) >= len(named) - 1
    calibration.show(rows)
    text = capsys.readouterr().out
    assert f"| good | {sum(row['truth'] != 'nearby-sphere' for row in rows)} | {claims} | {wrong} |" in text
    from calibration_figure import calibration_figure

    assert calibration_figure(rows).startswith(b"\x89PNG")


def test_the_counting_sees_wrong_claims(calibration):
    def row(truth, factor):
        return {"truth": truth, "ln_evidence": {"distant-sphere": factor, "nearby-plane": 0.0}}

    rows = [row("distant-sphere", 4.0), row("nearby-plane", 4.0), row("nearby-plane", 1.0)]
    claims, wrong, expected = calibration.claims_row([*rows, row("nearby-sphere", 9.0)])
    assert (claims, wrong) == (2, 1)  # below 20 to 1 nothing is claimed; the nested model is no party
    assert expected == pytest.approx(2 / (1 + np.exp(4.0)))


def test_holm(calibration):
    # by hand: sorted 0.01, 0.04, 0.5 times 3, 2, 1, each at least the one before
    assert calibration.holm_of([0.04, 0.01, 0.5]) == pytest.approx([0.08, 0.03, 0.5])
    assert calibration.holm_of([0.03, 0.02]) == pytest.approx([0.04, 0.04])

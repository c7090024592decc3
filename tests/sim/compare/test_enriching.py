"""Modes that the scan missed are found by heavy draws, and a good-looking round is not believed before a second."""

import numpy as np
import pytest
from whichsun.models.registry import get_model
from whichsun.sim.compare import evidence
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.enriching import enriched
from whichsun.sim.compare.evidence import integrate, settled_cells
from whichsun.sim.compare.importance import importance
from whichsun.sim.compare.modes import Modes
from whichsun.sim.compare.numeric import ln_sum, sobol_points
from whichsun.sim.compare.problem import problem_of


@pytest.fixture
def by_hand(outing_of):
    data = data_of(outing_of(np.random.default_rng(4), spots=8, sigma=0.03, mount="hand-held"))
    model = get_model("distant-sphere")
    return problem_of(model, model.variants[0], data, "howard-1984")


def test_modes_that_were_taken_away_are_found_again(by_hand):
    cells = settled_cells(by_hand)
    best = int(np.argmax(cells.modes.ln_mass))
    kept = np.arange(len(cells.modes.node)) != best
    poorer = Modes(cells.modes.node[kept], *(part[kept] for part in cells.modes.arrays))
    without = type(cells)(cells.low, cells.high, cells.ln_flat, poorer)
    draws = importance(by_hand, without, 8192, np.random.default_rng(1))
    again = enriched(by_hand, without, draws)
    gap = (again.modes.eta - cells.modes.eta[best])[:, :2]
    gap = np.abs((gap + np.pi) % (2 * np.pi) - np.pi).max(1)
    # the same mode: two adjustments end within a fraction of its width (some degrees at 0.03 radii)
    assert gap.min() < np.deg2rad(2.0)


def test_rounds_agree_with_the_plain_mean_over_the_prior(by_hand):
    found = integrate(by_hand, np.random.default_rng(1))
    unit = sobol_points(2**17, len(by_hand.nuisances.sigma), np.random.default_rng(2))
    values = np.concatenate(
        [
            by_hand.ln_whole(np.full(len(part), 0.5), by_hand.nuisances.draw(part))
            for part in np.split(unit, 16)
        ]
    )
    plain = float(ln_sum(values) - np.log(len(values)))
    share = np.exp(values - ln_sum(values))
    error = float(np.sqrt((share**2).sum()))
    assert error < 0.1
    assert abs(found.ln_evidence - plain) < 0.1 + error  # what evidences are asked to hold


def test_one_good_round_is_not_enough(by_hand, monkeypatch):
    rounds = []
    real = evidence.importance
    monkeypatch.setattr(evidence, "importance", lambda *args: rounds.append(args[2]) or real(*args))
    integrate(by_hand, np.random.default_rng(1))
    assert len(rounds) >= 2

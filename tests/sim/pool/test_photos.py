"""Outings with photos in a pool: what is shared is shared, what is each person's own stays so."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from whichsun.sim.compare.contest import Options
from whichsun.sim.compare.scores import score_outing
from whichsun.sim.outing import Observable
from whichsun.sim.outing_file import write_outing
from whichsun.sim.pool.photos import photo_boxes
from whichsun.sim.pool.reading import PoolSource, read_source
from whichsun.sim.pool.result import result_of
from whichsun.sim.pool.scoring import PoolOptions, score_pool
from whichsun.sim.pool.submissions import Submissions

NOBODY = Submissions.of([])
QUICK = PoolOptions(check=False)


def _drawing():
    """The invented outings of the comparison's tests."""
    path = Path(__file__).parents[1] / "compare" / "conftest.py"
    spec = importlib.util.spec_from_file_location("drawn_outings", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.draw_outing


@pytest.fixture(scope="module")
def outings():
    draw = _drawing()
    given = {"height_km": 5000.0}
    sites = ((47.0, 8.0), (20.0, 8.0))
    return [
        (f"{name}.toml", draw(np.random.default_rng(seed), "nearby-plane", given, site=site, spots=12))
        for name, seed, site in zip("ab", (3, 4), sites, strict=True)
    ]


@pytest.fixture(scope="module")
def singles(outings):
    return [score_pool(NOBODY, [one], options=QUICK) for one in outings]


@pytest.fixture(scope="module")
def both(outings):
    return score_pool(NOBODY, outings, options=QUICK)


@pytest.mark.slow
def test_one_outing_alone_is_scored_as_by_score(outings, singles):
    alone = singles[0]
    single = score_outing(outings[0][1], None, Options(check=False))
    for score in single.models:
        for variant, entry in zip(score.variants, alone.entries[score.model], strict=True):
            # The pool keeps the scan (0.07 in 99 of 100 cases, 0.38 at worst in trials), score corrects it by sampling.
            assert entry.ln_evidence == pytest.approx(variant.ln_evidence, abs=0.15)


@pytest.mark.slow
def test_what_is_shared(outings, singles, both):
    first, second = singles
    sphere = [s.entries["distant-sphere"][0].ln_evidence for s in (first, second, both)]
    assert sphere[2] == pytest.approx(sphere[0] + sphere[1], abs=1e-9)  # nothing is shared
    (a,), (b,) = (s.entries["nearby-plane"][0].photos for s in (first, second))
    # One height for both: the integral of the product, here on a plain grid.
    place = ((np.arange(40_000) + 0.5) / 40_000)[:, None]
    ln_product = a.ln_at(place) + b.ln_at(place)
    plain = float(np.log(np.mean(np.exp(ln_product - ln_product.max()))) + ln_product.max())
    assert both.entries["nearby-plane"][0].ln_evidence == pytest.approx(plain, abs=0.02)
    result = result_of(both, PoolSource(NOBODY, list(outings)))
    assert result["verdict"]["model"] == "nearby-plane"
    height = next(r for r in result["models"] if r["model"] == "nearby-plane")["parameters"]["height_km"]
    assert height["low95"] < 5000 < height["high95"]
    assert result["noise_deg"] is None
    assert [one["best_model"] for one in result["submissions"]] == ["nearby-plane", "nearby-plane"]


@pytest.mark.slow
def test_two_shared_parameters_on_a_plain_grid(both):
    spinning = both.entries["nearby-plane"][4]
    assert [axis.name for axis in spinning.worker.axes] == ["height_km", "rate_deg_per_day"]
    middle, size, mass = photo_boxes(spinning.photos, 2)
    assert size.prod(axis=1).sum() == pytest.approx(1.0, abs=1e-9)
    grid = np.stack(np.meshgrid((np.arange(300) + 0.5) / 300, (np.arange(1200) + 0.5) / 1200), -1).reshape(
        -1, 2
    )
    value = sum(table.ln_at(grid) for table in spinning.photos)
    plain = float(np.log(np.mean(np.exp(value - value.max()))) + value.max())
    assert spinning.ln_evidence == pytest.approx(
        plain, abs=0.1
    )  # the plain grid's cells are as wide as the peak
    assert len(middle) == len(mass)


def test_angles_and_photos_together(outings, rows_of):
    rows = rows_of(12, model="nearby-plane", given={"height_km": 5000.0})
    given = PoolOptions(check=False, given={"face": "facing-pole"})
    angles = score_pool(rows, options=given)
    photos = score_pool(NOBODY, outings[:1], options=given)
    together = score_pool(rows, outings[:1], options=given)
    parts = [s.entries["distant-sphere"][0] for s in (angles, photos, together)]
    assert parts[2].ln_evidence == pytest.approx(
        parts[0].ln_evidence + parts[1].ln_evidence, abs=3 * np.hypot(parts[0].error, parts[2].error)
    )
    widths = [
        next(
            r
            for r in result_of(s, PoolSource(s.rows, list(s.outings)))["models"]
            if r["model"] == "nearby-plane"
        )
        for s in (angles, together)
    ]
    spread = [row["parameters"]["height_km"]["sigma"] for row in widths]
    assert spread[1] < spread[0]


def test_a_folder_with_photos_and_turns(outings, tmp_path):
    times = ("2024-03-20T06:00:00Z", "2024-03-20T17:00:00Z")
    turn = Observable("turn", -80.5, 1.5, times, "pattern")
    write_outing(outings[0][1], tmp_path / "photos.toml")
    write_outing(replace(outings[1][1], observables=(turn,)), tmp_path / "both.toml")
    write_outing(replace(outings[1][1], shots=outings[1][1].shots[:1]), tmp_path / "single.toml")
    source = read_source(tmp_path)
    assert [name for name, _ in source.outings] == ["both.toml", "photos.toml"]
    assert all(not outing.observables for _, outing in source.outings)
    assert len(source.rows) == 1
    assert [where for where, _ in source.refused] == ["single.toml"]

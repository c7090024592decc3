"""Evidences, recovered parameters, verdicts and flags of pools drawn under known models."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.observables import wrap_angle
from whichsun.models.place import datetime_of, utc_days_of
from whichsun.models.registry import get_model
from whichsun.sim import workers
from whichsun.sim.compare.contest import Options, variants_of
from whichsun.sim.pool import blunders, runner, shared
from whichsun.sim.pool.blunders import duplicates, flags_of
from whichsun.sim.pool.fitted import fitted_latitudes
from whichsun.sim.pool.integrate import ln_prior, stage_sizes
from whichsun.sim.pool.predict import shifted
from whichsun.sim.pool.reading import PoolSource
from whichsun.sim.pool.result import result_of
from whichsun.sim.pool.scoring import PoolOptions, score_pool
from whichsun.sim.pool.submissions import Submissions
from whichsun.sim.pool.target import PoolVariant, Work, ln_sums
from whichsun.sim.turns import axis_turn, moment

QUICK = PoolOptions(check=False)


def predicted_turn(rows):
    model = get_model("distant-sphere")
    view = model.view(rows.instants(), rows.site(), {})
    return axis_turn(moment(view, 0), moment(view, 1))[:, 0]


def parameters(scores, model):
    row = next(r for r in result_of(scores, PoolSource(scores.rows))["models"] if r["model"] == model)
    return row["parameters"]


def test_distant_sphere_is_found_with_noise_and_offset(rows_of):
    rows = rows_of(150)
    # Two of clear turns get the other sign; a third, far east, is handed in with its local time as UTC.
    near = np.abs(fitted_latitudes(rows, "howard-1984") - rows.latitude_deg) < 1.5
    clear = near & (np.abs(rows.turn_deg) > 60) & (np.abs(rows.turn_deg) < 120)
    one, two = (int(i) for i in np.flatnonzero(clear)[:2])
    late = int(np.flatnonzero(clear & (rows.longitude_deg > 40))[-1])
    turn, hours = rows.turn_deg.copy(), np.zeros(150)
    turn[[one, two]] *= -1
    hours[late] = np.round(rows.longitude_deg[late] / 15)
    rows = replace(shifted(rows, hours), turn_deg=turn)
    scores = score_pool(rows)
    result = result_of(scores, PoolSource(rows))
    assert (result["verdict"]["kind"], result["verdict"]["model"]) == ("favours", "distant-sphere")
    scales = result["noise_and_offset"]["distant-sphere"]
    assert scales["offset_deg"]["low95"] < 1.8 < scales["offset_deg"]["high95"]
    assert scales["noise_deg"]["low95"] < 2.0 < scales["noise_deg"]["high95"]
    kinds = [{flag["kind"] for flag in one["flags"]} for one in result["submissions"]]
    assert "sign" in kinds[one]
    assert "sign" in kinds[two]
    assert "time-zone" in kinds[late]
    # t4 with 150 rows: one good row beyond all repairs is as much as chance makes likely (0.001 each).
    assert sum(bool(found) for i, found in enumerate(kinds) if i not in (one, two, late)) <= 1
    good = [i for i in range(150) if i not in (one, two, late)]
    fitted = np.array([result["submissions"][i]["fitted_latitude_deg"] for i in good], dtype=float)
    # A degree of turn is half a degree of latitude; the scatter is 2.2 deg t4, the offset 1.8 deg.
    assert np.nanmedian(np.abs(fitted - rows.latitude_deg[good])) < 2.5


def test_nearby_plane_is_found_with_its_height(rows_of):
    rows = rows_of(150, model="nearby-plane", given={"height_km": 5000.0})
    scores = score_pool(rows)
    result = result_of(scores, PoolSource(rows))
    assert (result["verdict"]["kind"], result["verdict"]["model"]) == ("favours", "nearby-plane")
    height = parameters(scores, "nearby-plane")["height_km"]
    assert height["value"] == pytest.approx(5000, abs=3 * height["sigma"])  # 1 in 400 by chance; seeded
    assert height["sigma"] < 300
    best = next(r for r in result["models"] if r["model"] == "nearby-plane" and r["variant"] is None)
    assert best["best_variant"].startswith("facing-pole")
    assert sum(one["best_model"] == "nearby-plane" for one in result["submissions"]) > 120  # some fit both


def test_weak_data_are_undecided(rows_of):
    rows = rows_of(1, sigma_deg=40.0)
    verdict = result_of(score_pool(rows), PoolSource(rows))["verdict"]
    assert verdict["kind"] == "undecided"
    assert verdict["reasons"]


def test_angles_at_random_fit_no_model(rows_of):
    rows = rows_of(60)
    rows = replace(rows, turn_deg=np.random.default_rng(3).uniform(-180, 180, 60))
    result = result_of(score_pool(rows), PoolSource(rows))
    assert result["verdict"]["kind"] == "none-fits"
    assert result["verdict"]["model"] is None


def test_no_place_means_that_the_plane_is_hardly_tested(rows_of):
    with_place, without = rows_of(30), rows_of(30, placed=False)
    told = result_of(score_pool(with_place, options=QUICK), PoolSource(with_place))
    untold = result_of(score_pool(without, options=QUICK), PoolSource(without))
    assert told["notes"] == []
    assert "30 of 30" in untold["notes"][0]
    assert untold["verdict"]["ln_bayes_factor"] < told["verdict"]["ln_bayes_factor"]


def test_evidence_against_a_plain_grid(rows_of):
    """Height, offset and noise on a dense grid: the sum over it is the evidence to its own step."""
    rows = rows_of(25, model="nearby-plane", given={"height_km": 4000.0})
    scores = score_pool(rows, options=QUICK)
    model = get_model("nearby-plane")
    variant = variants_of(model, Options())[0]
    worker = PoolVariant.of(model, variant, "howard-1984", {})
    u = (np.arange(160) + 0.5) / 160
    offset = np.deg2rad(np.linspace(-6, 8, 29))
    ln_tau = np.log(np.deg2rad(np.geomspace(0.3, 30, 25)))
    grid = np.stack([g.ravel() for g in np.meshgrid(u, offset, ln_tau, indexing="ij")], axis=-1)
    value = ln_sums(Work("grid", rows, worker, grid, np.array([0.45]))) + ln_prior(grid)
    cell = np.log((offset[1] - offset[0]) * (ln_tau[1] - ln_tau[0]) / 160)
    found = scores.entries["nearby-plane"][0]
    assert found.worker.variant.name == variant.name
    # The sampling's own stated error, and 0.03 for the grid's step and its ends.
    assert found.ln_evidence == pytest.approx(logsumexp(value) + cell, abs=3 * found.error + 0.03)


def test_same_digits_again_and_on_any_number_of_threads(rows_of, monkeypatch):
    rows = rows_of(40)
    monkeypatch.setattr(runner, "ROWS_AT_ONCE", 16)
    first = score_pool(rows, options=QUICK)
    monkeypatch.setattr(workers, "cores", lambda: 3)
    second = score_pool(rows, options=QUICK)
    assert [m.ln_evidence for m in first.models] == [m.ln_evidence for m in second.models]


def test_order_of_rows_does_not_matter(rows_of):
    rows = rows_of(30, flipped=(3,))
    back = rows[np.arange(30)[::-1]]
    one, other = score_pool(rows, options=QUICK), score_pool(back, options=QUICK)
    assert [m.ln_evidence for m in one.models] == [m.ln_evidence for m in other.models]
    flags = [flags_of(s, "distant-sphere") for s in (one, other)]
    assert [bool(f) for f in flags[0]] == [bool(f) for f in flags[1]][::-1]


def test_interrupted_and_resumed(rows_of, tmp_path, monkeypatch):
    rows, file = rows_of(40), tmp_path / "pool.npz"
    whole = score_pool(rows, options=QUICK)
    calls = []

    def stop_after(function, limit):
        def counted(work):
            calls.append(1)
            if len(calls) > limit:
                raise KeyboardInterrupt
            return function(work)

        counted.__name__ = function.__name__
        return counted

    monkeypatch.setattr(shared, "ln_sums", stop_after(ln_sums, 20))
    with pytest.raises(KeyboardInterrupt):
        score_pool(rows, options=replace(QUICK, checkpoint=file))
    assert file.exists()
    calls.clear()
    monkeypatch.setattr(shared, "ln_sums", stop_after(ln_sums, 10_000))
    resumed = score_pool(rows, options=replace(QUICK, checkpoint=file))
    again = len(calls)
    assert [m.ln_evidence for m in resumed.models] == [m.ln_evidence for m in whole.models]
    calls.clear()
    score_pool(rows, options=QUICK)
    assert again <= len(calls) - 15
    calls.clear()
    score_pool(rows, options=replace(QUICK, checkpoint=file))
    assert not calls
    file.write_bytes(b"not a checkpoint")
    with pytest.raises(InputError, match="checkpoint"):
        score_pool(rows, options=replace(QUICK, checkpoint=file))


def test_duplicates_are_found_and_named(rows_of):
    rows = rows_of(20)
    near = replace(rows[4:5], turn_deg=rows.turn_deg[4:5] + 0.01, id=np.array(["other"]))
    both = Submissions.together([rows, rows[2:3], near])
    found = duplicates(both)
    assert set(found) == {20, 21}
    assert "the same as line 4" in found[20]
    assert "nearly the same as line 6" in found[21]


def test_what_cannot_be_scored(rows_of):
    with pytest.raises(InputError, match="at least one submission"):
        score_pool(Submissions.of([]))
    with pytest.raises(UnknownNameError, match="nearby-plain"):
        score_pool(rows_of(3), models=["nearby-plain"])
    with pytest.raises(InputError, match="heigth"):
        score_pool(rows_of(3), options=PoolOptions(given={"heigth_km": 1.0}))


def test_stages_grow_to_all_rows():
    assert stage_sizes(100) == [100]
    assert stage_sizes(10_000) == [160, 1280, 10_000]
    assert stage_sizes(1_000_000)[-1] == 1_000_000


def test_a_held_parameter_and_an_added_model(rows_of):
    rows = rows_of(20)
    scores = score_pool(rows, models=["distant-plane"], options=replace(QUICK, given={"height_km": 4000.0}))
    assert [m.model for m in scores.models][-1] == "distant-plane"
    assert parameters(scores, "nearby-plane") == {} or "height_km" not in parameters(scores, "nearby-plane")


def test_wrong_hemisphere_and_wrong_date(rows_of):
    rows = rows_of(80, kind="axis", tau_deg=0.5, sigma_deg=0.5)
    off = np.rad2deg(wrap_angle(np.deg2rad(rows.turn_deg) - predicted_turn(rows)))
    near = np.abs(off - 1.8) < 0.7
    clear = np.flatnonzero(near & (np.abs(rows.turn_deg) > 50) & (np.abs(rows.turn_deg) < 130))
    south = int(clear[0])
    latitude = rows.latitude_deg.copy()
    latitude[south] *= -1
    # Another row is dated half a year off, one whose turn depends on the season more than the others'.
    late = replace(rows, from_day=rows.from_day + 183, to_day=rows.to_day + 183)
    change = np.abs(np.rad2deg(wrap_angle(predicted_turn(late) - predicted_turn(rows))))
    dates = [datetime_of(float(day)) for day in rows.from_day]
    wrong = int(max((i for i in clear if i != south and dates[i].day <= 28), key=lambda i: change[i]))
    assert change[wrong] > 10
    start = rows.from_day.copy()
    start[wrong] = utc_days_of(dates[wrong].replace(month=(dates[wrong].month + 5) % 12 + 1))
    moved = replace(rows, latitude_deg=latitude, from_day=start, to_day=start + rows.days)
    scores = score_pool(moved, options=QUICK)
    flags = flags_of(scores, "distant-sphere")
    assert "hemisphere" in {flag.kind for flag in flags[south]}
    words = next(flag.repair for flag in flags[south] if flag.kind == "hemisphere")
    assert f"{-latitude[south]:+.1f} instead of {latitude[south]:+.1f}" in words
    assert "date" in {flag.kind for flag in flags[wrong]}


def test_a_model_far_behind_is_told_to_its_stated_error(rows_of):
    """Its evidence is a normal approximation: the sum over a grid about its mode judges it."""
    rows = rows_of(700)
    scores = score_pool(rows, options=QUICK)
    entry = scores.leader("nearby-plane")
    assert entry.evidence is not None
    assert np.isnan(entry.evidence.effective)  # no draws were scored
    assert entry.error < 5
    assert entry.ln_evidence < scores.models[0].ln_evidence - 500
    points = entry.evidence.points
    dim = points.shape[1]
    root = np.linalg.cholesky(np.cov(points.T))
    steps = np.linspace(-4.5, 4.5, 7)  # 1.5 sigma apart: a Gaussian's sum is its integral to 3e-4
    away = np.stack([g.ravel() for g in np.meshgrid(*[steps] * dim, indexing="ij")], axis=-1)
    grid = points[0] + away @ root.T
    grid = grid[np.all((grid[:, :-2] >= 0) & (grid[:, :-2] <= 1), axis=1)]
    value = ln_sums(Work("", rows, entry.worker, grid, points[0, :-2])) + ln_prior(grid)
    cell = dim * np.log(steps[1] - steps[0]) + np.linalg.slogdet(root)[1]
    assert entry.ln_evidence == pytest.approx(logsumexp(value) + cell, abs=entry.error)


def test_doubled_uncertainties_are_those_of_the_pool_with_doubled_ones(rows_of):
    """On more rows than the first stage holds; the scatter has to move by many of its own widths."""
    rows = rows_of(700, kind="axis", sigma_deg=0.5, tau_deg=1.0)
    found = score_pool(rows).leader("distant-sphere")
    assert found.error < 0.1
    wide = score_pool(replace(rows, sigma_deg=2 * rows.sigma_deg), options=QUICK).leader("distant-sphere")
    # The normal approximation against draws of a stated error of about 0.05: no closer than a few tenths.
    assert found.doubled == pytest.approx(wide.ln_evidence, abs=0.3)


def test_flags_do_not_depend_on_how_many_rows_are_looked_into_together(rows_of, monkeypatch):
    rows = rows_of(60, flipped=(3, 20, 41), late_hours={7: 5.0, 30: -4.0})
    scores = score_pool(rows, options=QUICK)
    whole = flags_of(scores, "distant-sphere")
    assert sum(bool(flags) for flags in whole) >= 4
    monkeypatch.setattr(blunders, "_BAD_AT_ONCE", 2)
    assert [[f.kind for f in flags] for flags in flags_of(scores, "distant-sphere")] == [
        [f.kind for f in flags] for flags in whole
    ]

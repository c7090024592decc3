"""JSON keys, latitude, turn, nearest Sun, the report for people, and the command."""

import json
from dataclasses import replace

import numpy as np
import pytest
from whichsun.sim.cli.main import main
from whichsun.sim.compare.latitude import summarise, weighted_quantiles
from whichsun.sim.compare.report import latitude_lines, model_rows, nearest_lines, verdict_lines
from whichsun.sim.compare.scores import score_outing
from whichsun.sim.compare.turn import measured_turn, rule_of_thumb
from whichsun.sim.outing_file import write_outing


@pytest.fixture(scope="module")
def outing(request):
    from importlib.util import module_from_spec, spec_from_file_location

    spec = spec_from_file_location("compare_conftest", request.path.parent / "conftest.py")
    assert spec is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.draw_outing(np.random.default_rng(41), spots=24)


@pytest.fixture(scope="module")
def result(outing):
    return score_outing(outing)


def test_keys_of_the_json(result):
    document = result.to_json()
    assert {"kind", "model", "ln_bayes_factor", "words"} <= document["verdict"].keys()
    wanted = {
        "model", "variant", "ln_evidence", "ln_evidence_error", "chi2", "dof", "p_value", "aicc", "parameters",
        "matches", "residuals",
    }  # fmt: skip
    assert all(wanted <= row.keys() for row in document["models"])
    means = [row["model"] for row in document["models"] if row["variant"] is None]
    assert means == ["distant-sphere", "nearby-sphere", "nearby-plane"]
    named = ("rule_of_thumb_deg", "fitted_deg", "low95_deg", "high95_deg", "hemisphere", "given_deg")
    assert set(named) <= document["latitude"].keys()
    assert {"shot_a", "shot_b", "turn_deg", "sigma_deg", "spots_used", "mirrored"} <= document["turn"].keys()
    height = next(r for r in document["models"] if r["variant"] == "facing-pole")["parameters"]["height_km"]
    assert height.keys() == {"value", "sigma", "low95", "high95", "unit"}
    assert {row["ln_evidence_by"] for row in document["models"]} == {"importance"}
    assert document["drivers"][0].keys() >= {
        "kind",
        "shot",
        "id",
        "name",
        "ln_bayes_factor_without",
        "contribution",
    }
    assert [row["kind"] for row in document["robustness"]][:2] == ["as-scored", "uncertainties"]
    assert {row["face"] for row in document["needed"]} == {"facing-pole", "fixed", "spinning"}
    assert height["low95"] < height["value"] < height["high95"]


def test_latitude_is_found_with_its_hemisphere(result):
    latitude = result.latitude
    assert latitude.low95_deg < 47.0 < latitude.high95_deg
    assert abs(latitude.fitted_deg - 47.0) < 2
    assert latitude.hemisphere == "north"
    assert latitude.hemisphere_probability > 0.99


def test_southern_hemisphere(outing_of):
    south = outing_of(np.random.default_rng(42), site=(-33.0, 8.0), spots=24)
    from whichsun.sim.compare.data import data_of
    from whichsun.sim.compare.latitude import fit_latitude

    found = fit_latitude(data_of(south), "howard-1984", np.random.default_rng(1))
    assert found.hemisphere == "south"
    assert found.low95_deg < -33.0 < found.high95_deg


def test_residuals_are_small_and_named(result, outing):
    row = result.to_json()["models"][0]
    assert len(row["matches"]) >= 4
    assert all(np.isfinite([r["zx"], r["zy"]]).all() for r in row["residuals"])
    size = [np.hypot(r["dx"], r["dy"]) for r in row["residuals"]]
    assert np.sqrt(np.mean(np.square(size))) < 0.01
    names = {(shot.file, spot.id) for shot in outing.shots for spot in shot.spots}
    assert all((r["shot"], r["id"]) in names for r in row["residuals"])


def test_separation_adds_up(result):
    parts = result.separation
    whole = parts.rule_deg + parts.date_deg + parts.altitude_deg + parts.rotation_deg + parts.left_deg
    assert (whole - abs(result.turn.turn_deg) + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
    assert abs(parts.left_deg) < 4


def test_the_sun_is_not_near(result):
    assert result.nearest_km["nearby-sphere"] > 1e5


def test_report_reads_well(result):
    document = {**result.to_json(), "figure": None}
    text = "\n".join([*verdict_lines(document), *latitude_lines(document), *nearest_lines(document)])
    assert "favour distant-sphere over nearby-plane" in text
    assert "northern hemisphere" in text
    assert "Rule of thumb" in text
    assert all(len(row) == 8 for row in model_rows(document))


def test_turn_needs_no_geometry(outing):
    turn = measured_turn(outing)
    assert turn.turn_deg < 0  # clockwise in the north
    assert rule_of_thumb(turn.turn_deg) == pytest.approx(47, abs=4)


def test_two_regions_are_both_reported():
    degrees = np.concatenate([np.linspace(40, 42, 50), np.linspace(-11, -9, 50)])
    weight = np.concatenate([np.full(50, 0.7), np.full(50, 0.3)])
    found = summarise(degrees, weight)
    assert [round(region.fitted_deg) for region in found.regions] == [41, -10]
    assert found.regions[0].share == pytest.approx(0.7)
    assert found.hemisphere == "north"
    assert found.low95_deg < -9 < 41 < found.high95_deg


def test_weighted_quantiles_of_equal_weights():
    values = np.arange(1001.0)
    low, middle, high = weighted_quantiles(values, np.ones(1001), (0.025, 0.5, 0.975))
    assert (low, middle, high) == pytest.approx((25, 500, 975), abs=1)


def test_command_prints_one_json_object_and_draws(outing, tmp_path, capsys):
    path, figure = tmp_path / "outing.toml", tmp_path / "residuals.png"
    write_outing(outing, path)
    assert main(["score", str(path), "--json", "--figure", str(figure)]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "whichsun/score/1"
    assert document["verdict"]["kind"] == "favours"
    assert document["drivers"]
    assert document["site_band"] is None
    assert figure.stat().st_size > 10_000
    assert main(["score", str(path), "--figure", str(figure)]) == 2
    assert "--overwrite" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "spoil", "words"),
    [
        ([], lambda o: replace(o, shots=o.shots[:1]), "at least twice"),
        ([], lambda o: replace(o, shots=o.shots[::-1]), "later than"),
        ([], lambda o: replace(o, site=None), "site"),
        ([], lambda o: replace(o, shots=(replace(o.shots[0], spots=()), o.shots[1])), "no common spots"),
        ([], lambda o: replace(o, shots=(replace(o.shots[0], time_utc=None), o.shots[1])), "time_utc"),
        (["--model", "flat"], lambda o: o, "unknown model"),
        (["--set", "height_km=-3"], lambda o: o, "height_km"),
        (["--set", "heigth_km=3"], lambda o: o, "did you mean 'height_km'"),
        (["--map", "no-such-map"], lambda o: o, "no-such-map"),
        (["--rotation", "quick"], lambda o: o, "rotation law"),
    ],
)
def test_command_refuses_with_one_line(outing, tmp_path, capsys, arguments, spoil, words):
    path = tmp_path / "outing.toml"
    write_outing(spoil(outing), path)
    assert main(["score", str(path), *arguments]) == 2
    caught = capsys.readouterr()
    lines = [line for line in caught.err.splitlines() if line.startswith("whichsun: error:")]
    assert len(lines) == 1
    assert words in lines[0]
    assert caught.out == ""


def test_missing_file(tmp_path, capsys):
    assert main(["score", str(tmp_path / "none.toml")]) == 2
    assert "none.toml" in capsys.readouterr().err


def test_command_draws_the_site_and_leaves_the_drivers_out(outing, tmp_path, capsys):
    path, figure = tmp_path / "outing.toml", tmp_path / "site.png"
    write_outing(outing, path)
    assert main(["score", str(path), "--json", "--no-drivers", "--site-figure", str(figure)]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["drivers"] == []
    assert document["site_figure"] == str(figure)
    low, high = document["site_band"]["latitude_95_deg"]
    assert low < 47.0 < high
    assert figure.stat().st_size > 10_000


def test_a_site_that_cannot_be_drawn_is_refused_before_scoring(outing, tmp_path, capsys):
    path, figure = tmp_path / "outing.toml", tmp_path / "site.png"
    by_hand = tuple(replace(shot, mount="hand-held", roll_sigma_deg=None) for shot in outing.shots)
    write_outing(replace(outing, shots=by_hand), path)
    assert main(["score", str(path), "--site-figure", str(figure)]) == 2
    caught = capsys.readouterr()
    assert "level tripod" in caught.err
    assert caught.out == ""
    assert not figure.exists()

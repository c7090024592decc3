"""`pool`: keys, figure, export, resumed runs, text of strangers, one line for bad input; on a cluster too."""

from __future__ import annotations

import io
import json
import os
import signal
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from whichsun.sim.cli.main import main
from whichsun.sim.outing import Outing, OutingSite, Shot, Spot
from whichsun.sim.outing_file import write_outing
from whichsun.sim.pool import runner
from whichsun.sim.pool.reading import COLUMNS
from whichsun.sim.pool.scoring import PoolOptions, score_pool

EXAMPLE = Path(__file__).parents[3] / "scenarios" / "pool-distant-sphere.csv"


@pytest.fixture(scope="module")
def few(tmp_path_factory):
    """The head of the invented example, small enough to be quick."""
    path = tmp_path_factory.mktemp("pool") / "few.csv"
    lines = [line for line in EXAMPLE.read_text().splitlines() if not line.startswith("#")]
    path.write_text("\n".join(lines[:13]) + "\n")
    return path


def test_keys_figure_and_flags(few, tmp_path, capsys):
    figure = tmp_path / "pool.png"
    assert main(["pool", str(few), "--json", "--figure", str(figure)]) == 0
    got = json.loads(capsys.readouterr().out)
    assert got["schema"] == "whichsun/pool/1"
    assert {"models", "verdict", "submissions", "noise_deg", "offset_deg", "refused", "warnings"} <= set(got)
    assert len(got["submissions"]) == 12
    assert list(got["submissions"][0])[:3] == ["id", "source", "latitude_deg"]
    assert {"turn_deg", "fitted_latitude_deg", "best_model", "flags"} <= set(got["submissions"][0])
    flags = {one["id"]: [flag["kind"] for flag in one["flags"]] for one in got["submissions"]}
    assert "sign" in flags["inv-007"]
    row = got["models"][0]
    assert {"model", "variant", "ln_evidence", "ln_evidence_error", "chi2", "dof", "p_value", "aicc"} <= set(
        row
    )
    picture = Image.open(io.BytesIO(figure.read_bytes()))
    assert picture.width == 1600
    assert main(["pool", str(few), "--figure", str(figure)]) == 2
    assert "exists already" in capsys.readouterr().err


def test_text_of_strangers_is_shown_as_text(few, tmp_path, capsys):
    path = tmp_path / "evil.csv"
    path.write_text(few.read_text().replace("inv-007", "\x1b[31m[bold]=cmd[/bold]"))
    assert main(["pool", str(path)]) == 0
    out = capsys.readouterr().out
    assert "\x1b" not in out
    assert "[bold]=cmd[/bold]" in out
    assert "Look again" in out


def test_export_of_photos_names_nobody(tmp_path, capsys):
    def shot(file, time, x, y):
        return Shot(file, time, spots=(Spot(0, x, y, 0.004, 0.004, area_msh=100.0, darkness=0.5),))

    shots = (
        shot("holiday-at-home.jpg", "2024-03-25T06:40:00Z", 0.3, 0.45),
        shot("grandma.jpg", "2024-03-25T17:20:00Z", 0.5, -0.2),
    )
    path, out = tmp_path / "my-name.toml", tmp_path / "row.csv"
    write_outing(Outing(OutingSite(47.123456, 8.654321), shots), path)
    assert main(["pool", "--export", str(path), "--out", str(out)]) == 0
    text = out.read_text()
    for secret in ("holiday", "grandma", "my-name", "whichsun", "123456", "654321"):
        assert secret not in text
    head, row = text.splitlines()
    assert head.split(",")[: len(COLUMNS)] == list(COLUMNS)
    assert row.split(",")[1:3] == ["47.1", "8.7"]
    assert main(["pool", "--export", str(path), "--json"]) == 0
    capsys.readouterr()
    assert main(["pool", "--export", str(path)]) == 0
    assert capsys.readouterr().out.startswith("id,latitude_deg")


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["pool"], "must be given"),
        (["pool", "nowhere.csv"], "nowhere.csv"),
        (["pool", str(EXAMPLE), "--export", "x.toml"], "one of the two"),
        (["pool", str(EXAMPLE), "--out", "x.csv"], "--export"),
        (["pool", str(EXAMPLE), "--model", "nearby-plain"], "nearby-plain"),
        (["pool", str(EXAMPLE), "--rotation", "howard-1985"], "howard-1984"),
        (["pool", "--export", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_one_line_for_bad_input(arguments, word, capsys):
    assert main(arguments) == 2
    error = capsys.readouterr().err.strip()
    assert word in error
    assert len(error.splitlines()) == 1


def test_duplicates_can_be_dropped(few, tmp_path, capsys):
    path = tmp_path / "twice.csv"
    lines = few.read_text().splitlines()
    path.write_text("\n".join([*lines, lines[1]]) + "\n")
    assert main(["pool", str(path), "--json", "--drop-duplicates"]) == 0
    got = json.loads(capsys.readouterr().out)
    assert got["counts"]["angles"] == 12
    assert got["refused"][0]["reason"] == "repeats an earlier row"


def test_no_scheduler_there(capsys):
    pytest.importorskip("distributed")
    assert main(["pool", str(EXAMPLE), "--scheduler", "nonsense"]) == 2
    assert "scheduler" in capsys.readouterr().err


@pytest.mark.slow
def test_same_digits_on_a_cluster_with_a_worker_killed(rows_of, dask_cluster, monkeypatch):
    monkeypatch.setattr(runner, "ROWS_AT_ONCE", 40)
    rows = rows_of(120)
    alone = score_pool(rows, options=PoolOptions(check=False))
    address, workers = dask_cluster
    killed, seen = [], []

    def progress(done, of, words):
        if not killed and words.startswith("scoring angles") and done >= 2 and len(seen) > 3:
            killed.append(workers[0].pid)
            os.kill(workers[0].pid, signal.SIGKILL)
        seen.append(done)

    options = PoolOptions(check=False, scheduler=address, progress=progress)
    there = score_pool(rows, options=options)
    assert killed
    assert workers[0].wait(timeout=10) == -signal.SIGKILL
    assert [m.ln_evidence for m in there.models] == [m.ln_evidence for m in alone.models]
    for name, details in alone.details.items():
        assert np.array_equal(details, there.details[name], equal_nan=True)

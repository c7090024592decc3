"""The demo's refusals and its words; that its chain works is shown by the check run, from the wheel."""

import json

from whichsun.sim.cli.main import main
from whichsun.sim.safety import CAUTIONS


def test_a_folder_with_something_in_it_is_refused(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("keep")
    assert main(["demo", "--output", str(tmp_path)]) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert "exists already" in captured.err
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_a_file_in_its_place_is_refused(tmp_path, capsys):
    (tmp_path / "mine.txt").write_text("keep")
    assert main(["demo", "--output", str(tmp_path / "mine.txt"), "--overwrite"]) == 2
    assert "must be a folder" in capsys.readouterr().err
    assert (tmp_path / "mine.txt").read_text() == "keep"


def test_whole_demo(tmp_path, capsys, monkeypatch):
    # One pair through the whole chain, by the command, to JSON: the winner made the photos.
    from whichsun.sim import demo

    monkeypatch.setattr(demo, "SCENARIOS", demo.SCENARIOS[:1])
    assert main(["demo", "--output", str(tmp_path / "d"), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["schema"] == "whichsun/demo/1"
    assert result["cautions"] == list(CAUTIONS)
    (pair,) = result["pairs"]
    assert pair["verdict"]["kind"] == "favours"
    assert pair["verdict"]["model"] == pair["true_model"] == "distant-sphere"
    # the site is 46.5 N; the camera was rolled by 0.35 and -0.25 deg, which the interval covers
    assert pair["latitude"]["low95_deg"] < 46.5 < pair["latitude"]["high95_deg"]


def test_an_unwritable_place_is_one_line(tmp_path, capsys):
    (tmp_path / "file").write_text("keep")
    assert main(["demo", "--output", str(tmp_path / "file" / "below")]) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1

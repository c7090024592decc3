"""The command `report`: files, JSON, refusals; and the PDF."""

import datetime as dt
import json
import re
import shutil
import subprocess
import zlib

import pytest
from whichsun.sim.cli.main import main
from whichsun.sim.report.pdf import pdf_of


@pytest.fixture
def outing(outing_file, tmp_path):
    """A copy of the outing's folder, for outputs beside it."""
    folder = tmp_path / "outing"
    shutil.copytree(outing_file.parent, folder)
    return folder / "outing.toml"


def test_both_files_and_the_numbers_behind_them(outing, tmp_path, capsys):
    (outing.parent / "sub" / "sunset.jpg").unlink()
    pdf = tmp_path / "report.pdf"
    assert main(["report", str(outing), "--pdf", str(pdf), "--no-drivers", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["schema"] == "whichsun/report/1"
    page = outing.with_name("outing.report.html")
    assert result["report"] == str(page)
    assert page.stat().st_size == result["report_bytes"]
    assert pdf.read_bytes().startswith(b"%PDF")
    assert result["site"] == {"latitude_deg": 46.5, "longitude_deg": -30.3}
    assert result["photos_not_shown"] == ["sunset.jpg: is not there"]
    assert result["verdict"]["model"] == "distant-sphere"
    assert result["turn"]["turn_deg"] < 0  # clockwise in the north


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["-o", "taken.html"], "exists already"),
        (["-o", "report.txt"], "ends in .html"),
        (["--pdf", "report.html"], "ends in .pdf"),
        (["--model", "no-such-model"], "unknown model"),
    ],
)
def test_refusals_are_one_line_and_leave_nothing(outing, capsys, monkeypatch, arguments, words):
    monkeypatch.chdir(outing.parent)
    (outing.parent / "taken.html").write_text("mine")
    before = sorted(path.name for path in outing.parent.iterdir())
    assert main(["report", outing.name, *arguments]) == 2
    captured = capsys.readouterr()
    assert captured.err.count("\n") == 1
    assert words in captured.err
    assert sorted(path.name for path in outing.parent.iterdir()) == before
    assert (outing.parent / "taken.html").read_text() == "mine"


@pytest.fixture(scope="module")
def pdf(document_of, tmp_path_factory):
    document, _ = document_of()
    path = tmp_path_factory.mktemp("pdf") / "report.pdf"
    path.write_bytes(pdf_of(document, dt.datetime(2027, 4, 19, tzinfo=dt.UTC)))
    return path


def test_pdf_is_a4_and_runs_nothing(pdf):
    data = pdf.read_bytes()
    # A4, ISO 216: 210 mm by 297 mm; a point is 1/72 inch of 25.4 mm; fpdf2 writes two decimals.
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", data)
    assert boxes
    assert {(float(wide), float(tall)) for wide, tall in boxes} == {(595.28, 841.89)}
    parts = [data]
    for stream in re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL):
        try:
            parts.append(zlib.decompress(stream))
        except zlib.error:
            continue
    for part in parts:
        for word in (b"/JavaScript", b"/Launch", b"/URI", b"Exif\x00", b"GPSLat"):
            assert word not in part
    assert data.count(b"/Alt ") >= 8  # every picture has words


def test_pdf_text_can_be_read_again(pdf, document_of):
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here (Debian: apt install poppler-utils)")
    told = subprocess.run(["pdftotext", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    told = " ".join(told.split())
    for words in ("The photos favour distant-sphere", "Never look through an optical viewfinder",
                  "46.5° N, 30.3° W", "What to keep in mind", "SHA-256"):  # fmt: skip
        assert words in told
    assert "46.52" not in told
    document, _ = document_of()
    for section in document.sections:
        assert section.title in told

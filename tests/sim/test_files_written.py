"""Files written whole: what cannot be written is told by its own name, and nothing is left behind."""

from __future__ import annotations

import pytest
from whichsun.sim.files import write_whole


def test_a_folder_where_the_file_should_be(tmp_path):
    (tmp_path / "sheet.pdf").mkdir()
    with pytest.raises(IsADirectoryError, match="in a folder that can be written to") as caught:
        write_whole(tmp_path / "sheet.pdf", b"x")
    assert caught.value.filename == str(tmp_path / "sheet.pdf")
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.pdf"]


def test_a_file_where_a_folder_should_be(tmp_path):
    (tmp_path / "notes").write_text("mine")
    with pytest.raises(OSError, match="name a file") as caught:
        write_whole(tmp_path / "notes" / "sheet.pdf", b"x")
    assert caught.value.filename == str(tmp_path / "notes" / "sheet.pdf")
    assert (tmp_path / "notes").read_text() == "mine"

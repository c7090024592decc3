"""The grid of what a photo does not show: text and back, places in it, and its part in the outing file."""

import numpy as np
import pytest
from whichsun.models.errors import TomlError
from whichsun.sim.hidden import CELLS, cell_middles, hidden_grid, hidden_text, is_hidden
from whichsun.sim.outing import Outing, Shot
from whichsun.sim.outing_file import merge_outing, outing_text, read_outing

LOWER = np.broadcast_to(cell_middles()[1] < -0.2, (CELLS, CELLS))


def test_text_and_back():
    text = hidden_text(LOWER)
    assert text is not None
    assert text.count("\n") == CELLS
    inside = np.hypot(*cell_middles()) < 1
    np.testing.assert_array_equal(hidden_grid(text), LOWER & inside)
    assert hidden_text(np.zeros((CELLS, CELLS), bool)) is None
    assert hidden_text(~inside) is None  # nothing of the disc


def test_places():
    grid = np.zeros((CELLS, CELLS), bool)
    grid[0, 20] = True  # y 0.95 to 1, x 0 to 0.05
    x, y = np.array([0.01, 0.04, 0.06, 0.01, -0.01]), np.array([0.96, 0.999, 0.96, 0.94, 0.96])
    assert is_hidden(grid, x, y).tolist() == [True, True, False, False, False]
    assert not is_hidden(grid, np.array([np.inf, -7.0]), np.array([0.0, 0.0])).any()


def test_outing_file(tmp_path):
    outing = Outing(None, (Shot("a.jpg", hidden=hidden_text(LOWER), limb_hidden_deg=(101.5, 258.5)),))
    path = tmp_path / "o.toml"
    path.write_text(outing_text(outing))
    assert read_outing(path) == outing
    assert 'hidden = """\n' in path.read_text()
    whole = Outing(None, (Shot("a.jpg"),))
    assert "hidden" not in merge_outing(path.read_text(), whole)  # measured anew, nothing in the way
    again = merge_outing(outing_text(whole), outing)
    path.write_text(again)
    assert read_outing(path) == outing


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("....\n", "..x.\n", r"shot\[1\]\.hidden.*line 1"),
        ("    ........\n", "", r"expected 40 lines, got 39"),
        ("258.5]", "258.5, 3]", r"limb_hidden_deg.*pairs"),
        (
            "\n........................................\n",
            "\n" + 41 * "." + "\n",
            r"at most 40 of the marks.*line 17",
        ),
    ],
)
def test_spoilt_files(tmp_path, old, new, words):
    outing = Outing(None, (Shot("a.jpg", hidden=hidden_text(LOWER), limb_hidden_deg=(101.5, 258.5)),))
    path = tmp_path / "o.toml"
    text = outing_text(outing)
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(TomlError, match=words):
        read_outing(path)

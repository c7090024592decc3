"""Scenes in space: drawn where the libraries are, told in words where they are not."""

import pytest
from whichsun.models.errors import MissingLibraryError
from whichsun.sim.report import space


def test_the_two_contestants_are_shown(scored):
    pytest.importorskip("pyvista", reason="scenes need pyvista (the extra 'scene')")
    pictures, problem = space.space_pictures(scored, 0.1)
    if problem:
        pytest.skip(problem)
    (picture,) = pictures
    assert "distant-sphere" in picture.alt
    assert "nearby-plane" in picture.alt
    assert picture.narrow is not None
    assert picture.narrow.size_px[1] > picture.narrow.size_px[0]  # one below the other


def test_a_missing_library_is_told_in_words(scored, monkeypatch):
    def missing(*_, **__):
        raise MissingLibraryError("pyvista", "scenes in space", "pip install 'whichsun[scene]'")

    monkeypatch.setattr(space, "draw_scenes", missing)
    pictures, problem = space.space_pictures(scored, 0.1)
    assert pictures == []
    assert problem.startswith("No scenes in space: 'pyvista' is needed")

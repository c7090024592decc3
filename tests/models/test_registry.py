"""Finding models by name and in a person's own file."""

import importlib.metadata

import pytest
from whichsun.models import registry
from whichsun.models.errors import InputError, UnknownNameError


def test_built_in_names():
    assert registry.model_names()[:4] == ["distant-sphere", "nearby-sphere", "nearby-plane", "distant-plane"]


def test_unknown_name_lists_the_known():
    with pytest.raises(UnknownNameError, match="did you mean 'nearby-plane'"):
        registry.get_model("nearby-plan")


@pytest.mark.parametrize(
    ("text", "class_name", "words"),
    [
        (None, "Anything", "existing file"),
        ("x = 1", "Anything", "no class 'Anything'"),
        ("raise RuntimeError('broken')", "Anything", "cannot be run"),
        ("class Anything: pass", "Anything", "must have name, summary"),
        ("class Anything:\n    def __init__(self, a): pass", "Anything", "without arguments"),
    ],
)
def test_wrong_files(tmp_path, text, class_name, words):
    path = tmp_path / "mine.py"
    if text is not None:
        path.write_text(text)
    with pytest.raises(InputError, match=words):
        registry.get_model(f"{path}:{class_name}")


@pytest.fixture
def entry_point(monkeypatch):
    """Pretend that another package offers a model under `name`."""

    def offer(name):
        entry = importlib.metadata.EntryPoint(
            name, "whichsun.models.distant_sphere:DistantSphere", registry.ENTRY_POINT_GROUP
        )
        monkeypatch.setattr(importlib.metadata, "entry_points", lambda group: [entry])
        registry._factories.cache_clear()

    yield offer
    monkeypatch.undo()
    registry._factories.cache_clear()


def test_entry_point_of_another_package(entry_point):
    entry_point("another-sphere")
    assert "another-sphere" in registry.model_names()
    assert registry.get_model("another-sphere").name == "distant-sphere"


def test_a_taken_name_is_refused(entry_point):
    entry_point("nearby-plane")
    with pytest.raises(InputError, match="taken twice"):
        registry.get_model("distant-sphere")

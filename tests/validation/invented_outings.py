"""The drawing of outings that the tests of the comparison use, for the scripts here."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType


def invented_outings() -> ModuleType:
    """The module, loaded from the tests' folder."""
    path = Path(__file__).parents[1] / "sim" / "compare" / "conftest.py"
    spec = importlib.util.spec_from_file_location("invented_outings", path)
    if spec is None or spec.loader is None:
        raise FileNotFoundError(path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module

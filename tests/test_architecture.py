"""The house's one rule (models <- render <- sim), its imports, its size, and what stands at the top."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
ROOMS = ("models", "render", "sim")
SOURCES = [path for room in ROOMS for path in sorted((ROOT / room).rglob("*.py"))]
ALLOWED = {"models": {"models"}, "render": {"models", "render"}, "sim": set(ROOMS)}
HEAVY = {"numpy", "scipy", "astropy", "erfa", "matplotlib", "pyproj", "PIL", "rich", "tomlkit"}
HEAVY_ROOMS = {"models", "render", "sim"}


def imports_of(path, top_level_only=False):
    """Absolute names that a file imports, relative ones resolved from the repository's root."""
    package = path.relative_to(ROOT).parent.parts
    tree = ast.parse(path.read_text())
    nodes = tree.body if top_level_only else ast.walk(tree)
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            stem = ".".join([*base, *(node.module or "").split(".")]).strip(".")
            yield stem
            yield from (f"{stem}.{alias.name}".strip(".") for alias in node.names)


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_run_one_way_and_are_relative(path):
    room = path.relative_to(ROOT).parts[0]
    for name in imports_of(path):
        assert not name.startswith("whichsun"), f"{name}: write a relative import inside the package"
        head = name.split(".")[0]
        if head in ROOMS:
            assert head in ALLOWED[room], f"{path.name} imports {name}: imports run models <- render <- sim"
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.ImportFrom) and not node.level:
            assert (node.module or "").split(".")[0] not in ROOMS, "a bare import would load the module twice"


@pytest.mark.parametrize("path", sorted((ROOT / "sim" / "cli").glob("*.py")), ids=lambda p: p.name)
def test_commands_start_light(path):
    # `whichsun --help` imports every command's file: nothing heavy may stand at their top level, directly or
    # through our own modules other than the errors and the command line's own.
    for name in imports_of(path, top_level_only=True):
        head = name.split(".")[0]
        assert head not in HEAVY
        if head in HEAVY_ROOMS and not name.startswith(("sim.cli", "models.errors")):
            assert name.startswith(("sim.safety", "sim.files")) or name in {"sim", "models"}, (
                f"import {name} inside the command"
            )


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_files_stay_readable(path):
    assert len(path.read_text().splitlines()) <= 420, "cut the file: about 400 lines are the limit"


def test_tests_import_the_installed_names():
    for path in (ROOT / "tests").rglob("*.py"):
        assert not re.search(r"^(from|import) (models|render|sim)\b", path.read_text(), re.MULTILINE), path


def test_top_level_of_the_repository():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode or not listed.stdout:
        pytest.skip("no git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    fixed = {"pyproject.toml", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE"}
    rooms = {"models", "render", "sim", "tests", "scenarios"}
    assert {name for name in top if not name.startswith(".")} <= fixed | rooms

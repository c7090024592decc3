"""The built wheel holds what the tree holds: an unlisted folder would go missing silently."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel_names(tmp_path_factory):
    """File names in a wheel built from this tree."""
    out = tmp_path_factory.mktemp("wheel")
    source = tmp_path_factory.mktemp("source") / "tree"
    import shutil

    ignore = shutil.ignore_patterns(".git", ".venv*", "*.egg-info", "build", "dist", "__pycache__", "tests")
    shutil.copytree(ROOT, source, ignore=ignore)
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(source)]
    built = subprocess.run(command, capture_output=True, text=True, check=False)
    assert built.returncode == 0, built.stderr[-2000:]
    (wheel,) = out.glob("*.whl")
    return set(zipfile.ZipFile(wheel).namelist())


def test_wheel_equals_tree(wheel_names):
    expected = set()
    for room in ("models", "render", "sim"):
        expected |= {f"whichsun/{p.relative_to(ROOT)}" for p in (ROOT / room).rglob("*.py")}
    for pattern in ("*.py", "*.toml"):
        expected |= {f"whichsun/{p.relative_to(ROOT)}" for p in (ROOT / "scenarios").glob(pattern)}
    inside = {name for name in wheel_names if not name.split("/")[0].endswith(".dist-info")}
    assert inside == expected


def test_wheel_carries_licence_and_command(wheel_names):
    assert any(name.endswith("licenses/LICENSE") for name in wheel_names)
    assert any(name.endswith("entry_points.txt") for name in wheel_names)

"""Make the README's pictures again: python scenarios/gallery/make.py

Everything comes from the invented scenarios with a fixed seed: the same numbers as `whichsun demo`. calibration.png is
made by tests/validation/calibration.py.
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from whichsun.sim.cli.main import main
from whichsun.sim.demo import run_demo

HERE = Path(__file__).parent
FROM_DEMO = {
    "distant-sphere-pair/outing.pair.png": "pair-distant-sphere.png",
    "distant-sphere-pair/sunrise.overlay.png": "overlay.png",
    "distant-sphere-pair/curves.png": "curves-distant-sphere.png",
    "distant-sphere-pair/residuals.png": "residuals-distant-sphere.png",
    "nearby-plane-pair/outing.pair.png": "pair-nearby-plane.png",
    "nearby-plane-pair/residuals.png": "residuals-nearby-plane.png",
}
DISCS = {
    "disc-stripes.png": ["--surface", "stripes"],
    "disc-grid.png": ["--surface", "grid"],
}
PLACE_AND_TIME = ["--model", "distant-sphere", "--site", "46.5,-30", "--at", "2027-04-18T07:30:00Z"]
SPOTS = ["--spot", "14,150,220", "--spot", "-12,176,300"]


OTHERS = {
    "scene.png": ["scene", "--site", "46.5,-30", "--date", "2027-04-18", "--width", "1400", "--output"],
    "day.png": ["day", "--site", "46.5,-30", "--date", "2027-04-18", "--output"],
    "tracks.png": ["day", "--site", "46.5,-30", "--date", "2027-04-18", "--tracks"],
    "plan-discs.png": [
        "plan", "--site", "46.5,-30", "--dates", "2027-04-18", "--evidence", "none", "--zone", "UTC-2",
        "--regions", str(HERE.parent / "regions-2027-04-17.txt"), "--discs",
    ],
    "pool.png": [
        "pool", str(HERE.parent / "pool-distant-sphere.csv"),
        "--title", "49 invented turns on every model's curve", "--figure",
    ],
}  # fmt: skip


def make() -> None:
    """Write all pictures into this folder."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "demo"
        run_demo(folder)
        for source, name in FROM_DEMO.items():
            shutil.copyfile(folder / source, HERE / name)
    for name, extra in DISCS.items():
        draw(name, ["render", *PLACE_AND_TIME, *SPOTS, "--size", "600x600", *extra, "--output"])
        (HERE / name).with_suffix(".truth.json").unlink()
    for name, arguments in OTHERS.items():
        draw(name, arguments)


def draw(name: str, arguments: list[str]) -> None:
    """Write one picture by a command that ends in the option for it."""
    if main([*arguments, str(HERE / name), "--overwrite"]):
        raise SystemExit(f"{name} could not be drawn")


if __name__ == "__main__":
    make()

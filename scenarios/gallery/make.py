"""Make the README's pictures again: python scenarios/gallery/make.py

Everything comes from the invented scenarios with a fixed seed: the same numbers as `whichsun demo`.
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


def make() -> None:
    """Write all pictures into this folder."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "demo"
        run_demo(folder)
        for source, name in FROM_DEMO.items():
            shutil.copyfile(folder / source, HERE / name)
    for name, extra in DISCS.items():
        arguments = ["render", *PLACE_AND_TIME, *SPOTS, "--size", "600x600", "--overwrite"]
        if main([*arguments, *extra, "--output", str(HERE / name)]):
            raise SystemExit(f"{name} could not be drawn")


if __name__ == "__main__":
    make()

"""The whole chain on the invented scenarios: draw two pairs of photos, measure them blind, score both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import numpy as np

from ..models.errors import InputError, OutputExistsError
from .compare.contest import Options
from .compare.figure import residuals_png
from .compare.scores import Scores, score_outing
from .files import write_whole
from .forward import photograph
from .outing_file import read_outing
from .photo.measure import Measured, measure_photos
from .photo.record import check_outputs, record
from .report.curves import turn_curves
from .scenario import Scenario, read_scenario

SCENARIOS = ("distant-sphere-pair.toml", "nearby-plane-pair.toml")

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class DemoPair:
    """One invented pair after the whole chain.

    `files` are paths as they were written, photos first.
    """

    scenario: Scenario
    measured: Measured
    scores: Scores
    files: tuple[Path, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain data for the command `demo`."""
        return {
            "scenario": self.scenario.name,
            "invented": True,
            "true_model": self.scenario.model.name,
            **self.scores.to_json(),
            "files": [str(path) for path in self.files],
        }


def run_demo(
    folder: Path, *, seed: int = 1, overwrite: bool = False, progress: Progress = lambda done, of, words: None
) -> list[DemoPair]:
    """Run every scenario through the chain into a folder of its own below `folder`.

    Parameters
    ----------
    folder : Path
    seed : int
        Of the cameras' noise and of the scoring's random draws.
    overwrite : bool
        Without it a folder that holds anything is refused.
    progress : callable
        Called with (done, of, words).

    Raises
    ------
    OutputExistsError
        `folder` is there already and not empty.
    """
    if folder.exists() and not folder.is_dir():
        raise InputError("--output", "must be a folder or a new name", str(folder))
    if folder.exists() and not overwrite and any(folder.iterdir()):
        raise OutputExistsError(folder)
    steps = 4 * len(SCENARIOS)
    pairs = []
    for number, name in enumerate(SCENARIOS):

        def step(local: int, words: str, first: int = 4 * number) -> None:
            progress(first + local, steps, words)

        with as_file(files("whichsun.scenarios") / name) as path:
            scenario = read_scenario(path)
        pairs.append(_run_pair(scenario, folder / scenario.name, [seed, number], overwrite, step))
    progress(steps, steps, "done")
    return pairs


def _run_pair(
    scenario: Scenario, folder: Path, seed: list[int], overwrite: bool, step: Callable[[int, str], None]
) -> DemoPair:
    step(0, f"{scenario.name}: taking the invented photos")
    rng = np.random.default_rng(seed)
    photos = photograph(scenario, folder, rng, overwrite, seed=seed[0])
    step(1, f"{scenario.name}: measuring them blind")
    outing_path = folder / "outing.toml"
    overlays = check_outputs(photos, outing_path, overwrite)
    measured = measure_photos(photos, names=[photo.name for photo in photos])
    pair = record(measured, outing_path, overlays, overwrite=overwrite)
    step(2, f"{scenario.name}: scoring every geometry")
    scores = score_outing(read_outing(outing_path), [], Options(seed=seed[0]))
    step(3, f"{scenario.name}: drawing")
    curves = turn_curves(scores)
    assert curves is not None  # a scenario has two photos or more
    pictures = {
        "residuals.png": residuals_png(scores),
        "curves.png": curves.png(),
    }
    for name, picture in pictures.items():
        write_whole(folder / name, picture)
    made = [*photos, folder / "truth.json", outing_path, *overlays]
    made += [path for path in (pair, *(folder / name for name in pictures)) if path is not None]
    return DemoPair(scenario, measured, scores, tuple(made))

"""The whole chain on the invented scenarios: draw two pairs of photos, measure them blind, score both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import numpy as np

from ..models.errors import InputError, OutputExistsError
from ..models.geometry import view_of
from ..models.observables import unproject
from ..models.place import Instants, Site
from ..models.registry import get_model
from ..render.curves import draw_sweep
from ..render.style import save_png
from .compare.contest import DEFAULT_MODELS, Options
from .compare.figure import residuals_png
from .compare.scores import Scores, score_outing
from .files import write_whole
from .forward import photograph
from .outing_file import read_outing
from .photo.measure import Measured, measure_photos
from .photo.record import check_outputs, record
from .rotation import DEFAULT_LAW, rotation_law
from .scenario import Scenario, read_scenario
from .sweeping import SweepTimes, sweep
from .turns import pattern_turn

SCENARIOS = ("distant-sphere-pair.toml", "nearby-plane-pair.toml")
_LATITUDES_DEG = np.arange(-66.0, 67.0, 2.0)

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
    pictures = {
        "residuals.png": residuals_png(scores),
        "curves.png": curves_png(scores),
    }
    for name, picture in pictures.items():
        write_whole(folder / name, picture)
    made = [*photos, folder / "truth.json", outing_path, *overlays]
    made += [path for path in (pair, *(folder / name for name in pictures)) if path is not None]
    return DemoPair(scenario, measured, scores, tuple(made))


def expected_turns(scores: Scores, ends: Instants) -> dict[str, float]:
    """For each model, at its defaults, the turn (degrees) of the very spots whose turn was measured."""
    x, y = np.array(scores.turn.used).reshape(-1, 2).T
    days = float(ends.utc_days[1] - ends.utc_days[0])
    turns = {}
    for name in DEFAULT_MODELS:
        view = view_of(get_model(name), ends, scores.data.site)
        turn = pattern_turn(view[0], view[1], days, rotation_law(DEFAULT_LAW), unproject(view[0], x, y)).turn
        turns[name] = float(np.rad2deg(turn))
    return turns


def curves_png(scores: Scores) -> bytes:
    """Turn against latitude of the contest's models between the very times of the first and last shot."""
    site = scores.data.site
    ends = Instants.from_utc([scores.outing.shots[i].time_utc or "" for i in (0, -1)])
    places = Site(_LATITUDES_DEG, float(site.longitude_deg), float(site.height_m))
    pair = ends[np.broadcast_to([0, 1], (len(_LATITUDES_DEG), 2))]
    times = SweepTimes(places, pair, np.ones(len(_LATITUDES_DEG), dtype=bool))
    law = rotation_law(DEFAULT_LAW)
    rows = {name: sweep(get_model(name), times, law=law) for name in DEFAULT_MODELS}
    point = None
    if scores.turn.turn_deg is not None:
        point = {
            "latitude_deg": float(site.latitude_deg),
            "turn_deg": scores.turn.turn_deg,
            "sigma_deg": scores.turn.sigma_deg or 0.0,
            "expected": expected_turns(scores, ends),
        }
    first, last = (text[:16].replace("T", " ") for text in ends.iso())
    subtitle = f"{first} to {last[11:]} UTC, longitude {float(site.longitude_deg):g} E"
    artists: Any = draw_sweep(rows, point, subtitle=subtitle)
    return save_png(artists[0].get_figure(root=True), 1200, 900)

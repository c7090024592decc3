"""One small invented example of every figure, without ephemeris or network: name -> figure or picture.

``python tests/render/figure_cases.py [NAME...]`` draws the baselines of ``test_figures_stay.py`` anew (all, or
those named) after a change that is meant; look at them first. Without a screen it needs no more than the tests.
"""

from __future__ import annotations

import datetime as dt
import importlib.util
import io
import sys
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from whichsun.render import (
    blank_disc,
    curves,
    day_curves,
    overlay,
    pooled,
    region_discs,
    residuals,
    separation_map,
    site_band,
    tracks,
)
from whichsun.render.style import new_figure, save_png, styled
from whichsun.sim.report import pictures as report_pictures
from whichsun.sim.report.curves import TurnCurves

_spec = importlib.util.spec_from_file_location("picture_cases", Path(__file__).with_name("picture_cases.py"))
assert _spec is not None
assert _spec.loader is not None
pictures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(pictures)

STORED = Path(__file__).parents[1] / "data" / "render" / "figures"
WIDTH_PX = 504  # 48 pixels an inch: small files, and type of 10 points can just be read
NAMES, TITLE = pictures.NAMES, pictures.TITLE

LATITUDES = np.arange(-66.0, 67.0, 3.0)


def _rows(offset: float = 0.0, slope: float = 1.0, far: float = 66.0) -> list[dict]:
    """Turns through half a turn near the equator; inside out south of 40 degrees, none beyond `far`."""
    rows = []
    for latitude in LATITUDES:
        turn = (offset - 180 + 2 * slope * latitude + 180) % 360 - 180
        known = abs(latitude) <= far
        rows.append(
            {
                "latitude_deg": latitude,
                "pattern_turn_deg": turn if known else None,
                "pattern_visible_fraction": 0.6 + 0.3 * slope * np.cos(np.deg2rad(latitude))
                if known
                else None,
                "pattern_scatter": 1.0 if slope < 1 and latitude < -40 else 0.1,
            }
        )
    return rows


def _by_model(shift: float = 0.0) -> dict[str, list[dict]]:
    sets = ((0.0, 1.0), (35.0, 0.6), (4.0, 1.0), (170.0, 0.1))
    return {name: _rows(offset + shift, slope) for name, (offset, slope) in zip(NAMES, sets, strict=True)}


_POINTS = [
    {"latitude_deg": 46.0, "turn_deg": -88.0, "sigma_deg": 6.0, "date": "2027-03-20"},
    {"latitude_deg": -30.0, "turn_deg": 118.0, "sigma_deg": 5.0},
]


def sweep() -> Figure:
    one = {**_POINTS[0], "expected": dict(zip(NAMES, (-90.0, -60.0, -84.0, 170.0), strict=True))}
    return curves.draw_sweep(_by_model(), one, subtitle=TITLE)[0].figure


def sweep_of_dates() -> Figure:
    dates = ("2027-03-20", "2027-06-21", "2027-12-21")
    by_date = {date: _by_model(12.0 * k) for k, date in enumerate(dates)}
    return curves.draw_sweep_dates(by_date, _POINTS, subtitle=TITLE)[0].figure


def pool() -> Figure:
    rng = np.random.default_rng(8)
    panels = []
    for name, rows in list(_by_model().items())[:2]:
        panels.append(
            {
                "model": name,
                "rows": rows,
                "words": "40 invented submissions",
                "latitude_deg": rng.uniform(-60, 60, 40),
                "residual_deg": rng.normal(0, 6, 40),
                "suspect": np.arange(40) % 13 == 5,
                "averaged": np.arange(40) % 3 == 0,
            }
        )
    return pooled.draw_pool(panels, subtitle=TITLE)[0].figure


def map_of_the_year() -> Figure:
    dates = tuple(dt.date(2027, month, day) for month in range(1, 13) for day in (5, 20))
    latitude, day = np.linspace(-70, 70, 29), np.arange(len(dates))
    separation = 45 * np.abs(np.sin(np.deg2rad(latitude)))[:, None] ** 2 * (1 + np.cos(day / 4)) / 2
    separation[np.abs(latitude) > 66] = np.where(np.abs(day - 12) < 4, np.nan, 3.0)
    scatter = np.where((latitude < -20)[:, None] & (day > 6) & (day < 18), 1.1, 0.2)
    made = separation_map.SeparationMap((NAMES[0], NAMES[1]), latitude, dates, 2.0, separation, scatter)
    return separation_map.draw_separation_map(made, subtitle=TITLE)[0].figure


def _day_curves() -> list[day_curves.DayCurve]:
    hours = np.linspace(6, 20, 57)
    made = []
    for k, name in enumerate(NAMES):
        phase = np.pi * (hours - 6 + 0.3 * k) / 14
        high, near = (55 - 6 * k) * np.sin(phase), k % 2
        between = (hours[1:] + hours[:-1]) / 2
        rate = -18 * np.exp(-((between - 13 + 0.3 * k) ** 2) / (6 + 3 * k))
        made.append(
            day_curves.DayCurve(
                name,
                hours,
                high,
                180 + 15 * (hours - 13),
                32 - 14 * near * (1 - np.sin(phase)),
                between,
                rate,
            )
        )
    return made


def curves_of_a_day() -> Figure:
    words = "An invented day, in two lines of small words so that their place is held too, for a camera that stands "
    return day_curves.draw_day_curves(_day_curves(), title=TITLE, subtitle=f"{words} level.")[0].figure


def turn_rate_over_a_day() -> Figure:
    return day_curves.draw_day_curve(_day_curves()[:2], "turn-rate")[0].figure


def site_map() -> Figure:
    latitude, longitude = np.linspace(-20, 20, 81), np.linspace(150, 190, 81)
    density = np.exp(-0.5 * ((latitude[:, None] - 3) ** 2 / 4 + (longitude[None] - 172) ** 2 / 30))
    made = {
        "latitude_deg": latitude, "longitude_deg": longitude, "density": density, "step_deg": 0.5,
        "levels": (0.32, 0.05), "given_deg": (4.0, 174.0),
    }  # fmt: skip
    return site_band.draw_site_band(made)[0].figure


def _photo(light: int = 190) -> np.ndarray:
    row, column = np.mgrid[:300, :420]
    inside = ((column - 200) / 100) ** 2 + ((row - 150) / 90) ** 2 < 1
    grey = np.where(inside, light, 22).astype(np.uint8)
    return np.repeat(grey[..., None], 3, axis=-1)


_SHOT = {
    "centre_px": (200.0, 150.0),
    "semi_axes_px": (100.0, 90.0),
    "roll_deg": 12.0,
    "spots": [
        {"id": 1, "x": 0.1, "y": 0.62, "area_msh": 240.0},
        {"id": 2, "x": 0.45, "y": -0.25, "area_msh": 90.0},
        {"id": 3, "x": 0.52, "y": -0.3, "area_msh": 40.0},
    ],
}
_LATER = {**_SHOT, "roll_deg": 0.0, "spots": [{"id": 4, "x": 0.6, "y": 0.1}, {"id": 5, "x": -0.2, "y": -0.5}]}


def measured_photo() -> Figure:
    artists = overlay.draw_overlay(
        _photo(), _SHOT, matches={1: "A", 2: "B"}, target=1, title="invented.jpg", notes=["three spots"]
    )
    return artists[0].figure


def measured_pair() -> Figure:
    artists = overlay.draw_pair(
        [_photo(), _photo(150)],
        [_SHOT, _LATER],
        turn_deg=-72.0,
        sigma_deg=0.8,
        matches=({1: "A", 2: "B"}, {4: "A", 5: "B"}),
        targets=(1, 4),
        target_words="Spot 1 alone: 71.4\N{DEGREE SIGN} clockwise.",
        title=TITLE,
    )
    return artists[0].figure


def what_fits_leave_over() -> Figure:
    measured = np.array([[0.1, 0.5], [-0.4, 0.3], [0.5, -0.4]])
    moves = (0.004, 0.06, 0.01, 0.09)
    panels = [
        {
            "model": name,
            "measured": measured,
            "predicted": measured + move * np.array([[1, 0.5], [-0.5, 1], [0.3, -1]]),
            "shot": [0, 0, 1],
            "labels": ["1", "2", "3"],
            "missed": [[0.0, -0.7]] if k == 1 else [],
            "lines": [f"chi-square {10 * move:.1f}", "an invented fit"],
        }
        for k, (name, move) in enumerate(zip(NAMES, moves, strict=True))
    ]
    return residuals.draw_residuals(panels, shot_names=["morning", "evening"])[0].figure


def _tracks(sense: float) -> list[dict]:
    turn = sense * np.linspace(0, 1.4, 15)
    made = []
    for k, (radius, start) in enumerate(((0.45, 1.2), (0.8, -0.4))):
        x, y = radius * np.cos(start + turn), radius * np.sin(start + turn)
        seen = np.arange(15) < (15 if k == 0 else 10)
        times = {"time_indices": [4, 8, 12], "times": ["09h", "13h", "17h"]} if k == 0 else {}
        made.append({"x": x, "y": y, "visible": seen, "label": str(k + 1), "dots": range(0, 15, 2), **times})
    return made


def tracks_of_a_day() -> Figure:
    panels = [
        {
            "model": NAMES[0],
            "tracks": _tracks(-1.0),
            "words": "The pattern turns 80\N{DEGREE SIGN} clockwise.",
        },
        {"model": NAMES[1], "tracks": _tracks(0.3), "words": "A spot goes behind the limb."},
    ]
    return tracks.draw_track_panels(panels, title=TITLE, subtitle="Two models")[0].figure


def tracks_of_one_model() -> Figure:
    return tracks.draw_tracks(_tracks(-1.0), model=NAMES[2], subtitle=TITLE)[0].figure


def regions_at_two_shots() -> Figure:
    first = [
        {"label": "R1", "x": -0.4, "y": 0.3, "area_msh": 300.0, "usable": True},
        {"label": "R2", "x": 0.7, "y": -0.2, "area_msh": 60.0, "usable": False},
    ]
    blur = [[0.004, 0.001], [0.001, 0.002]]
    later = [{**first[0], "x": 0.1, "y": 0.5, "covariance": blur, "from": (-0.4, 0.3)}]
    shots = [
        {"title": "07:00 UTC", "regions": first, "horizon": "altitude 12\N{DEGREE SIGN}"},
        {
            "title": "17:00 UTC",
            "regions": later,
            "horizon": "altitude 9\N{DEGREE SIGN}",
            "words": "not in sight: R2",
        },
    ]
    panels = [{"model": name, "words": "an invented turn", "shots": shots} for name in NAMES[:2]]
    return region_discs.draw_region_discs(panels, title=TITLE, subtitle="Two models", note="A note.")[
        0
    ].figure


def empty_disc() -> Figure:
    figure = new_figure(800, 800)
    with styled():
        blank_disc.draw_blank_disc(figure.add_axes((0.02, 0.02, 0.96, 0.96)))
    return figure


def _shrunk(data: bytes) -> np.ndarray:
    image = Image.open(io.BytesIO(data)).convert("RGB")
    return np.asarray(
        image.resize((WIDTH_PX, round(WIDTH_PX * image.height / image.width)), Image.Resampling.BOX)
    )


def report_curves_on_a_phone() -> np.ndarray:
    wide = report_pictures.curve_pictures(TurnCurves(_by_model(), _POINTS[1], TITLE))[0]
    assert wide.narrow is not None
    return _shrunk(wide.narrow.data)


def report_residuals() -> np.ndarray:
    measured = np.array([[0.1, 0.5], [-0.4, 0.3]])
    panel = {"model": NAMES[1], "title": NAMES[1], "measured": measured, "lines": ["chi-square 3.1"]}
    made, _ = report_pictures.residual_pictures([{**panel, "predicted": measured + 0.05}], ["morning"])
    return _shrunk(made[0].data)


#: Name of the baseline -> what draws it.
CASES = {
    function.__name__: function
    for function in (
        sweep, sweep_of_dates, pool, map_of_the_year, curves_of_a_day, turn_rate_over_a_day, site_map,
        measured_photo, measured_pair, what_fits_leave_over, tracks_of_a_day, tracks_of_one_model,
        regions_at_two_shots, empty_disc, report_curves_on_a_phone, report_residuals,
    )
} | pictures.CASES  # fmt: skip


def as_picture(figure: Figure) -> np.ndarray:
    """The figure as (rows, columns, 3) uint8, `WIDTH_PX` wide."""
    return np.asarray(Image.open(io.BytesIO(save_png(figure, WIDTH_PX))).convert("RGB"))


def drawn(name: str) -> np.ndarray:
    """The picture of a case, (rows, columns, 3) uint8."""
    made = CASES[name]()
    return made if isinstance(made, np.ndarray) else as_picture(made)


def matplotlib_version() -> str:
    """``3.11``: type is set alike within a minor version."""
    return ".".join(matplotlib.__version__.split(".")[:2])


def main(names: list[str]) -> None:
    """Write the baselines."""
    STORED.mkdir(parents=True, exist_ok=True)
    notes = PngInfo()
    notes.add_text("matplotlib", matplotlib_version())
    for name in names or CASES:
        path = STORED / f"{name}.png"
        Image.fromarray(drawn(name)).save(path, optimize=True, pnginfo=notes)
        print(path)


if __name__ == "__main__":
    main(sys.argv[1:])

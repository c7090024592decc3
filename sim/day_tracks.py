"""Tracks of the spots over a day on one disc per model."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.figure import Figure

from ..render.tracks import draw_track_panels
from .day import Day, DayCourse
from .day_sheet import day_title, turn_words_of


def day_tracks(day: Day) -> Figure:
    """The figure; a small dot for every whole hour UTC, hours written beside the track of the first spot."""
    hours = _whole_hours(day)
    panels = [
        {"model": course.model, "tracks": _tracks(course, day, hours), "words": _words(course)}
        for course in day.courses
    ]
    upright = "top of the picture" if day.mount == "equatorial" else "zenith"
    mount = (
        "an equatorial mount, level in the first picture" if day.mount == "equatorial" else "a level tripod"
    )
    artists = draw_track_panels(
        panels,
        title=day_title(day).replace("The Sun's disc", "Spots on the Sun's disc"),
        subtitle=f"Calculated, not photographed: invented spots from sunrise to sunset, camera on {mount}.",
        top=upright,
        key="○ first   ● last   small dots: whole hours UTC; a track ends where its spot is hidden.",
    )
    figure = artists[0].get_figure(root=True)
    assert figure is not None  # the artists were just drawn on one
    return figure


def _whole_hours(day: Day) -> list[int]:
    """Indices of the instants nearest to whole hours UTC."""
    days = day.instants.utc_days
    whole = np.arange(np.ceil(days[0] * 24), np.floor(days[-1] * 24) + 1) / 24
    return [int(np.argmin(np.abs(days - one))) for one in whole]


def _tracks(course: DayCourse, day: Day, hours: list[int]) -> list[dict[str, Any]]:
    tracks = []
    for k in range(course.x.shape[1]):
        track: dict[str, Any] = {
            "x": course.x[:, k],
            "y": course.y[:, k],
            "visible": course.visible[:, k],
            "label": str(k + 1),
            "dots": hours,
        }
        if k == 0:
            track["time_indices"] = hours
            # Days are counted from a noon.
            track["times"] = [f"{round(24 * day.instants.utc_days[i] + 12) % 24:02d}h" for i in hours]
        tracks.append(track)
    return tracks


def _words(course: DayCourse) -> str:
    """What the panel shows, in the same words for every model."""
    last = len(course.days) - 1
    words = turn_words_of(course, last)
    if words[0].isdigit():
        words = (
            f"The pattern turns {words}; spots end up {course.scatter[last]:.2f} disc radii off such a turn."
        )
    else:
        words = words[0].upper() + words[1:] + "."
    return words

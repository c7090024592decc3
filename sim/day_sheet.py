"""Contact sheet of a day: which moments, the marks on each picture, and the words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from matplotlib.figure import Figure

from ..models.place import datetime_of
from ..render.day_disc import Picture
from ..render.day_sheet import DayRow, draw_day_sheet
from ..render.day_tile import DayTile
from .day import Day, DayCourse
from .day_pictures import day_frame, day_pictures, ground_shows
from .telling import day_words, place_words
from .turns import turn_in_words

_PICTURE_PX = 400
_INSIDE_OUT = 0.95  # what a turn leaves over, limb radii, above which it means little


def day_sheet(
    day: Day,
    indices: Sequence[int],
    *,
    surface: str = "plain",
    progress: Callable[[int, int, str], None] = lambda done, of, words: None,
) -> Figure:
    """The sheet of the pictures number `indices` of the day."""
    painted = []
    for done, pictures in enumerate(day_pictures(day, indices, _PICTURE_PX, surface)):
        progress(done, len(indices), "painting the pictures")
        painted.append(pictures)
    rows = [
        DayRow(
            course.model,
            row_words(course, indices[-1]),
            [day_tile(course, i, pictures[k]) for i, pictures in zip(indices, painted, strict=True)],
        )
        for k, course in enumerate(day.courses)
    ]
    moments = [clock(float(day.instants.utc_days[i])) for i in indices]
    artists = draw_day_sheet(rows, moments, title=day_title(day), subtitle=day_subtitle(day))
    figure = artists[0].get_figure(root=True)
    assert figure is not None  # the artists were just drawn on one
    return figure


def day_tile(course: DayCourse, index: int, picture: Picture) -> DayTile:
    """The picture of one instant with the marks that belong to it."""
    size = len(picture)
    frame = day_frame(course, index, size)
    largest = frame.radius_px * float(np.max(course.semidiameter_rad)) / float(course.semidiameter_rad[index])
    tick = None
    if course.surface.spots:
        target = int(np.argmax([spot.area_msh for spot in course.surface.spots]))
        if course.visible[index, target]:
            tick = float(np.arctan2(-course.x[index, target], course.y[index, target]))
    return DayTile(
        picture,
        altitude_words(course, index),
        float(course.roll_rad[index]),
        2 * frame.radius_px / size,
        2 * largest / size,
        tick,
        ground_shows(course, index, size),
    )


def clock(utc_days: float) -> str:
    """``06:12 UTC``, to the nearest minute."""
    return datetime_of(round(utc_days * 1440) / 1440).strftime("%H:%M UTC")


def altitude_words(course: DayCourse, index: int) -> str:
    """``altitude 12°`` as seen through the air, tenths below 10 degrees, with a true minus sign."""
    seen, true = float(course.apparent_altitude_rad[index]), float(course.altitude_rad[index])
    degrees = float(np.rad2deg(seen if np.isfinite(seen) else true))
    text = f"{degrees:.0f}" if abs(degrees) >= 10 else f"{degrees:.1f}"
    return f"altitude {text}\N{DEGREE SIGN}".replace("-", "\N{MINUS SIGN}")


def turn_words_of(course: DayCourse, index: int) -> str:
    """How far the pattern has turned in the picture since the first instant, or why that cannot be said."""
    turn, scatter = float(course.turn_rad[index]), float(course.scatter[index])
    if not np.isfinite(turn):
        return "no spot of the first picture is in sight"
    if scatter > _INSIDE_OUT:
        return "the pattern is turned inside out"
    return turn_in_words(float(np.rad2deg(turn))).replace(" deg", "\N{DEGREE SIGN}")


def row_words(course: DayCourse, last: int) -> str:
    """What a row shows, in the same words for every model."""
    words = turn_words_of(course, last)
    if words[0].isdigit():
        left = float(course.scatter[last])
        words = f"spot pattern turns {words}, {left:.2f} radii left over"
    return f"{words}; width of the disc changes by {100 * _size_change(course):.0f} %"


def _size_change(course: DayCourse) -> float:
    return float(1 - np.min(course.semidiameter_rad) / np.max(course.semidiameter_rad))


def day_title(day: Day) -> str:
    """Date and place, the place to a tenth of a degree."""
    return f"The Sun's disc over a day: {day_words(day.date)}, {place_words(day.site)}"


def day_subtitle(day: Day) -> str:
    """The mount, and that nothing here is a photo."""
    mount = {
        "level-tripod": "camera on a level tripod",
        "equatorial": "camera on an equatorial mount, level in the first",
    }[day.mount]
    return f"Calculated, not photographed. Invented spots, drawn large. Picture: {mount}."

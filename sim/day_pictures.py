"""The pictures of a day: every course painted at every instant, on a few threads, in order."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np

from ..render.day_disc import Picture, horizon_in_picture, paint_day_disc
from ..render.frame import PictureFrame
from .atmosphere import LOWEST_TRUE_DEG, transmission, vertical_table
from .day import Day, DayCourse

_FILL = 0.76  # largest disc of the day over the picture's side
_HIGH_DEG = 45.0  # above it refraction squashes by less than 1/1500 and is left out
_LOWEST_AIR = np.deg2rad(-1.0)  # the air mass formula ends there; ground covers what lies lower


def day_frame(course: DayCourse, index: int, size_px: int) -> PictureFrame:
    """Place of the disc in the picture: in the middle, as large as it is beside the model's largest of the day."""
    share = float(course.semidiameter_rad[index] / np.max(course.semidiameter_rad))
    roll_deg = float(np.rad2deg(course.roll_rad[index]))
    return PictureFrame.centred(size_px, fill=_FILL * share, roll_deg=roll_deg)


def day_picture(course: DayCourse, index: int, size_px: int, surface: str = "plain") -> Picture:
    """The picture of one instant, (size_px, size_px, 3) uint8."""
    frame = day_frame(course, index, size_px)
    high, radius = float(course.altitude_rad[index]), float(course.semidiameter_rad[index])
    if high - radius <= np.deg2rad(LOWEST_TRUE_DEG):
        return paint_day_disc(None, frame, None)
    table = vertical_table(high, radius, count=101) if np.rad2deg(high) < _HIGH_DEG else None
    through = transmission(min(max(float(course.apparent_altitude_rad[index]), _LOWEST_AIR), np.pi / 2))
    return paint_day_disc(
        course.view[index],
        frame,
        course.surface.drawn(float(course.days[index])),
        vertical_table=table,
        horizon=float(course.horizon[index]),
        through_rgb=through.tolist(),
        surface=surface,
    )


def ground_shows(course: DayCourse, index: int, size_px: int) -> bool:
    """Whether the true horizon runs through the picture of that instant."""
    horizon = float(course.horizon[index])
    return not np.isfinite(horizon) or horizon_in_picture(day_frame(course, index, size_px), horizon)


def day_pictures(
    day: Day, indices: Sequence[int], size_px: int, surface: str = "plain", workers: int | None = None
) -> Iterator[list[Picture]]:
    """One list of pictures (a picture per course) for each of `indices`, in order.

    The threads' number changes nothing but the time; by default one per processor, four at most.
    """
    workers = workers or min(4, os.cpu_count() or 1)

    def paint(index: int) -> list[Picture]:
        return [day_picture(course, index, size_px, surface) for course in day.courses]

    with ThreadPoolExecutor(workers) as pool:
        waiting: deque[Future[list[Picture]]] = deque()
        for index in indices:
            waiting.append(pool.submit(paint, index))
            if len(waiting) > 2 * workers:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()

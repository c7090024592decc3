"""The film of a day: frames in order, painted while they are asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from ..render.day_film import DayFilm, Frame, SkyPath
from .day import Day, continuous_azimuths
from .day_pictures import day_pictures
from .day_sheet import clock, day_subtitle, day_tile, day_title, turn_words_of

_MARKS = "Short line at the limb: towards the largest spot. Hatched line: which way the horizon lies."


class FilmOfDay:
    """Frames of a day under its models side by side.

    Parameters
    ----------
    day : Day
    size_px : int
        Side of a disc's picture.
    surface : str
    """

    def __init__(self, day: Day, size_px: int, surface: str = "plain") -> None:
        self._day, self._size, self._surface = day, size_px, surface
        paths = [
            SkyPath(course.model, around, np.rad2deg(course.altitude_rad))
            for course, around in zip(day.courses, continuous_azimuths(day), strict=True)
        ]
        self._film = DayFilm(paths, size_px, day_title(day), f"{day_subtitle(day)} {_MARKS}")

    def frames(self, indices: Sequence[int], workers: int | None = None) -> Iterator[Frame]:
        """Frames of the instants number `indices`."""
        painted = day_pictures(self._day, indices, self._size, self._surface, workers)
        courses = self._day.courses
        for index, pictures in zip(indices, painted, strict=True):
            tiles = [day_tile(course, index, p) for course, p in zip(courses, pictures, strict=True)]
            words = []
            for course in courses:
                text = turn_words_of(course, index)
                words.append(f"pattern turned {text}" if text[0].isdigit() else text)
            yield self._film.frame(index, tiles, words, clock(float(self._day.instants.utc_days[index])))

    def colours(self, indices: Sequence[int]) -> Frame:
        """A picture that holds the colours of the film: a few of its frames, more from the low Sun."""
        last = len(indices) - 1
        few = sorted({round(last * share) for share in (0, 0.02, 0.04, 0.07, 0.12, 0.25, 0.5, 0.96)})
        return np.concatenate([frame[::2, ::2] for frame in self.frames([indices[k] for k in few])])

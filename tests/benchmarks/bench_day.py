"""Frames of a day's film, encoding apart: python tests/benchmarks/bench_day.py [frames]

A day of 360 frames (or as many as asked), 512 px discs, squashed, with spots: discs alone of one model, then whole
frames with one and with two models side by side (discs, marks, words, strip of sky). Yardstick: one numpy pass
``array * sqrt(max(1 - x^2 - y^2, 0))`` over a 512 px colour picture. Wall time depends on what else the machine
does; processor time tells what two idle cores would give. Goal: 60 frames a second on two cores.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import datetime as dt
import sys
import time

from bench_render import plain_pass, settle_memory, timed
from whichsun.models.place import Site
from whichsun.models.registry import get_model
from whichsun.sim.day import day_courses, day_instants
from whichsun.sim.day_film import FilmOfDay
from whichsun.sim.day_pictures import day_pictures
from whichsun.sim.rotation import rotation_law

SITE, DATE, SIZE = Site(46.5, -30.0), dt.date(2026, 4, 18), 512
NAMES = ("distant-sphere", "nearby-plane")


def consumed(frames):
    """Wall and processor seconds for taking all of `frames`, and their number."""
    wall, processor, count = time.perf_counter(), time.process_time(), 0
    for _ in frames:
        count += 1
    return time.perf_counter() - wall, time.process_time() - processor, count


def main():
    """Print the ratios."""
    settle_memory(returned=False)
    frames = int(sys.argv[1]) if len(sys.argv) > 1 else 360
    [(base, _)] = timed([plain_pass(SIZE, 3)], 15)
    start = time.perf_counter()
    instants = day_instants(DATE, SITE, frames)
    models = [(get_model(name), {}) for name in NAMES]
    law = rotation_law("howard-1984")
    both = day_courses(models, DATE, SITE, instants, law=law)
    one = day_courses(models[:1], DATE, SITE, instants, law=law)
    print(
        f"pass over {SIZE} px in colour: {base:.1f} ms; the day's numbers: {time.perf_counter() - start:.1f} s"
    )
    print(
        "work                         frames/s wall  processor ms/frame  passes  frames/s on two idle cores"
    )
    every = range(frames)
    for name, work in (
        ("disc, one model", day_pictures(one, every, SIZE, workers=2)),
        ("frame, one model", FilmOfDay(one, SIZE).frames(every, workers=2)),
        ("frame, two models", FilmOfDay(both, SIZE).frames(every, workers=2)),
    ):
        wall, processor, count = consumed(work)
        each = 1e3 * processor / count
        print(
            f"{name:27s}  {count / wall:13.0f}  {each:18.1f}  {each / base:6.1f}  {2e3 / each:10.0f} at most"
        )


if __name__ == "__main__":
    main()

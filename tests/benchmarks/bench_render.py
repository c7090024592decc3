"""Cost of a disc against one plain numpy pass, both in one run: python tests/benchmarks/bench_render.py

float32, one thread, limb darkening, squash and spots, no blur or noise. The pass is
``array * sqrt(max(1 - x^2 - y^2, 0))`` over an array of the same shape as the picture.
Goals: 1024 px with 50 spots at most 6 times the pass, 4096 px at most 4 times. With ``--large`` the peak memory
of the command that draws 8192 px is measured too (goal 2 GB; half a minute).

Processor time, pass and discs in turns, medians. The C library keeps freed memory: else it gives the pass's four
temporaries back to the system and takes them again each time, or not, as the heap happens to lie, which alone makes
the pass of 1024 px take 1.2 or 3.5 ms. ``--returned-memory`` shows that other extreme. "in place" is the pass
without temporaries.
"""

import ctypes
import os

os.environ.setdefault("OMP_NUM_THREADS", "1")

import resource
import statistics
import subprocess
import sys
import tempfile
import time

import numpy as np
from whichsun.models.geometry import SunView
from whichsun.models.observables import body_vector
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc
from whichsun.render.mottling import Granulation, SurfaceFaculae
from whichsun.render.texture import SurfaceTexture

RNG = np.random.default_rng(20)
ATTITUDE = np.array([[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]])
VIEW = SunView(
    np.array([1.0, 0.0, 0.0]), np.asarray(215.0), ATTITUDE, np.full(3, np.nan), np.asarray(695700.0)
)
APPARENT = np.linspace(-1.4, 1.4, 141)
TABLE = APPARENT, 1.12 * APPARENT - 0.03 * APPARENT**2


def fifty_spots():
    """All on the visible side, 0.4 to 1.5 degrees in radius."""
    places = body_vector(np.deg2rad(RNG.uniform(-40, 40, 50)), np.deg2rad(RNG.uniform(-70, 70, 50)))
    return SurfaceSpots(places, np.deg2rad(RNG.uniform(0.4, 1.5, 50)), seed=1)


_MMAP_THRESHOLD, _TRIM_THRESHOLD = -3, -1  # parameters of mallopt(3) of the GNU C library


def settle_memory(*, returned):
    """Let the C library keep all freed memory, or return every large piece at once; nothing where it is not GNU's."""
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):
        print("mallopt is missing: the pass may take twice as long in one run as in another")
        return
    for parameter in (_MMAP_THRESHOLD, _TRIM_THRESHOLD):
        mallopt(parameter, 1 << 17 if returned else 1 << 30)


def timed(works, runs):
    """Median milliseconds of processor time of each of `works`, in turns, after one warm-up; and page faults."""
    for work in works:
        work()
    spent = [[] for _ in works]
    for _ in range(runs):
        for work, list_ in zip(works, spent, strict=True):
            faults, start = resource.getrusage(resource.RUSAGE_SELF).ru_minflt, time.process_time()
            result = work()
            taken = time.process_time() - start
            del result
            list_.append((1e3 * taken, resource.getrusage(resource.RUSAGE_SELF).ru_minflt - faults))
    return [tuple(statistics.median(column) for column in zip(*one, strict=True)) for one in spent]


def plain_pass(size, channels):
    """The pass to compare with, as a function of no arguments."""
    x = np.linspace(-1, 1, size, dtype=np.float32)[None, :, None]
    y = np.linspace(-1, 1, size, dtype=np.float32)[:, None, None]
    array = np.ones((size, size, channels), np.float32)
    x = np.broadcast_to(x, array.shape)
    return lambda: array * np.sqrt(np.maximum(1 - x * x - y * y, 0))


def pass_in_place(size, channels):
    """The same pass with one array made beforehand."""
    x = np.linspace(-1, 1, size, dtype=np.float32)[None, :, None]
    y = np.linspace(-1, 1, size, dtype=np.float32)[:, None, None]
    array, out = np.ones((size, size, channels), np.float32), np.empty((size, size, channels), np.float32)
    x = np.broadcast_to(x, array.shape)

    def work():
        np.multiply(x, x, out=out)
        np.subtract(1, out, out=out)
        np.subtract(out, y * y, out=out)
        np.maximum(out, 0, out=out)
        np.sqrt(out, out=out)
        np.multiply(array, out, out=out)

    return work


def optional_parts():
    """Print what the parts that are off by default add to a 1024 px disc in colour; no goal is set for them."""
    frame, spots = PictureFrame.centred(1024), fifty_spots()
    shape = (1440, 2880)
    parts = {
        "granulation": {"granulation": Granulation(0.05, 1)},
        "faculae": {"faculae": SurfaceFaculae(spots.points, np.full(50, 0.07), 0.1, 1)},
        "texture": {"texture": SurfaceTexture(RNG.uniform(0.9, 1.1, shape).astype(np.float32))},
        "grid": {"surface": "grid"},
    }
    works = [lambda k=keywords: render_disc(VIEW, frame, spots, **k) for keywords in ({}, *parts.values())]
    base, *costs = (milliseconds for milliseconds, _ in timed(works, 5))
    for name, cost in zip(parts, costs, strict=True):
        print(f"{name} adds {cost - base:.0f} ms to {base:.0f} ms at 1024 px")


def large():
    """Print time and peak memory of `render` at 8192 px, as PNG and as FITS."""
    options = ["--model", "distant-sphere", "--site", "46.5,-30", "--at", "2027-04-18T09:00:00Z"]
    options += ["--group", "15,190,900,14", "--granulation", "0.05", "--size", "8192x8192"]
    for ending in ("png", "fits"):
        with tempfile.TemporaryDirectory() as folder:
            path = f"{folder}/sun.{ending}"
            code = "from whichsun.sim.cli.main import main; import sys; sys.exit(main(sys.argv[1:]))"
            command = [sys.executable, "-c", code, "render", *options, "-o", path]
            start = time.perf_counter()
            subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
            seconds = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
        print(f"8192 px {ending}: {seconds:.0f} s, at most {peak:.2f} GB")


def main():
    """Print the ratios."""
    spots = fifty_spots()
    print("size  channels  pass ms (page faults)  in place ms  disc ms  ratio  squashed  rolled and squashed")
    for size, runs in ((1024, 41), (4096, 7)):
        for wavelengths in ((550.0,), (610.975, 550.0, 464.0)):
            works = [plain_pass(size, len(wavelengths)), pass_in_place(size, len(wavelengths))]
            for roll_deg, table in ((0.0, None), (0.0, TABLE), (5.0, TABLE)):
                frame = PictureFrame.centred(size, roll_deg=roll_deg)
                keywords = {"vertical_table": table, "wavelengths_nm": wavelengths}
                works.append(lambda frame=frame, k=keywords: render_disc(VIEW, frame, spots, **k))
            (base, faults), (in_place, _), *discs = timed(works, runs)
            print(
                f"{size:4d}  {len(wavelengths):8d}  {base:7.2f} ({faults:11.0f})  {in_place:11.2f}  {discs[0][0]:7.1f}"
                + "".join(f"  {cost / base:5.2f}" for cost, _ in discs)
            )
    optional_parts()
    frame = PictureFrame.centred(512)
    [(cost, _)] = timed([lambda: render_disc(VIEW, frame, spots, vertical_table=TABLE)], 15)
    print(f"512 px, colour, 50 spots, squashed: {1e3 / cost:.0f} frames a second on one core")


if __name__ == "__main__":
    settle_memory(returned="--returned-memory" in sys.argv)
    main()
    if "--large" in sys.argv:
        large()

"""Cost and errors of measuring a photo, in one run: python tests/benchmarks/bench_measure.py [--skip-library]

A drawn 24-megapixel photo (disc of 2,500 px at 6 degrees, six spots, noise of 3 steps) is measured, decode
included, imports and overlay apart, on one core: as a baseline JPEG of about 5 MB, as the same with the thumbnail
that cameras put into the EXIF (it spares a look at the colours in the file), and as one of about 10 MB. The
yardstick is OpenCV's full-size grey decode of the same file. Decodes and measurements of all files take turns, so
that other work on the machine meets them alike; the ratio is that of the two best processor times, and the median
ratio of neighbouring runs stands beside it. Beside them the route through scikit-image that one would write
without this tool: Canny edges, an ellipse by RANSAC, dark regions by a threshold, label and regionprops. It runs
on the same picture shrunk four times, since at full size it takes minutes and a gigabyte; its errors are given in
full-size pixels. Goals: measuring at most 2 times the decode, peak memory at most 250 MB.

Needs the extra `bench`.
"""

import io
import os

os.environ.update(dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1"))

import re
import statistics
import struct
import subprocess
import sys
import tempfile
import time
import warnings
from pathlib import Path

import numpy as np

SIZE_PX, CENTRE_PX, RADIUS_PX, ALTITUDE_DEG = (6000, 4000), (3010.3, 1985.7), 1250.0, 6.0
SPOTS = np.array([(0.3, 0.2), (-0.5, 0.1), (0.1, -0.45), (-0.2, 0.5), (0.6, -0.3), (-0.65, -0.3)])
SPOT_RADII = np.array([0.03, 0.02, 0.025, 0.015, 0.02, 0.012])
SHRINK = 4
ROUNDS = 15


def draw(folder):
    """Write the photos; returns their paths by what they are, and the spots' places in pixels (n, 2)."""
    from PIL import Image
    from whichsun.models.geometry import SunView
    from whichsun.models.observables import unproject
    from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc, to_picture
    from whichsun.sim.atmosphere import vertical_table

    altitude = np.deg2rad(ALTITUDE_DEG)
    direction = np.array([np.cos(altitude), 0, np.sin(altitude)])
    view = SunView(direction, np.array(214.9), np.eye(3), np.full(3, np.nan), np.array(695700.0))
    spots = SurfaceSpots(unproject(view, SPOTS[:, 0], SPOTS[:, 1]), SPOT_RADII, seed=3)
    frame = PictureFrame(*SIZE_PX, CENTRE_PX, RADIUS_PX, 0.0)
    table = vertical_table(altitude, np.deg2rad(16 / 60))
    linear = render_disc(view, frame, spots, vertical_table=table, sky=0.01)
    rng = np.random.default_rng(5)
    rgb = to_picture(linear, exposure=0.85, tint_rgb=(0.95, 0.75, 0.45), blur_px=1.5, noise_dn=3, rng=rng)
    picture = Image.fromarray(rgb)
    paths = {}
    for name, options in (
        ("as drawn", {"quality": 95}),
        ("with thumbnail", {"quality": 95, "exif": thumbnail_exif(picture)}),
        ("large file", {"quality": 98}),
    ):
        paths[name] = Path(folder) / f"{name.replace(' ', '-')}.jpg"
        picture.save(paths[name], subsampling=2, **options)
    apparent, true = table
    high = np.interp(SPOTS[:, 1], true, apparent)
    return paths, np.stack([CENTRE_PX[0] + RADIUS_PX * SPOTS[:, 0], CENTRE_PX[1] - RADIUS_PX * high], axis=1)


def thumbnail_exif(picture):
    """EXIF of nothing but a thumbnail of 160 x 120 pixels with black bars (Exif 2.32, sections 4.5.5 and 4.6.4)."""
    from PIL import Image

    part = picture.copy()
    part.thumbnail((160, 120))
    thumbnail = Image.new("RGB", (160, 120))
    thumbnail.paste(part, ((160 - part.width) // 2, (120 - part.height) // 2))
    stream = io.BytesIO()
    thumbnail.save(stream, "JPEG", quality=85)
    data = stream.getvalue()
    # An empty first directory, then the thumbnail's: compression, start and length.
    second = struct.pack("<H", 3)
    for tag, kind, value in ((0x0103, 3, 6), (0x0201, 4, 56), (0x0202, 4, len(data))):
        second += struct.pack("<HHLL", tag, kind, 1, value)
    return b"Exif\0\0II*\0" + struct.pack("<LHL", 8, 0, 14) + second + struct.pack("<L", 0) + data


def ours(path):
    """Centre and spot places in pixels, by `measure_photo`."""
    from whichsun.sim.outing import OutingSite
    from whichsun.sim.photo.measure import PhotoOptions, measure_photo

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        measured = measure_photo(path, PhotoOptions(OutingSite(0, 0), "2026-03-20T06:00:00Z"))
    return measured.shot.centre_px, [(spot.column, spot.row) for spot in measured.findings.spots]


def library(path):
    """The same by Canny, RANSAC ellipse, label and regionprops on the picture shrunk by means."""
    import cv2
    from skimage import feature, filters, measure, morphology

    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    grey = cv2.resize(grey, None, fx=1 / SHRINK, fy=1 / SHRINK, interpolation=cv2.INTER_AREA) / 255
    edges = np.argwhere(feature.canny(grey, sigma=2))[:, ::-1]
    model, _ = measure.ransac(edges, measure.EllipseModel, 5, 1.0, max_trials=300, rng=1)
    if model is None:
        raise RuntimeError("RANSAC found no ellipse")
    (column, row), (a, b), angle = model.center, model.axis_lengths, model.theta
    rows, columns = np.indices(grey.shape)
    x, y = columns - column, rows - row
    x, y = np.cos(angle) * x + np.sin(angle) * y, -np.sin(angle) * x + np.cos(angle) * y
    inside = np.hypot(x / a, y / b) < 0.97
    light = filters.gaussian(grey, 1.0)
    dark = inside & (light < 0.85 * filters.gaussian(grey, 40.0))
    labels = measure.label(morphology.remove_small_objects(dark, max_size=8))
    regions = measure.regionprops(labels, intensity_image=1 - light)
    full = np.array([region.centroid_weighted[::-1] for region in regions]).reshape(-1, 2)
    shift = (SHRINK - 1) / 2
    return (SHRINK * column + shift, SHRINK * row + shift), SHRINK * full + shift


def seconds(work):
    """Processor time of `work`, which waiting for a busy core does not lengthen; all of it runs on one thread."""
    start = time.process_time()
    work()
    return time.process_time() - start


def peak_mb(path):
    """Peak memory of a fresh process that measures the photo, and of one that only imports, MB."""
    found = []
    for argument in ("--peak", "--imports"):
        done = subprocess.run([sys.executable, __file__, argument, str(path)], capture_output=True, text=True)
        found.append(float(done.stdout))
    return found


def errors(found, truth):
    """Words for the centre's error and the spots' rms distance to the nearest true place."""
    centre, spots = np.array(found[0]), np.array(found[1]).reshape(-1, 2)
    off = np.hypot(*np.moveaxis(spots[:, None] - truth, -1, 0))
    hit = off.min(axis=0) < 15
    rms = float(np.sqrt(np.mean(off.min(axis=0)[hit] ** 2))) if np.any(hit) else float("nan")
    false = int(np.count_nonzero(off.min(axis=1) >= 15)) if len(spots) else 0
    return (
        f"centre {np.hypot(*(centre - CENTRE_PX)):.3f} px, spots {rms:.3f} px rms "
        f"({np.count_nonzero(hit)} of {len(truth)} found, {false} false)"
    )


def main():
    """Print the ratios and errors."""
    if len(sys.argv) == 3:
        if sys.argv[1] == "--peak":
            ours(sys.argv[2])
        else:
            from whichsun.sim.photo import measure  # noqa: F401
        # Linux: the greatest resident size since this process began (getrusage would inherit the parent's).
        print(int(re.findall(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[0]) / 1024)
        return
    import cv2

    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        paths, truth = draw(folder)
        found = {name: ours(path) for name, path in paths.items()}
        times = {name: ([], []) for name in paths}
        for _ in range(ROUNDS):
            for name, path in paths.items():
                times[name][0].append(seconds(lambda path=path: cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)))
                times[name][1].append(seconds(lambda path=path: ours(path)))
        print(f"{SIZE_PX[0]} x {SIZE_PX[1]} px, {ROUNDS} rounds")
        for name, path in paths.items():
            decode, measured = (min(one) for one in times[name])
            median = statistics.median(b / a for a, b in zip(*times[name], strict=True))
            peak, imports = peak_mb(path)
            print(f"{name}, {path.stat().st_size / 1e6:.1f} MB")
            print(f"  OpenCV grey decode {1e3 * decode:6.0f} ms")
            print(
                f"  measure_photo      {1e3 * measured:6.0f} ms  {measured / decode:6.2f} times "
                f"(median {median:.2f})  {errors(found[name], truth)}"
            )
            print(f"  peak memory        {peak:6.0f} MB, of which the imports take {imports:.0f} MB")
        if "--skip-library" not in sys.argv:
            name, path = next(iter(paths.items()))
            by_library = []
            cost = seconds(lambda: by_library.append(library(path)))
            print(
                f"scikit-image, 1/{SHRINK}, {name}  {1e3 * cost:6.0f} ms  {cost / min(times[name][0]):6.2f} times  "
                f"{errors(by_library[0], truth)}"
            )


if __name__ == "__main__":
    main()

"""RAW photos through a stand-in for rawpy that has the few names of it that the tool uses, and through the real one.

Names and meanings after rawpy's documentation (https://letmaik.github.io/rawpy/api/): `imread`, used as a context;
`sizes.width` and `.height`; `postprocess`, which returns (rows, columns, channels) turned upright; `LibRawError` and
`NotSupportedError`.
"""

from __future__ import annotations

import importlib.machinery
import json
import struct
import sys
import types

import numpy as np
import pytest
from PIL import Image
from whichsun.render.tone import srgb_decode
from whichsun.sim.cli.main import main
from whichsun.sim.photo.load import load_photo, load_rgb
from whichsun.sim.photo.measure import measure_photo

SPOTS = [(0.4, 0.3), (-0.3, -0.2)]


class StandIn(types.ModuleType):
    """`picture`: what `postprocess` returns; `problem`: what it raises instead."""

    class LibRawError(Exception):
        pass

    class LibRawIOError(LibRawError):
        pass

    class NotSupportedError(Exception):
        pass

    def __init__(self):
        super().__init__("rawpy")
        self.__spec__ = importlib.machinery.ModuleSpec("rawpy", None)
        self.picture, self.problem, self.sizes, self.asked, self.open = None, None, None, [], 0

    def imread(self, path):
        assert isinstance(path, str)
        height, width = self.picture.shape[:2]
        self.sizes = self.sizes or types.SimpleNamespace(width=width, height=height)
        return self

    def __enter__(self):
        self.open += 1
        return self

    def __exit__(self, *_):
        self.open -= 1

    def postprocess(self, **settings):
        self.asked.append(settings)
        if self.problem is not None:
            raise self.problem
        return self.picture


@pytest.fixture(scope="module")
def light(take_photo, tmp_path_factory):
    """Linear light of a drawn disc, 16 bits."""
    path = tmp_path_factory.mktemp("raw") / "sun.png"
    take_photo(path, xy=SPOTS, spot_radius=0.06, radius_px=90)
    with Image.open(path) as image:
        return np.rint(65535 * srgb_decode(np.asarray(image) / 255)).astype(np.uint16)


@pytest.fixture
def rawpy(light, monkeypatch):
    module = StandIn()
    module.picture = light
    monkeypatch.setitem(sys.modules, "rawpy", module)
    return module


@pytest.fixture
def file(tmp_path):
    """A file that is laid out as TIFF, as most RAW files are, with time and an orientation in its EXIF."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769).update({0x9003: "2026:03:20 07:00:00", 0x9011: "+01:00"})
    blank = Image.new("RGB", (160, 120))
    blank.save(tmp_path / "sun.jpg", exif=exif)
    with Image.open(tmp_path / "sun.jpg") as tagged:
        blank.save(
            tmp_path / "sun.tif", exif=tagged.getexif()
        )  # inner tags are written from a read file only
    (tmp_path / "sun.jpg").unlink()
    return (tmp_path / "sun.tif").rename(tmp_path / "sun.NEF")


def test_a_raw_photo_is_measured(rawpy, file, capsys):
    outing = file.parent / "outing.toml"
    assert main(["measure", str(file), "--site", "10,20", "-o", str(outing), "--json"]) == 0
    (shot,) = json.loads(capsys.readouterr().out)["shots"]
    assert shot["time_utc"].startswith("2026-03-20T06:00:00")
    places = sorted((spot["x"], spot["y"]) for spot in shot["spots"])
    np.testing.assert_allclose(places, sorted(SPOTS), atol=0.005)
    assert (file.parent / "sun.overlay.png").exists()
    assert rawpy.open == 0
    # Light as the sensor saw it: no tone curve, no stretching.
    asked = {"gamma": (1, 1), "no_auto_bright": True, "output_bps": 16, "use_camera_wb": True}
    asked["adjust_maximum_thr"] = 0.0
    assert rawpy.asked
    assert all(settings == asked for settings in rawpy.asked)


def test_luma_is_that_of_the_linear_light_and_stands_as_libraw_turned_it(rawpy, file, light):
    luma = load_photo(file).luma
    assert luma.dtype == np.uint16
    wanted = light / 65535 @ np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
    np.testing.assert_allclose(srgb_decode(luma / 65535), wanted, atol=2e-5)
    assert load_rgb(file).shape == (*light.shape[:2], 3)


def test_a_camera_without_colours(rawpy, file, light):
    rawpy.picture = light[..., :1]
    luma = load_photo(file).luma
    np.testing.assert_allclose(srgb_decode(luma / 65535), light[..., 0] / 65535, atol=2e-5)


def test_a_raw_file_whose_exif_nobody_can_read(rawpy, tmp_path):
    (tmp_path / "sun.cr3").write_bytes(b"\0\0\0\x18ftypcrx " + bytes(100))
    photo = load_photo(tmp_path / "sun.cr3")
    assert (photo.time_utc, photo.local_time, photo.site) == (None, None, None)


@pytest.mark.parametrize(
    ("problem", "words"),
    [
        (StandIn.LibRawIOError("b'Input/output\nerror'"), "RAW photo cannot be read (b'Input/output error')"),
        (StandIn.NotSupportedError("demosaic pack GPL2"), "RAW photo cannot be read (demosaic pack GPL2)"),
        (ValueError("buffer\ntoo small"), "damaged or cut short (buffer too small)"),
    ],
)
def test_errors_of_libraw_are_one_line(rawpy, file, capsys, problem, words):
    rawpy.problem = problem
    assert main(["measure", str(file)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    (line,) = captured.err.splitlines()
    assert line.startswith("whichsun: error: sun.NEF: ")
    assert words in line
    assert rawpy.open == 0


def test_size_is_judged_before_the_picture_is_made(rawpy, file, capsys):
    rawpy.sizes = types.SimpleNamespace(width=40_000, height=1_000)
    assert main(["measure", str(file)]) == 2
    assert "40000x1000 pixels: is larger" in capsys.readouterr().err
    assert rawpy.asked == []


def write_dng(path, light, turned):
    """A plain Digital Negative (DNG 1.4; TIFF 6.0 inside): RGGB mosaic of 16 bits, camera colours those of sRGB."""
    mosaic = light[..., 1].copy()
    mosaic[::2, ::2], mosaic[1::2, 1::2] = light[::2, ::2, 0], light[1::2, 1::2, 2]
    height, width = mosaic.shape
    to_srgb = [32405, -15371, -4985, -9693, 18760, 416, 556, -2040, 10572]  # IEC 61966-2-1, times 10^4
    matrix = b"".join(struct.pack("<ii", value, 10_000) for value in to_srgb)
    neutral = struct.pack("<6I", *[1, 1] * 3)
    head = 8 + mosaic.nbytes
    # tag, type, count, value; 3 short, 4 long, 1 byte, 2 text
    entries = [
        (254, 4, 1, 0), (256, 4, 1, width), (257, 4, 1, height), (258, 3, 1, 16), (259, 3, 1, 1),
        (262, 3, 1, 32803), (271, 2, 4, b"Mak\0"), (272, 2, 4, b"Mod\0"), (273, 4, 1, 8), (274, 3, 1, turned),
        (277, 3, 1, 1), (278, 4, 1, height), (279, 4, 1, mosaic.nbytes), (284, 3, 1, 1),
        (33421, 3, 2, struct.pack("<HH", 2, 2)), (33422, 1, 4, bytes([0, 1, 1, 2])),
        (50706, 1, 4, bytes([1, 4, 0, 0])), (50708, 2, 4, b"Mod\0"), (50714, 4, 1, 0), (50717, 4, 1, 65535),
        (50721, 10, 9, head), (50728, 5, 3, head + len(matrix)), (50778, 3, 1, 21),
    ]  # fmt: skip
    ifd = struct.pack("<H", len(entries))
    for tag, kind, count, value in entries:
        field = value if isinstance(value, bytes) else struct.pack("<I", value)
        ifd += struct.pack("<HHI", tag, kind, count) + field
    at = head + len(matrix) + len(neutral)
    body = mosaic.astype("<u2").tobytes() + matrix + neutral + ifd + bytes(4)
    path.write_bytes(b"II*\0" + struct.pack("<I", at) + body)


@pytest.mark.parametrize(("turned", "undo"), [(1, 0), (6, 1)])
@pytest.mark.filterwarnings("ignore::whichsun.models.errors.WhichsunWarning")
def test_the_real_package_reads_a_negative_as_the_stand_in_does(light, tmp_path, turned, undo):
    """Colours are filled in between the mosaic's pixels, so single pixels differ; places and light do not.

    2 %: what rounding of its colour matrices and the noise that the filling in smooths leave of the median.
    """
    pytest.importorskip("rawpy")
    write_dng(
        tmp_path / "sun.dng", np.rot90(light, undo), turned
    )  # 6: to be turned clockwise to stand upright
    photo = load_photo(tmp_path / "sun.dng")
    wanted = light / 65535 @ np.array([0.2126, 0.7152, 0.0722])
    assert photo.luma.shape == wanted.shape
    read = srgb_decode(photo.luma / 65535)
    middle = np.s_[60:-60, 60:-60]
    assert np.median(read[middle] / wanted[middle]) == pytest.approx(1, abs=0.02)
    spots = measure_photo(tmp_path / "sun.dng").shot.spots
    np.testing.assert_allclose(sorted((spot.x, spot.y) for spot in spots), sorted(SPOTS), atol=0.005)

"""Reading photos: EXIF, orientation, formats and everything that must be refused with one clear line."""

from __future__ import annotations

import struct
import zlib

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import InputError, PictureError
from whichsun.sim.photo.load import linear_table, load_photo, parse_offset


@pytest.fixture(scope="module")
def plain(take_photo, tmp_path_factory):
    """A small disc off the middle with one spot."""
    path = tmp_path_factory.mktemp("plain") / "sun.png"
    return take_photo(path, xy=[(0.4, 0.3)], radius_px=80, offset_px=(12.0, -7.0)).path


def test_time_with_offset_becomes_utc(plain, tag_photo, tmp_path):
    path = tag_photo(tmp_path / "a.jpg", plain, local="2026:03:20 06:10:05", offset="+05:30")
    photo = load_photo(path)
    assert photo.time_utc == "2026-03-20T00:40:05Z"
    assert photo.focal_length_mm == 600
    assert photo.camera == "Maker Model 1"


def test_option_offset_beats_that_of_the_exif(plain, tag_photo, tmp_path):
    path = tag_photo(tmp_path / "a.jpg", plain, local="2026:03:20 06:10:05", offset="+05:30")
    assert load_photo(path, utc_offset="-3").time_utc == "2026-03-20T09:10:05Z"


@pytest.mark.parametrize("offset", [None, "   ", "half past"])
def test_local_time_without_offset_is_no_time(plain, tag_photo, tmp_path, offset):
    path = tag_photo(tmp_path / "a.jpg", plain, local="2026:03:20 06:10:05", offset=offset)
    photo = load_photo(path)
    assert photo.time_utc is None
    assert photo.local_time is not None
    assert photo.local_time.hour == 6


@pytest.mark.parametrize("text", ["0000:00:00 00:00:00", "    :  :     :  :  ", "2026:02:30 06:00:00", ""])
def test_a_date_that_does_not_exist_is_no_time(plain, tag_photo, tmp_path, text):
    photo = load_photo(tag_photo(tmp_path / "a.jpg", plain, local=text, offset="+00:00"))
    assert photo.time_utc is None
    assert photo.local_time is None


def test_place_south_west_and_height(plain, tag_photo, tmp_path):
    gps = {1: "S", 2: (33.0, 30.0, 36.0), 3: "W", 4: (70.0, 15.0, 0.0), 5: b"\x00", 6: 520.0}
    site = load_photo(tag_photo(tmp_path / "a.jpg", plain, gps=gps)).site
    assert site is not None
    assert (site.latitude_deg, site.longitude_deg, site.height_m) == pytest.approx((-33.51, -70.25, 520.0))


def test_height_below_the_sea_is_taken_as_none(plain, tag_photo, tmp_path):
    gps = {1: "N", 2: (31.0, 30.0, 0.0), 3: "E", 4: (35.0, 30.0, 0.0), 5: b"\x01", 6: 420.0}
    site = load_photo(tag_photo(tmp_path / "a.jpg", plain, gps=gps)).site
    assert site is not None
    assert site.height_m == 0


@pytest.mark.parametrize("gps", [{1: "N", 2: (95.0, 0.0, 0.0), 3: "E", 4: (0.0, 0.0, 0.0)}, {1: "N"}])
def test_a_senseless_place_is_no_place(plain, tag_photo, tmp_path, gps):
    assert load_photo(tag_photo(tmp_path / "a.jpg", plain, gps=gps)).site is None


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_first(plain, tag_photo, tmp_path, orientation):
    """Store the picture turned or flipped so that its tag turns it back: all eight load alike."""
    undo = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }
    stored = tmp_path / "stored.png"
    with Image.open(plain) as image:
        (image.transpose(undo[orientation]) if orientation in undo else image).save(stored)
        upright = np.asarray(image.convert("L"), float)
    loaded = load_photo(tag_photo(tmp_path / "a.jpg", stored, orientation=orientation)).luma.astype(float)
    # JPEG at quality 95 leaves about one step; a wrong turn leaves tens.
    assert np.sqrt(np.mean((loaded - upright) ** 2)) < 2


def test_formats(plain, tmp_path):
    with Image.open(plain) as image:
        for name in ("a.tif", "a.jpg", "a.png", "a.jp2"):
            image.save(tmp_path / name)
            assert load_photo(tmp_path / name).luma.shape == (image.height, image.width)
        deep = Image.fromarray(np.asarray(image.convert("L")).astype(np.uint16) * 257)
        deep.save(tmp_path / "deep.png")
        grey = np.asarray(image.convert("L"))
    loaded = load_photo(tmp_path / "deep.png")
    assert loaded.luma.dtype == np.uint16
    np.testing.assert_array_equal(loaded.rgb[..., 0], grey)
    # The same light, whatever the depth: the tables agree to a step of the 16-bit scale.
    light = linear_table(loaded.luma)[loaded.luma]
    np.testing.assert_allclose(light, linear_table(grey)[grey], atol=3e-5)


@pytest.mark.parametrize(
    ("text", "hours"), [("+05:30", 5.5), ("-03:00", -3), ("Z", 0), ("+9", 9), ("0530", 5.5), ("-3:30", -3.5)]
)
def test_offsets(text, hours):
    assert parse_offset(text).utcoffset(None).total_seconds() == hours * 3600


@pytest.mark.parametrize("text", ["", "five", "+15:00", "+05:75", "nan", "5.5"])
def test_bad_offsets(text):
    with pytest.raises(InputError, match="offset"):
        parse_offset(text)


def _bomb(path, width, height):
    """A PNG whose header promises more pixels than its few bytes hold."""

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")
    )


def test_refusals(plain, tmp_path):
    def refused(name, words):
        with pytest.raises(PictureError, match=words) as caught:
            load_photo(tmp_path / name)
        assert "\n" not in str(caught.value)
        assert name in str(caught.value)

    refused("missing.jpg", "no such file")
    (tmp_path / "text.jpg").write_text("not a picture")
    refused("text.jpg", "not a picture")
    (tmp_path / "empty.jpg").write_bytes(b"")
    refused("empty.jpg", "not a picture")
    (tmp_path / "folder.jpg").mkdir()
    refused("folder.jpg", "folder")
    for name in ("cut.jpg", "cut.png", "cut.tif"):
        with Image.open(plain) as image:
            image.save(tmp_path / name)
        data = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(data[: len(data) // 2])
        refused(name, "damaged|cut short|not a picture|cannot be opened")
    Image.new("RGB", (1, 1)).save(tmp_path / "one.png")
    refused("one.png", "only 1x1")
    _bomb(tmp_path / "bomb.png", 60_000, 60_000)
    refused("bomb.png", "larger than")
    _bomb(tmp_path / "wide.png", 50_000, 100)
    refused("wide.png", "larger than")
    Image.fromarray(np.zeros((64, 64), np.float32)).save(tmp_path / "float.tif")
    refused("float.tif", "more than 16 bits")
    Image.new("RGB", (64, 64)).save(tmp_path / "a.gif")
    refused("a.gif", "GIF")
    frames = [Image.new("RGB", (64, 64), colour) for colour in ("red", "blue")]
    frames[0].save(tmp_path / "moving.png", save_all=True, append_images=frames[1:])
    refused("moving.png", "animated")


@pytest.mark.parametrize("mode", ["RGBA", "P", "LA", "CMYK", "1"])
def test_other_pixel_modes_are_read(plain, tmp_path, mode):
    name = tmp_path / ("a.tif" if mode == "CMYK" else "a.png")
    with Image.open(plain) as image:
        image.convert(mode).save(name)
        shape = (image.height, image.width)
    photo = load_photo(name)
    assert photo.luma.shape == shape
    assert photo.rgb.shape == (*shape, 3)

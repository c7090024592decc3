"""Formats beyond 8-bit pictures: 16-bit colour, FITS, HEIC, RAW; what is refused, and at what cost."""

from __future__ import annotations

import importlib.util
import struct
import time
import zlib

import numpy as np
import pytest
from astropy.io import fits
from PIL import Image
from whichsun.models.errors import MissingLibraryError, PictureError, WhichsunWarning
from whichsun.sim.outing import OutingSite
from whichsun.sim.photo.decoded import encoded
from whichsun.sim.photo.formats import decode_small_rgb
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import linear_table, load_photo, load_rgb
from whichsun.sim.photo.measure import PhotoOptions, measure_photo

RNG = np.random.default_rng(11)
DEEP = RNG.integers(0, 65536, (40, 50, 3)).astype(np.uint16)
LUMA = DEEP @ np.array([0.299, 0.587, 0.114])


def write_deep_png(path, pixels):
    """16-bit PNG, in colour or grey with alpha; each row unfiltered, as the PNG specification's filter type 0."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    height, width, channels = pixels.shape
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in pixels)
    header = struct.pack(">IIBBBBB", width, height, 16, {3: 2, 2: 4}[channels], 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + body)


def write_deep_tiff(path, pixels, order, deflate):
    """16-bit colour TIFF of one strip in either byte order (TIFF 6.0; Deflate is compression 8)."""
    height, width, _ = pixels.shape
    data = pixels.astype(f"{order}u2").tobytes()
    data = zlib.compress(data) if deflate else data
    bits_at = 8 + len(data)
    entries = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 3, bits_at),
        (259, 3, 1, 8 if deflate else 1),
    ]
    entries += [(262, 3, 1, 2), (273, 4, 1, 8), (277, 3, 1, 3), (278, 4, 1, height), (279, 4, 1, len(data))]
    ifd = struct.pack(f"{order}H", len(entries))
    for tag, kind, count, value in entries:
        short = kind == 3 and count == 1
        ifd += struct.pack(f"{order}HHI", tag, kind, count)
        ifd += struct.pack(f"{order}HH", value, 0) if short else struct.pack(f"{order}I", value)
    mark = b"II*\0" if order == "<" else b"MM\0*"
    head = mark + struct.pack(f"{order}I", bits_at + 6)
    path.write_bytes(head + data + struct.pack(f"{order}HHH", 16, 16, 16) + ifd + b"\0\0\0\0")


def test_sixteen_bits_of_a_png_are_kept(tmp_path):
    path = tmp_path / "deep.png"
    write_deep_png(path, DEEP)
    luma = load_photo(path).luma
    assert luma.dtype == np.uint16
    np.testing.assert_allclose(luma, LUMA, atol=0.51)
    np.testing.assert_allclose(load_rgb(path), DEEP >> 8, atol=1)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("deflate", [False, True])
def test_sixteen_bits_of_a_tiff_are_kept(tmp_path, order, deflate):
    path = tmp_path / "deep.tif"
    write_deep_tiff(path, DEEP, order, deflate)
    luma = load_photo(path).luma
    assert luma.dtype == np.uint16
    np.testing.assert_allclose(luma, LUMA, atol=0.51)


def test_deep_grey_tiff_and_jpeg_2000(tmp_path):
    grey = DEEP[..., 0]
    for name in ("a.tif", "a.jp2"):
        Image.fromarray(grey).save(tmp_path / name)
        luma = load_photo(tmp_path / name).luma
        assert luma.dtype == np.uint16
        assert np.max(np.abs(luma.astype(int) - grey)) < (1 if name == "a.tif" else 3000)


def test_depth_that_is_lost_is_told(tmp_path, pictures):
    """Pillow keeps eight bits of colour in JPEG 2000 and of grey with alpha; the spots are measured all the same."""
    with pytest.warns(WhichsunWarning, match=r"of 16 bits a channel only 8 .*colour JPEG 2000.*TIFF or PNG"):
        measured = measure_photo(
            pictures / "deep-colour.jp2", PhotoOptions(OutingSite(0, 0), "2026-03-20T06:00:00Z")
        )
    places = [(spot.x, spot.y) for spot in measured.shot.spots]
    np.testing.assert_allclose(sorted(places), [(-0.3, -0.2), (0.4, 0.3)], atol=0.005)
    write_deep_png(tmp_path / "alpha.png", DEEP[..., :2])
    assert "16 bits" in (load_photo(tmp_path / "alpha.png").doubt or "")


def test_nothing_is_told_where_all_bits_are_read(tmp_path, pictures):
    write_deep_png(tmp_path / "a.png", DEEP)
    write_deep_tiff(tmp_path / "a.tif", DEEP, "<", False)
    Image.fromarray(DEEP[..., 0]).save(tmp_path / "grey.jp2")
    for name in ("eight.jp2", "eight.j2k", "eight.jpg", "eight.png"):
        Image.fromarray((DEEP >> 8).astype(np.uint8)).save(tmp_path / name)
    real = next((pictures / "sdo-hmi-2023-01-31").glob("*.jp2"))
    for path in (*tmp_path.iterdir(), real):
        assert load_photo(path).doubt is None


def test_jpeg_gives_its_own_luma(tmp_path):
    """The Y of the file (ITU-R BT.601), not one made of colours that were cut off at 255 on the way."""
    path = tmp_path / "a.jpg"
    colour = np.zeros((64, 64, 3), np.uint8)
    colour[...] = (240, 120, 20)
    Image.fromarray(colour).save(path, quality=95)
    assert np.all(np.abs(load_photo(path).luma.astype(int) - 144.5) < 1.6)
    assert decode_small_rgb(path).shape == (8, 8, 3)


def test_linear_light_survives_its_coding():
    light = np.linspace(0, 1, 1001)
    codes = encoded(light)
    np.testing.assert_allclose(linear_table(codes)[codes], light, atol=2e-5)


# FITS


def sun_of(tmp_path, take_photo):
    """Linear light of a drawn disc with one spot above and right of the middle."""
    photo = load_photo(take_photo(tmp_path / "sun.png", xy=[(0.4, 0.5)], spot_radius=0.06, radius_px=90).path)
    return photo, linear_table(photo.luma)[photo.luma]


def test_fits_is_linear_upright_and_timed(tmp_path, take_photo):
    photo, light = sun_of(tmp_path, take_photo)
    hdu = fits.PrimaryHDU((light[::-1] * 20000).astype(np.float32))  # the first row is the lowest
    hdu.header["DATE-OBS"] = "2024-07-13T06:00:00.5"
    hdu.header["OBSGEO-B"], hdu.header["OBSGEO-L"] = 46.5, -30.0
    hdu.header["FOCALLEN"], hdu.header["XPIXSZ"] = 600.0, 3.76
    hdu.writeto(tmp_path / "sun.fits")
    read = load_photo(tmp_path / "sun.fits")
    assert read.luma.dtype == np.uint16
    again = linear_table(read.luma)[read.luma]
    inside = light > 0.1
    ratio = again[inside] / light[inside]
    np.testing.assert_allclose(ratio / np.median(ratio), 1, atol=2e-3)
    assert read.time_utc is not None
    assert read.time_utc.startswith("2024-07-13T06:00:00.5")
    assert read.site is not None
    assert (read.site.latitude_deg, read.site.longitude_deg) == (46.5, -30.0)
    assert (read.focal_length_mm, read.pixel_pitch_um) == (600.0, 3.76)
    one, other = measure_limb(photo).disc, measure_limb(read).disc
    assert (other.column, other.row, other.a) == pytest.approx((one.column, one.row, one.a), abs=0.03)
    assert load_rgb(tmp_path / "sun.fits").shape == (*read.luma.shape, 3)


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        # TAI is 37 s ahead of UTC since 2017 (IERS Bulletin C 52).
        ({"DATE-OBS": "2024-07-13T06:00:37", "TIMESYS": "TAI"}, "2024-07-13T06:00:00"),
        ({"DATE-OBS": "2024-07-13", "TIME-OBS": "06:00:00"}, "2024-07-13T06:00:00"),
        ({"MJD-OBS": 60504.25}, "2024-07-13T06:00:00"),
        ({"DATE-OBS": "2024-07-13"}, None),
        ({"DATE-OBS": "yesterdayT"}, None),
    ],
)
def test_times_of_fits(tmp_path, keys, expected):
    hdu = fits.PrimaryHDU(np.arange(64 * 64, dtype=np.int16).reshape(64, 64))
    hdu.header.update(keys)
    hdu.writeto(tmp_path / "a.fits")
    found = load_photo(tmp_path / "a.fits").time_utc
    assert (found is None) if expected is None else (found is not None and found.startswith(expected))


def test_compressed_fits_and_a_table_before_the_picture(tmp_path):
    picture = np.minimum(np.outer(np.arange(40), np.arange(50)), 1200).astype(np.int16)
    table = fits.BinTableHDU.from_columns([fits.Column("a", "J", array=np.arange(3))])
    tiles = fits.CompImageHDU(picture, compression_type="RICE_1")
    fits.HDUList([fits.PrimaryHDU(), table, tiles]).writeto(tmp_path / "a.fits.fz")
    luma = load_photo(tmp_path / "a.fits.fz").luma
    light = linear_table(luma)[luma]
    np.testing.assert_allclose(light, picture[::-1] / 1200, atol=2e-5)


def test_fits_that_cannot_be_measured(tmp_path):
    path = tmp_path / "a.fits"
    fits.PrimaryHDU().writeto(path)
    with pytest.raises(PictureError, match="no two-dimensional picture"):
        load_photo(path)
    fits.PrimaryHDU(np.zeros((64, 64), np.float32)).writeto(path, overwrite=True)
    with pytest.raises(PictureError, match="no light"):
        load_photo(path)
    fits.PrimaryHDU(np.ones((400, 400), np.float32)).writeto(path, overwrite=True)
    path.write_bytes(path.read_bytes()[:100_000])
    with pytest.raises(PictureError, match="damaged or cut short"):
        load_photo(path)
    fits.PrimaryHDU(np.ones((4, 4), np.float32)).writeto(path, overwrite=True)
    with pytest.raises(PictureError, match="only 4x4"):
        load_photo(path)


# Packages that may be missing


def without(monkeypatch, package):
    found = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *rest: None if name == package else found(name, *rest)
    )


def test_heic_without_its_package(tmp_path, monkeypatch):
    without(monkeypatch, "pillow_heif")
    (tmp_path / "a.heic").write_bytes(b"\0\0\0\x18ftypheic" + bytes(100))
    with pytest.raises(MissingLibraryError, match=r"pillow-heif.*a\.heic.*whichsun\[heic\]"):
        load_photo(tmp_path / "a.heic")


def test_heic_with_its_package(tmp_path, take_photo):
    package = pytest.importorskip("pillow_heif")
    package.register_heif_opener()
    truth = take_photo(tmp_path / "a.png", xy=[(0.3, 0.2)], radius_px=90)
    with Image.open(truth.path) as image:
        grey = np.asarray(image.convert("L"), float)
        image.save(tmp_path / "a.heic", quality=95)
    luma = load_photo(tmp_path / "a.heic").luma
    assert np.sqrt(np.mean((luma - grey) ** 2)) < 3


def test_heic_of_ten_bits_says_that_eight_are_read(tmp_path):
    package = pytest.importorskip("pillow_heif")
    height, width, _ = DEEP.shape
    deep = package.from_bytes("RGB;16", (width, height), DEEP.tobytes())
    deep.save(tmp_path / "ten.heic", quality=90, bit_depth=10)
    assert "of 10 bits a channel only 8 are read (HEIC)" in (load_photo(tmp_path / "ten.heic").doubt or "")
    package.from_pillow(Image.new("RGB", (64, 64))).save(tmp_path / "eight.heic")
    assert load_photo(tmp_path / "eight.heic").doubt is None


def test_raw_without_its_package(tmp_path, monkeypatch):
    without(monkeypatch, "rawpy")
    Image.new("RGB", (160, 120)).save(tmp_path / "a.tif")
    (tmp_path / "a.tif").rename(
        tmp_path / "a.NEF"
    )  # RAW files hold a thumbnail that must not be taken for the photo
    with pytest.raises(MissingLibraryError, match=r"rawpy.*a\.NEF.*whichsun\[raw\]"):
        load_photo(tmp_path / "a.NEF")


def test_a_raw_file_that_is_none(tmp_path):
    pytest.importorskip("rawpy")
    (tmp_path / "a.nef").write_bytes(b"II*\0" + bytes(1000))
    with pytest.raises(PictureError, match="RAW photo cannot be read"):
        load_photo(tmp_path / "a.nef")


# Cost of refusing


def test_a_real_panorama_is_refused_before_it_is_decoded(tmp_path):
    """50,000 x 1,000 px take 50 MB and half a second to decode; the refusal must need neither."""
    path = tmp_path / "wide.jpg"
    Image.new("L", (50_000, 1_000)).save(path)
    start = time.process_time()
    with pytest.raises(PictureError, match="50000x1000 pixels: is larger"):
        load_photo(path)
    assert time.process_time() - start < 0.2


def test_headers_that_promise_too_much_cost_nothing(tmp_path):
    """60,000 px a side by the header of a small file; decoded, each would take gigabytes."""
    header = fits.Header(
        [("SIMPLE", True), ("BITPIX", 16), ("NAXIS", 2), ("NAXIS1", 60_000), ("NAXIS2", 60_000)]
    )
    (tmp_path / "a.fits").write_bytes(header.tostring(padding=True).encode() + bytes(2880))
    Image.new("L", (64, 64)).save(tmp_path / "a.j2k")
    data = bytearray((tmp_path / "a.j2k").read_bytes())
    data[8:16] = struct.pack(">II", 60_000, 60_000)  # Xsiz and Ysiz (ISO/IEC 15444-1, A.5.1)
    (tmp_path / "a.j2k").write_bytes(data)
    write_deep_tiff(tmp_path / "a.tif", DEEP, "<", False)
    data = (tmp_path / "a.tif").read_bytes()
    for tag, size in ((256, 50), (257, 40)):
        data = data.replace(struct.pack("<HHII", tag, 4, 1, size), struct.pack("<HHII", tag, 4, 1, 60_000))
    (tmp_path / "a.tif").write_bytes(data)
    for name in ("a.fits", "a.j2k", "a.tif"):
        start = time.process_time()
        with pytest.raises(PictureError, match="larger than 150 megapixels"):
            load_photo(tmp_path / name)
        assert time.process_time() - start < 0.5


def test_moving_pictures_are_refused(tmp_path):
    frames = [Image.new("RGB", (64, 64), colour) for colour in ("red", "blue")]
    for name, words in (("a.png", "animated"), ("a.gif", "GIF"), ("a.webp", "WEBP")):
        frames[0].save(tmp_path / name, save_all=True, append_images=frames[1:])
        with pytest.raises(PictureError, match=words):
            load_photo(tmp_path / name)


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"subsampling": 0}, {"turned": True}])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_jpeg_decoded_into_the_array_is_as_decoded_by_pillow(tmp_path, mode, options):
    """Odd sides, so that rows and blocks end within one another; EXIF orientation 6 is a quarter turn."""
    pixels = RNG.integers(0, 256, (67, 91, 3) if mode == "RGB" else (67, 91)).astype(np.uint8)
    turned = "turned" in options
    exif = Image.Exif()
    exif[0x0112] = 6 if turned else 1
    path = tmp_path / "a.jpg"
    Image.fromarray(pixels).save(path, quality=90, exif=exif, **({} if turned else options))
    with Image.open(path) as image:
        image.draft("L", image.size)
        expected = np.asarray(image)
    expected = np.rot90(expected, -1) if turned else expected
    luma = load_photo(path).luma
    np.testing.assert_array_equal(luma, expected)
    assert luma.base is None
    assert luma.flags["C_CONTIGUOUS"]

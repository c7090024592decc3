"""Whether one colour is clipped: by the camera's thumbnail, the disc's uppermost part or upper half, a small copy."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image
from whichsun.render.limb_darkening import limb_coefficients
from whichsun.render.tone import srgb_encode
from whichsun.sim.photo import clipping
from whichsun.sim.photo.clipping import clipped_colour
from whichsun.sim.photo.formats import decode_small_rgb, decode_thumbnail, decode_top_rgb
from whichsun.sim.photo.limb import measure_limb
from whichsun.sim.photo.load import Photo, load_photo

CLIPPED, FREE = (1, 0.3, 0.05), (0.5, 0.3, 0.05)


def exif_with(thumbnail: Image.Image) -> bytes:
    """EXIF of one thumbnail, as cameras write it (Exif 2.32, section 4.5.5): an empty IFD0, then IFD1."""
    stream = io.BytesIO()
    thumbnail.save(stream, "JPEG", quality=85)
    data = stream.getvalue()
    entries = ((0x0103, 3, 6), (0x0201, 4, 8 + 6 + 2 + 36 + 4), (0x0202, 4, len(data)))
    ifd1 = struct.pack("<H", 3) + b"".join(
        struct.pack("<HHLL", tag, kind, 1, value) for tag, kind, value in entries
    )
    tiff = b"II*\0" + struct.pack("<LHL", 8, 0, 14) + ifd1 + struct.pack("<L", 0) + data
    return b"Exif\0\0" + tiff


@pytest.fixture(scope="module")
def suns(take_photo, tmp_path_factory):
    """Pictures in colour of a Sun with a clipped red, and of one without."""
    folder = tmp_path_factory.mktemp("suns")
    found = {}
    for name, tint in (("clipped", CLIPPED), ("free", FREE)):
        path = take_photo(
            folder / f"{name}.png", xy=[(0.3, 0.2)], radius_px=150, exposure=1.5, tint=tint
        ).path
        found[name] = Image.open(path).convert("RGB")
    return found


def saved(picture: Image.Image, path, **options) -> Photo:
    picture.save(path, **options)
    return load_photo(path)


def disc_of(photo: Photo):
    return measure_limb(photo).disc


def small(picture: Image.Image) -> Image.Image:
    """As cameras make it: 160 x 120 with black bars where the shape differs."""
    thumbnail = Image.new("RGB", (160, 120))
    part = picture.copy()
    part.thumbnail((160, 120))
    thumbnail.paste(part, ((160 - part.width) // 2, (120 - part.height) // 2))
    return thumbnail


@pytest.fixture
def no_small_copy(monkeypatch):
    def fail(*_):
        raise AssertionError("a small copy was decoded")

    monkeypatch.setattr(Photo, "small_rgb", fail)


@pytest.mark.parametrize(("name", "least", "most"), [("clipped", 0.2, 1.0), ("free", 0.0, 0.0)])
@pytest.mark.parametrize("ending", ["jpg", "progressive", "png"])
def test_share_of_every_kind_of_file(suns, tmp_path, name, least, most, ending):
    progressive = {"progressive": True} if ending == "progressive" else {}
    photo = saved(suns[name], tmp_path / f"a.{'png' if ending == 'png' else 'jpg'}", **progressive)
    assert least <= clipped_colour(photo, disc_of(photo)) <= most


def test_upper_half_is_enough(suns, tmp_path, no_small_copy):
    photo = saved(suns["clipped"], tmp_path / "a.jpg", quality=90)
    disc = disc_of(photo)
    top = decode_top_rgb(photo.path, 0.6)
    whole = decode_small_rgb(photo.path)
    assert top is not None
    assert 0.4 * len(whole) < len(top) < 0.9 * len(whole)
    np.testing.assert_array_equal(top[:-1], whole[: len(top) - 1])
    assert clipped_colour(photo, disc) > 0.2


def test_a_hidden_upper_half_is_not_taken_for_the_disc(suns, tmp_path):
    picture = suns["clipped"].copy()
    photo = saved(picture, tmp_path / "a.jpg", quality=90)
    disc = disc_of(photo)
    picture.paste((10, 10, 10), (0, 0, picture.width, int(disc.row - 0.2 * disc.b)))
    assert clipped_colour(saved(picture, tmp_path / "b.jpg", quality=90), disc) > 0.2


def test_clear_thumbnail_spares_the_small_copy(suns, tmp_path, no_small_copy, monkeypatch):
    monkeypatch.setattr(clipping, "decode_top_rgb", lambda *_: None)
    photo = saved(suns["free"], tmp_path / "a.jpg", quality=90, exif=exif_with(small(suns["free"])))
    assert decode_thumbnail(photo.path).shape == (120, 160, 3)
    assert clipped_colour(photo, disc_of(photo)) == 0.0


@pytest.mark.parametrize("thumbnail", ["clipped", "free"])
def test_thumbnail_that_shows_clipping_or_another_picture_settles_nothing(suns, tmp_path, thumbnail):
    """The one of the Sun that is not clipped stands for a photo brightened after its thumbnail was made."""
    exif = exif_with(small(suns[thumbnail]))
    photo = saved(suns["clipped"], tmp_path / "a.jpg", quality=90, exif=exif)
    assert clipped_colour(photo, disc_of(photo)) > 0.2


@pytest.mark.parametrize("damage", [b"\xff\xd8\xff\xe0nothing", b""])
def test_damaged_thumbnail_is_none(suns, tmp_path, damage):
    exif = exif_with(small(suns["free"]))
    start = exif.index(b"\xff\xd8")
    photo = saved(suns["free"], tmp_path / "a.jpg", exif=exif[:start] + damage)
    assert decode_thumbnail(photo.path) is None
    assert clipped_colour(photo, disc_of(photo)) == 0.0


def coloured_sun(exposure: float, tint, low: float) -> Image.Image:
    """A disc of 640 px with the limb darkening of each colour, whose light falls downward as behind low air.

    `low`: magnitudes of green lost from the top to the bottom; red loses 0.6 and blue 1.7 times that, about as
    Rayleigh scattering and dust together do (from memory).
    """
    rows, columns = np.ogrid[:760, :900]
    x, y = (columns - 450) / 320, (rows - 380) / 320
    square = x**2 + y**2
    mu = np.sqrt(np.clip(1 - square, 0, 1))
    coefficients = limb_coefficients("neckel-labs", (610.0, 550.0, 460.0))
    light = np.stack([np.polynomial.polynomial.polyval(mu, one) for one in coefficients], axis=-1)
    light *= 10 ** (-0.2 * low * np.array([0.6, 1.0, 1.7]) * (1 + y[..., None]))
    light *= exposure * np.array(tint) * (square < 1)[..., None]
    noise = np.random.default_rng(3).normal(0, 3, (*square.shape, 3))
    return Image.fromarray(np.clip(255 * srgb_encode(np.clip(light, 0, 1)) + noise, 0, 255).astype(np.uint8))


def test_first_rows_of_a_file_with_a_long_header(suns, tmp_path):
    """40 kB of comment, as a maker's notes may be, in a file of 30 kB of picture; 255 before a marker is padding."""
    path = tmp_path / "a.jpg"
    suns["free"].save(path, quality=90, comment=b"x" * 40_000)
    jpeg = path.read_bytes()
    path.write_bytes(jpeg[:2] + b"\xff\xff" + jpeg[2:])
    whole, top = decode_small_rgb(path), decode_top_rgb(path, 0.1)
    assert top is not None
    assert 0 < len(top) < 0.25 * len(whole)
    np.testing.assert_array_equal(top[:-1], whole[: len(top) - 1])


@pytest.mark.parametrize("low", [0.0, 0.6])
@pytest.mark.parametrize("tint", [(1, 0.9, 0.8), (1, 0.6, 0.2), (0.9, 1, 0.95), (0.8, 0.9, 1)])
def test_cap_never_clears_a_clipped_disc_and_spares_the_clear_one(tint, low, tmp_path, monkeypatch):
    monkeypatch.setattr(clipping, "decode_thumbnail", lambda *_: None)
    cleared = []
    for exposure in (0.6, 0.8, 1.0, 1.1, 1.4, 1.8):
        photo = saved(coloured_sun(exposure, tint, low), tmp_path / "a.jpg", quality=92, subsampling=2)
        disc = disc_of(photo)
        spared: list[bool] = []
        with monkeypatch.context() as watched:
            watched.setattr(clipping, "_upper_half", lambda *_, spared=spared: spared.append(False))
            clipped_colour(photo, disc)
        # The whole picture's small copy is the judge.
        top, bottom, left, right = (value // 8 for value in clipping._square(disc, photo.luma.shape))
        inner = photo.small_rgb()[top : bottom + 1, left : right + 1].reshape(-1, 3)
        cleared.append(not spared)
        assert spared or (inner >= 254).mean(axis=0).max() < clipping.CLIPPED_COLOUR
    assert cleared[0]
    assert not cleared[-1]

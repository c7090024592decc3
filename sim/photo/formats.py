"""Decoders: from a file of each format to upright luma, and to upright colour for pictures."""

from __future__ import annotations

import importlib.util
import io
import sys
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from ...models.errors import MissingLibraryError, PictureError
from .decoded import LUMA, MAX_PIXELS, MAX_SIDE_PX, Decoded, check_size, eight_bits
from .exif import exif_facts
from .fits import decode_fits
from .raw import decode_raw

SMALL = 8
_END_OF_JPEG, _GREY = b"\xff\xd9", 128
_FRAMES, _SCAN = (0xC0, 0xC1), b"\xda"  # markers of sequential pictures and of their data
_MCU_ROWS, _LEAST_DATA = 32, 64  # rows coded together, at most; bytes that hold the data's own header
_MOST_HEADER = 1 << 18  # bytes before the data
_FILE_AHEAD = 0.05  # of the file, for rows that take up more of it than others
_THUMBNAIL_TAGS = 0x0201, 0x0202  # JPEGInterchangeFormat and its length (Exif 2.32, section 4.6.4)
_TIFF_START = 6  # after "Exif" and two zeros
_FORMATS = ("JPEG", "MPO", "PNG", "TIFF", "JPEG2000", "HEIF")
_HEIF_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
# fmt: off
RAW_ENDINGS = (
    ".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dcr", ".dng", ".erf", ".kdc", ".mef", ".mos", ".mrw", ".nef",
    ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".sr2", ".srf", ".srw", ".x3f",
)
ENDINGS = (
    ".jpg", ".jpeg", ".jpe", ".mpo", ".png", ".tif", ".tiff", ".jp2", ".j2k", ".jpx", ".heic", ".heif", ".fits",
    ".fit", ".fts", ".fz", *RAW_ENDINGS,
)
# fmt: on
"""Endings of picture files, lower case."""

_STRIP_ROWS = 128
_SOC_SIZ, _SIZ_COMPONENTS, _SIZ_WITHIN = b"\xff\x4f\xff\x51", 40, 1 << 20  # ISO/IEC 15444-1, A.4.1 and A.5.1
_DEEP = {"RGB;16L": "RGB;16B", "RGB;16B": "RGB;16L", "RGBA;16L": "RGBA;16B", "RGBA;16B": "RGBA;16L"}


def kind_of(path: Path) -> str:
    """``fits``, ``raw``, ``heif`` or ``picture``, from the first bytes and, for RAW, the ending."""
    with path.open("rb") as stream:
        head = stream.read(16)
    if head.startswith(b"SIMPLE  ="):
        return "fits"
    if path.suffix.lower() in RAW_ENDINGS:
        return "raw"
    return "heif" if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS else "picture"


def decode(path: Path, zone: Any) -> Decoded:
    """Luma and facts of any file that can be read; `zone` is the offset of the camera's clock, if given.

    Raises
    ------
    PictureError
        Not a picture, of an unread format, too large, too small or animated.
    MissingLibraryError
        The format needs a package that is not installed.
    """
    kind = kind_of(path)
    if kind == "fits":
        return decode_fits(path)
    if kind == "raw":
        return decode_raw(path, zone)
    return _decode_picture(path, zone)


def decode_rgb(path: Path) -> npt.NDArray[np.uint8]:
    """Upright colour, shape (rows, columns, 3); errors as :func:`decode`."""
    if kind_of(path) in ("fits", "raw"):
        grey = eight_bits(decode(path, None).luma)
        return np.repeat(grey[..., None], 3, axis=2)
    with path.open("rb") as stream:
        image = _upright(_open(path, stream))
        if image.mode.startswith("I"):
            deep = np.clip(np.asarray(image), 0, 65535).astype(np.uint16)
            return np.repeat((deep >> 8).astype(np.uint8)[..., None], 3, axis=2)
        return _array(image if image.mode == "RGB" else image.convert("RGB"))


def decode_small_rgb(path: Path) -> npt.NDArray[np.uint8]:
    """Upright colour at about an eighth of the size; errors as :func:`decode`."""
    if kind_of(path) in ("fits", "raw"):
        return decode_rgb(path)[::SMALL, ::SMALL]
    with path.open("rb") as stream:
        image = _open(path, stream)
        if image.mode.startswith("I"):
            return decode_rgb(path)[::SMALL, ::SMALL]
        if image.format in ("JPEG", "MPO") and image.mode == "RGB":
            image.draft("RGB", (image.width // SMALL, image.height // SMALL))
        else:
            image = _upright(image)
            image = (image if image.mode == "RGB" else image.convert("RGB")).reduce(SMALL)
        return np.asarray(_upright(image))


def decode_top_rgb(path: Path, share: float) -> npt.NDArray[np.uint8] | None:
    """The same of the first `share` of the rows, or fewer where they take up more of the file than that and a
    little; None where a file's rows do not follow one another from the top (all but upright baseline JPEG)."""
    from PIL import Image

    if kind_of(path) != "picture":
        return None
    with path.open("rb") as stream:
        image = Image.open(stream)
        if not _rows_follow(image):
            return None
        stream.seek(0)
        length = int((share + _FILE_AHEAD) * path.stat().st_size)
        jpeg = stream.read(_MOST_HEADER + length)
    rows = min(-(-int(share * image.height) // _MCU_ROWS) * _MCU_ROWS, image.height)
    head = _first_rows(jpeg, rows, length)
    if head is None:
        return None
    image = Image.open(io.BytesIO(head))
    image.draft("RGB", (image.width // SMALL, image.height // SMALL))
    small = np.asarray(image)
    filled = np.all(small == _GREY, axis=(1, 2))
    if np.all(filled):
        return None
    return small[: len(small) - int(np.argmin(filled[::-1])) - 1] if filled[-1] else small


def decode_thumbnail(path: Path) -> npt.NDArray[np.uint8] | None:
    """Colour of the thumbnail in the EXIF of an upright baseline JPEG, None where there is none."""
    from PIL import ExifTags, Image

    if kind_of(path) != "picture":
        return None
    with path.open("rb") as stream:
        image = Image.open(stream)
        if not _rows_follow(image):
            return None
        second = getattr(ExifTags.IFD, "IFD1", None)  # unknown to older versions of Pillow
        tags = {} if second is None else image.getexif().get_ifd(second)
        start, length = (tags.get(tag) for tag in _THUMBNAIL_TAGS)
        if not isinstance(start, int) or not isinstance(length, int):
            return None
        data = image.info["exif"][_TIFF_START + start :][:length]
    try:
        with Image.open(io.BytesIO(data), formats=("JPEG",)) as thumbnail:
            return np.asarray(thumbnail.convert("RGB")) if max(thumbnail.size) < 1000 else None
    except Exception:  # a foreign thumbnail; the photo itself was read
        return None


def _first_rows(jpeg: bytes, rows: int, length: int) -> bytes | None:
    """A JPEG with the first `length` bytes of its data, said to be of `rows` rows (ITU-R T.81, B.2.2); where the
    data end earlier, a decoder fills the rest with grey. None where the headers are longer than `jpeg`."""
    at, frame = 2, 0
    while jpeg[at + 1 : at + 2] != _SCAN:
        if at + 4 > len(jpeg):
            return None
        if jpeg[at + 1] in _FRAMES:
            frame = at
        # Any number of bytes 255 may stand before a marker.
        at += 1 if jpeg[at + 1] == 255 else 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    head = jpeg[: frame + 5] + rows.to_bytes(2, "big") + jpeg[frame + 7 : at]
    return head + jpeg[at : at + _LEAST_DATA + length] + _END_OF_JPEG


def _rows_follow(image: Any) -> bool:
    """Whether a file is an upright JPEG in colour with its rows in order."""
    if image.format not in ("JPEG", "MPO") or image.mode != "RGB" or image.info.get("progressive"):
        return False
    return not _turned(image)


def _decode_picture(path: Path, zone: Any) -> Decoded:
    with path.open("rb") as stream:
        image = _open(path, stream)
        layout = _raw_mode(image)  # asked before the EXIF, for which a PNG is decoded
        if image.format in ("JPEG", "MPO") and image.mode == "RGB":
            image.draft("L", image.size)  # the luma channel alone, at full size
        facts = exif_facts(image.getexif(), zone)
        facts["doubt"] = _depth_lost(image, layout, path)
        if layout in _DEEP:
            return Decoded(_deep_luma(path, image, layout), facts)
        luma = _decoded_in_place(image)
        if luma is not None:
            return Decoded(luma, facts)
        image = _upright(image)
    if image.mode == "F" or (image.mode == "I" and np.max(np.asarray(image)) > 65535):
        raise PictureError(path.name, "holds more than 16 bits a pixel", "save it with 8 or 16 bits")
    if image.mode.startswith("I"):
        return Decoded(np.clip(np.asarray(image), 0, 65535).astype(np.uint16), facts)
    if image.mode != "L":
        image = image.convert("L") if image.mode in ("RGB", "1") else image.convert("RGB").convert("L")
    return Decoded(_array(image), facts)


def _decoded_in_place(image: Any) -> npt.NDArray[np.uint8] | None:
    """Luma of an upright JPEG, decoded into the array itself; None of other pictures."""
    from PIL import Image

    if image.format not in ("JPEG", "MPO") or image.mode != "L" or _turned(image):
        return None
    luma = np.empty(image.size[::-1], np.uint8)
    # Pillow decodes into the memory that a picture has, if it has some.
    memory = image.im = Image.frombuffer("L", image.size, luma, "raw", "L", 0, 1).im
    image.load()
    return luma if image.im is memory else _array(image)


def _open(path: Path, stream: Any) -> Any:
    """Open lazily and refuse what must not be decoded."""
    from PIL import Image, UnidentifiedImageError

    hint = "give a JPEG, PNG or TIFF"
    if kind_of(path) == "heif":
        if importlib.util.find_spec("pillow_heif") is None:
            raise MissingLibraryError(
                "pillow-heif", f"HEIC photos ({path.name})", "pip install 'whichsun[heic]'"
            )
        import pillow_heif  # pyright: ignore[reportMissingImports]

        pillow_heif.register_heif_opener()
    try:
        image = Image.open(stream)
    except UnidentifiedImageError:
        raise PictureError(path.name, "is not a picture that can be read", hint) from None
    except Image.DecompressionBombError:
        limit = f"is larger than {MAX_PIXELS // 10**6} megapixels or {MAX_SIDE_PX} pixels a side"
        raise PictureError(path.name, limit, "crop or shrink it") from None
    if image.format not in _FORMATS:
        raise PictureError(
            path.name, f"{image.format} pictures are not read", "convert it to JPEG, PNG or TIFF"
        )
    check_size(path.name, *image.size)
    if image.format == "PNG" and getattr(image, "is_animated", False):
        raise PictureError(path.name, "is an animated picture", "save one frame of it")
    return image


def _upright(image: Any) -> Any:
    """The picture turned as its EXIF says; itself, and no copy, where it stands upright."""
    from PIL import ImageOps

    image.load()
    return ImageOps.exif_transpose(image) if _turned(image) else image


def _turned(image: Any) -> bool:
    from PIL import ExifTags

    return image.getexif().get(ExifTags.Base.Orientation, 1) != 1


def _array(image: Any) -> npt.NDArray[np.uint8]:
    """The pixels of an 8-bit picture, copied in strips so that no second copy of the whole is needed."""
    bands = len(image.getbands())
    width, height = image.size
    array = np.empty((height, width) if bands == 1 else (height, width, bands), np.uint8)
    for top in range(0, height, _STRIP_ROWS):
        end = min(top + _STRIP_ROWS, height)
        array[top:end] = np.asarray(image.crop((0, top, width, end)))
    return array


def _raw_mode(image: Any) -> str:
    """How the file lays out a pixel, empty where unknown."""
    if image.format not in ("PNG", "TIFF") or not image.tile:
        return ""
    arguments = image.tile[0][3]
    mode = arguments if isinstance(arguments, str) else str(arguments[0]) if arguments else ""
    return mode.replace(";16N", ";16L" if sys.byteorder == "little" else ";16B")


def _depth_lost(image: Any, layout: str, path: Path) -> str | None:
    """What to tell of a picture with more than 8 bits a channel of which the decoder keeps eight."""
    if layout in _DEEP or image.mode.startswith(("I", "F")):
        return None
    if ";16" in layout:
        bits = 16
    elif image.format == "JPEG2000":
        bits = _bits_of_jpeg_2000(path)
    else:
        bits = int(image.info.get("bit_depth", 8))  # pillow-heif tells it
    if bits <= 8:
        return None
    kinds = {"JPEG2000": "colour JPEG 2000", "HEIF": "HEIC"}
    kind = kinds.get(image.format, f"{image.format} of this layout")
    return f"of {bits} bits a channel only 8 are read ({kind}); save it as 16-bit TIFF or PNG in colour to keep all"


def _bits_of_jpeg_2000(path: Path) -> int:
    """Depth of the deepest component by the image and tile size marker; 8 where there is none."""
    with path.open("rb") as stream:
        head = stream.read(_SIZ_WITHIN)
    start = head.find(_SOC_SIZ)
    at = start + _SIZ_COMPONENTS
    if start < 0 or at + 2 > len(head):
        return 8
    sizes = head[at + 2 :: 3][: int.from_bytes(head[at : at + 2])]
    return max(((size & 0x7F) + 1 for size in sizes), default=8)


def _deep_luma(path: Path, image: Any, layout: str) -> npt.NDArray[np.uint16]:
    """Luma of a colour picture with 16 bits a channel, of which Pillow's own modes hold eight.

    The file is decoded twice, once for the high bytes and once, as if of the other byte order, for the low.
    """
    high = _upright(image)
    width, height = high.size
    luma = np.zeros((height, width), np.float32)
    _add_luma(luma, high, 256)
    del high
    with path.open("rb") as stream:
        other = _open(path, stream)
        other.tile = [_with_mode(tile, layout) for tile in other.tile]
        _add_luma(luma, _upright(other), 1)
    return np.round(luma).astype(np.uint16)


def _with_mode(tile: Any, mode: str) -> Any:
    arguments = tile[3]
    swapped = _DEEP[mode]
    new = swapped if isinstance(arguments, str) else (swapped, *arguments[1:])
    return tile._replace(args=new) if hasattr(tile, "_replace") else (*tile[:3], new)


def _add_luma(luma: npt.NDArray[np.float32], image: Any, factor: int) -> None:
    width, height = image.size
    weights = factor * np.array(LUMA, np.float32)
    for top in range(0, height, _STRIP_ROWS):
        end = min(top + _STRIP_ROWS, height)
        luma[top:end] += np.asarray(image.crop((0, top, width, end)))[..., :3] @ weights

"""A film from frames: GIF by Pillow; MP4 and WebM by an ffmpeg program on the PATH. Written whole."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from ..models.errors import InputError, MissingLibraryError

Frame = npt.NDArray[np.uint8]

_ENCODERS = {
    ".mp4": ["-c:v", "libx264", "-crf", "18", "-pix_fmt", "yuv420p", "-movflags", "+faststart"],
    ".webm": ["-c:v", "libvpx-vp9", "-crf", "30", "-b:v", "0", "-pix_fmt", "yuv420p", "-row-mt", "1"],
}
FILM_KINDS = (".gif", *_ENCODERS)


def check_film(path: Path | str) -> None:
    """Refuse, before any work, a name of another kind and a kind whose encoder is not there.

    Raises
    ------
    InputError
        The name does not end in one of `FILM_KINDS`.
    MissingLibraryError
        MP4 or WebM without ffmpeg.
    """
    kind = Path(path).suffix.lower()
    if kind not in FILM_KINDS:
        raise InputError("output", f"must be a name that ends in {', '.join(FILM_KINDS)}", str(path))
    if kind in _ENCODERS and shutil.which("ffmpeg") is None:
        raise MissingLibraryError(
            "ffmpeg", "MP4 and WebM", "apt install ffmpeg, or give a name that ends in .gif"
        )


def write_film(path: Path | str, frames: Iterable[Frame], fps: float, colours: Frame) -> None:
    """Write `frames` (height, width, 3), uint8, all of one size with even sides, at `fps` a second.

    `colours` is any picture, (rows, columns, 3), that holds the colours of all frames: a GIF has 256 of them.
    It shows each frame for a whole number of hundredths of a second, two or more, and repeats for ever.

    Raises
    ------
    InputError, MissingLibraryError
        See :func:`check_film`; or ffmpeg fails, with its last line.
    """
    check_film(path)
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".film-", suffix=path.suffix.lower())
    os.close(handle)
    try:
        if path.suffix.lower() == ".gif":
            _write_gif(temporary, iter(frames), fps, colours)
        else:
            _write_by_ffmpeg(temporary, iter(frames), fps, _ENCODERS[path.suffix.lower()])
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    finally:
        Path(temporary).unlink(missing_ok=True)


def _write_gif(path: str, frames: Iterator[Frame], fps: float, colours: Frame) -> None:
    """All frames in one palette, so that no colour flickers."""
    palette = Image.fromarray(colours).quantize(256, method=Image.Quantize.MEDIANCUT)

    def reduced() -> Iterator[Image.Image]:
        for frame in frames:
            yield Image.fromarray(frame).quantize(palette=palette, dither=Image.Dither.NONE)

    images = reduced()
    options: dict[str, Any] = {"duration": 10 * max(2, round(100 / fps)), "loop": 0, "optimize": False}
    next(images).save(path, format="GIF", save_all=True, append_images=images, **options)


def _write_by_ffmpeg(path: str, frames: Iterator[Frame], fps: float, encoder: list[str]) -> None:
    first = next(frames)
    height, width = first.shape[:2]
    source = ["-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{width}x{height}", "-r", f"{fps:g}", "-i", "-"]
    command = ["ffmpeg", "-v", "error", "-y", *source, "-an", *encoder, path]
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=said)
        assert process.stdin is not None
        try:
            # Where ffmpeg gives up, the pipe breaks; its own words are told below.
            with contextlib.suppress(BrokenPipeError):
                process.stdin.write(first.tobytes())
                for frame in frames:
                    process.stdin.write(frame.tobytes())
            with contextlib.suppress(BrokenPipeError):
                process.stdin.close()
        except BaseException:
            process.kill()
            raise
        finally:
            code = process.wait()
        said.seek(0)
        lines = said.read().decode("utf-8", "replace").strip().splitlines()
    if code:
        last = lines[-1] if lines else f"exit code {code}"
        raise InputError("output", f"cannot be encoded by ffmpeg: {last}", None, "take a .gif instead")

"""Invented outings with photos, for the report."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import ExifTags, Image, ImageDraw
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import Options
from whichsun.sim.compare.drawing import Design, draw_outing
from whichsun.sim.compare.scores import Scores, score_outing
from whichsun.sim.outing import Outing, OutingSite, Shot
from whichsun.sim.outing_file import outing_text, read_outing
from whichsun.sim.report.contents import Source, contents
from whichsun.sim.report.document import Document
from whichsun.sim.report.facts import named_apart
from whichsun.sim.report.html import html_of
from whichsun.sim.rotation import rotation_law


def dotted_disc(shot: Shot, columns: int = 640, rows: int = 480) -> Image.Image:
    """A flat bright disc with a dark dot at every spot of a shot."""
    image = Image.new("RGB", (columns, rows), (12, 10, 8))
    pen = ImageDraw.Draw(image)
    assert shot.centre_px is not None
    assert shot.semi_axes_px is not None
    (column, row), (across, along) = shot.centre_px, shot.semi_axes_px
    pen.ellipse((column - across, row - along, column + across, row + along), (230, 170, 80))
    for spot in shot.spots:
        x, y = column + across * spot.x, row - along * spot.y
        pen.ellipse((x - 3, y - 3, x + 3, y + 3), (60, 40, 20))
    return image


def with_gps(image: Image.Image, path: Path) -> None:
    """Save as JPEG with the EXIF of a camera that knows where it is."""
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "invented maker"
    exif.get_ifd(ExifTags.IFD.GPSInfo).update(
        {
            ExifTags.GPS.GPSLatitudeRef: "N",
            ExifTags.GPS.GPSLatitude: (46.0, 31.0, 23.5),
            ExifTags.GPS.GPSLongitudeRef: "W",
            ExifTags.GPS.GPSLongitude: (30.0, 17.0, 44.5),
        }
    )
    image.save(path, exif=exif)


EVIL = "<script>alert('x')</script>&\"'\u202egnp.exe"


def invented_outing() -> Outing:
    """Two photos at a place on the open sea, whose latitude and longitude are easily found in a text."""
    site = OutingSite(46.523194, -30.295694, 17.0)
    design = Design(site, ("2027-04-18T07:40:00Z", "2027-04-18T20:20:00Z"), place_sigma=0.002)
    model, law = get_model("distant-sphere"), rotation_law("howard-1984")
    outing = draw_outing(np.random.default_rng(4), model, {}, design, law, spots=16)
    names, cameras = ("sub/sunrise.jpg", "sub/sunset.jpg"), ("invented camera", EVIL)
    shots = tuple(
        replace(shot, file=name, camera=camera, centre_px=(330.0, 244.0), semi_axes_px=(170.0, 168.0))
        for shot, name, camera in zip(outing.shots, names, cameras, strict=True)
    )
    return replace(outing, shots=shots)


@pytest.fixture(scope="session")
def outing_file(tmp_path_factory) -> Path:
    """An invented outing on disk, beside photos that know where they were taken."""
    folder = tmp_path_factory.mktemp("outing")
    outing = invented_outing()
    (folder / "sub").mkdir()
    for shot in outing.shots:
        with_gps(dotted_disc(shot), folder / shot.file)
    (folder / "outing.toml").write_text(outing_text(outing))
    return folder / "outing.toml"


@pytest.fixture(scope="session")
def scored(outing_file) -> Scores:
    measured, _ = named_apart(read_outing(outing_file), outing_file.parent)
    return score_outing(measured, [], Options(check=False), drivers=True)


@pytest.fixture(scope="session")
def document_of(outing_file, scored) -> Callable[..., tuple[Document, list[str]]]:
    """The report of the invented outing; keywords go into its source."""

    def make(**changes) -> tuple[Document, list[str]]:
        measured = read_outing(outing_file)
        photos = [outing_file.parent / shot.file for shot in measured.shots]
        source = Source(outing_file, photos, False, "", (EVIL,), dt.datetime(2027, 4, 19, tzinfo=dt.UTC))
        return contents(scored, replace(source, **changes))

    return make


@pytest.fixture(scope="session")
def page(document_of) -> str:
    return html_of(document_of()[0])

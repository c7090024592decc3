"""Synthetic photographs with known truth, and the real pictures' folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from whichsun.models.geometry import SunView
from whichsun.models.observables import unproject
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc, to_picture
from whichsun.sim.atmosphere import vertical_table


@dataclass(frozen=True)
class Truth:
    """What a synthetic photograph was made from; places in the disc frame, unrefracted."""

    path: Path
    centre_px: tuple[float, float]
    radius_px: float
    xy: np.ndarray
    radius: np.ndarray


def view_at(altitude_deg: float) -> SunView:
    """A far Sun due east at an altitude."""
    a = np.deg2rad(altitude_deg)
    direction = np.array([np.cos(a), 0, np.sin(a)])
    return SunView(direction, np.array(214.9), np.eye(3), np.full(3, np.nan), np.array(695700.0))


def photograph(
    path: Path,
    *,
    xy=(),
    spot_radius=0.03,
    radius_px: float = 130.0,
    offset_px=(0.0, 0.0),
    roll_deg: float = 0.0,
    altitude_deg: float = 60.0,
    noise_dn: float = 2.0,
    blur_px: float = 1.0,
    exposure: float = 0.85,
    horizon: float | None = None,
    tint=(0.95, 0.75, 0.45),
    margin: float = 1.3,
    seed: int = 1,
) -> Truth:
    """Render, blur, add noise, tone and save a picture of a disc with spots at disc places `xy`."""
    side = int(2 * margin * radius_px) + 20
    centre = ((side - 1) / 2 + offset_px[0], (side - 1) / 2 + offset_px[1])
    view = view_at(altitude_deg)
    places = np.array(xy, float).reshape(-1, 2)
    points = unproject(view, places[:, 0], places[:, 1]) if len(places) else np.zeros((0, 3))
    radius = np.broadcast_to(np.asarray(spot_radius, float), (len(places),))
    spots = SurfaceSpots(points, radius, seed=seed)
    frame = PictureFrame(side, side, centre, radius_px, roll_deg)
    table = vertical_table(np.deg2rad(altitude_deg), np.deg2rad(16 / 60))
    linear = render_disc(view, frame, spots, vertical_table=table, horizon=horizon, sky=0.01)
    rng = np.random.default_rng(seed)
    rgb = to_picture(linear, exposure=exposure, tint_rgb=tint, blur_px=blur_px, noise_dn=noise_dn, rng=rng)
    quality = {"quality": 92} if path.suffix.lower() in (".jpg", ".jpeg") else {}
    Image.fromarray(rgb).save(path, **quality)
    return Truth(path, centre, radius_px, places, radius)


@pytest.fixture(scope="session")
def take_photo():
    """The function that makes a synthetic photograph."""
    return photograph


@pytest.fixture(scope="session")
def pictures() -> Path:
    """Folder of the real pictures; origins in its README.md."""
    return Path(__file__).parents[2] / "data" / "photo"


def write_tagged(
    path: Path,
    source: Path,
    *,
    local: str | None = None,
    offset: str | None = None,
    gps: dict[int, object] | None = None,
    orientation: int | None = None,
) -> Path:
    """Copy a picture as JPEG with EXIF tags."""
    with Image.open(source) as image:
        exif = Image.Exif()
        inner = exif.get_ifd(0x8769)
        if local is not None:
            inner[0x9003] = local
        if offset is not None:
            inner[0x9011] = offset
        inner[0x920A] = 600.0
        if orientation is not None:
            exif[0x0112] = orientation
        if gps is not None:
            exif.get_ifd(0x8825).update(gps)
        exif[0x010F], exif[0x0110] = "Maker", "Maker Model 1"
        image.convert("RGB").save(path, quality=95, exif=exif)
    return path


@pytest.fixture(scope="session")
def tag_photo():
    """The function that copies a picture as JPEG with EXIF tags."""
    return write_tagged

"""A full-disc picture of the real Sun as a surface: unprojected into heliographic coordinates.

The picture's disc is found and its limb darkening fitted as for any photo that is measured. Its observer is
taken to be at the Earth's centre; for a craft a hundredth nearer the Sun, places differ by up to 0.003 deg.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from ..models.constants import SUN_RADIUS_KM
from ..models.ephemeris import earth_fixed_sun
from ..models.errors import InputError, PictureError
from ..models.geometry import SunView
from ..models.observables import body_vector, dot, project, unproject
from ..models.place import Instants, iso_utc, parse_utc, utc_days_of
from ..render.texture import SurfaceTexture
from .rotation import RotationLaw

_EDGE = (
    0.985  # limb radii: nearer the limb a picture's own blur mixes the sky in, so a quiet Sun is taken there
)
_MOST_CELLS = 8192
LAST_DAYS = 14.0
"""As long as a picture's face may be seen; few spots live longer (common practice, no source)."""
_BRIGHTEST = 1.5  # faculae are fainter; what is brighter is a caption


@dataclass(frozen=True)
class RealSurface:
    """A real picture's surface at the instant it was taken.

    Parameters
    ----------
    texture : SurfaceTexture
    utc_days : float
        Of the picture, from J2000.
    time_utc : str
    file, sha256 : str
        Name and content of the picture.
    north_deg : float
        Angle of the Sun's north from the picture's up, anticlockwise.
    """

    texture: SurfaceTexture = field(repr=False)
    utc_days: float
    time_utc: str
    file: str
    sha256: str
    north_deg: float = 0.0

    def carried(self, utc_days: float, law: RotationLaw, epoch_days: float | None = None) -> SurfaceTexture:
        """The surface at another instant, every latitude drifted by the rotation law.

        Where `epoch_days`, the outing's first shot, is more than `LAST_DAYS` away from the picture, no spot of it lives
        any more and the law would only shear it: it is laid there as it is, and drifts from then on.
        """
        start = self.utc_days if epoch_days is None or self.lives(epoch_days) else epoch_days
        cells = self.texture.brightness
        rows, columns = cells.shape
        latitude = ((np.arange(rows) + 0.5) / rows - 0.5) * math.pi
        shift = law.drift(latitude) * (utc_days - start) * columns / (2 * math.pi)
        moved = np.empty_like(cells)
        for first in range(0, rows, 64):
            part = slice(first, min(first + 64, rows))
            source = (np.arange(columns) - shift[part, None]) % columns
            low = np.floor(source).astype(np.intp)
            weight = (source - low).astype(np.float32)
            row = np.arange(part.start, part.stop)[:, None]
            moved[part] = cells[row, low % columns] * (1 - weight) + cells[row, (low + 1) % columns] * weight
        return SurfaceTexture(moved)

    def lives(self, utc_days: float) -> bool:
        """Whether the picture's spots may still be there."""
        return abs(utc_days - self.utc_days) <= LAST_DAYS


def geocentric_view(utc: str, north_deg: float = 0.0) -> SunView:
    """The Sun from the Earth's centre in a frame of the picture's own: its up is the local up.

    `north_deg`: angle of the Sun's north from the picture's up, anticlockwise (0: solar north up).
    """
    sun = earth_fixed_sun(Instants.from_utc(utc))
    distance_km = float(np.sqrt(dot(sun.position, sun.position)))
    towards = -sun.attitude.T @ sun.position / distance_km
    latitude, longitude = math.asin(towards[2]), math.atan2(towards[1], towards[0])
    east = np.array([-math.sin(longitude), math.cos(longitude), 0.0])
    north = np.cross(body_vector(latitude, longitude), east)
    right, up, ahead = np.array([1.0, 0, 0]), np.array([0, 0, 1.0]), np.array([0, 1.0, 0])
    cos, sin = math.cos(math.radians(north_deg)), math.sin(math.radians(north_deg))
    attitude = (
        np.outer(cos * right + sin * up, east)
        + np.outer(cos * up - sin * right, north)
        - np.outer(ahead, towards)
    )
    nowhere = np.full(3, np.nan)
    return SunView(
        ahead, np.asarray(distance_km / SUN_RADIUS_KM), attitude, nowhere, np.asarray(SUN_RADIUS_KM)
    )


def blank_share(view: SunView, texture: SurfaceTexture) -> float:
    """Share of the disc's area on which `texture` holds nothing, to about a thousandth."""
    x, y = np.meshgrid(*[np.linspace(-1, 1, 201)] * 2)
    inside = np.hypot(x, y) < 1
    body = unproject(view, x[inside], y[inside])
    _, share = texture.at(np.moveaxis(body, -1, 0).astype(np.float32))
    return float(np.mean(share <= 0.5))


def read_surface(path: Path | str, utc: str | None = None, north_deg: float = 0.0) -> RealSurface:
    """Unproject a full-disc picture; what it does not show is blank, its outermost rim is taken as quiet.

    Parameters
    ----------
    path : path
        Any format that measuring reads; the disc is round, whole and not mirrored.
    utc : str, optional
        ISO 8601 with Z or an offset; the file's own time where it is not given.
    north_deg : float
        See :func:`geocentric_view`.

    Raises
    ------
    InputError
        No time, or `north_deg` is not finite.
    PictureError
        The picture cannot be read or shows no whole disc.
    """
    from .photo.edges import sample
    from .photo.field import disc_field
    from .photo.limb import measure_limb
    from .photo.load import linear_table, load_photo

    if not math.isfinite(north_deg):
        raise InputError("texture-north-deg", "must be finite", north_deg)
    path = Path(path)
    photo = load_photo(path)
    utc = utc or photo.time_utc
    if utc is None:
        raise InputError(
            "texture-time", "must be given: the picture carries no time", hint="write ISO 8601 UTC"
        )
    utc_days = utc_days_of(parse_utc(utc, "texture-time"))
    limb = measure_limb(photo)
    table = linear_table(photo.luma)
    found, _ = disc_field(photo, table, limb)
    if found is None or limb.horizon is not None:
        raise PictureError(path.name, "shows no whole disc of the Sun", "give a full-disc picture")
    disc = limb.disc
    across = min(_MOST_CELLS, max(360, 2 * math.ceil(math.pi * disc.a)))
    across -= across % 48  # many divisors, for smaller pictures
    brightness = np.full((across // 2, across), np.nan, np.float32)
    view = geocentric_view(utc, north_deg)
    longitude = np.deg2rad((np.arange(across) + 0.5) * 360 / across)
    for start in range(0, across // 2, 64):
        part = slice(start, min(start + 64, across // 2))
        latitude = np.deg2rad((np.arange(part.start, part.stop) + 0.5) * 360 / across - 90)
        points = body_vector(latitude[:, None], longitude[None, :])
        seen = project(view, points.reshape(-1, 3))
        x, y = seen.x, seen.y
        at_column, at_row = disc.to_pixels(x, y)
        good = seen.visible & (np.hypot(x, y) < _EDGE)
        # The limb itself runs between cells: those that it touches belong to what is seen.
        rim = ~good & (seen.mu > -1.5 * 2 * math.pi / across)
        values = np.where(rim, np.float32(1), np.float32(np.nan))
        if np.any(good):
            light = sample(photo.luma, table, at_column[good], at_row[good])  # nan outside the picture
            light /= found.background.at(x[good], y[good])
            values[good] = np.where(light < _BRIGHTEST, light, np.nan)
        brightness[part] = values.reshape(len(latitude), across)
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return RealSurface(SurfaceTexture(brightness), utc_days, iso_utc(utc_days), path.name, digest, north_deg)

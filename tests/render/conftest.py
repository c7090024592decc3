"""Hand-made views and a fixed set of spots for the tests of pictures."""

from __future__ import annotations

import numpy as np
import pytest
from whichsun.models.geometry import SunView
from whichsun.models.observables import body_vector, disc_axes
from whichsun.render.disc import SurfaceSpots


def _view(
    altitude_deg=20.0,
    azimuth_deg=120.0,
    distance=215.0,
    sub_latitude_deg=7.0,
    sub_longitude_deg=40.0,
    north_vertex_deg=25.0,
):
    """A view whose sub-observer point and north vertex angle are those given."""
    a, az = np.deg2rad(altitude_deg), np.deg2rad(azimuth_deg)
    direction = np.array([np.cos(a) * np.sin(az), np.cos(a) * np.cos(az), np.sin(a)])
    right, up = disc_axes(direction)
    b, lon, v = np.deg2rad([sub_latitude_deg, sub_longitude_deg, north_vertex_deg])
    north = np.cos(b) * (-np.sin(v) * right + np.cos(v) * up) - np.sin(b) * direction
    meridian = (-direction - np.sin(b) * north) / np.cos(b)
    east = np.cross(north, meridian)
    x = np.cos(lon) * meridian - np.sin(lon) * east
    y = np.sin(lon) * meridian + np.cos(lon) * east
    return SunView(
        direction=direction,
        distance=np.asarray(distance, float),
        attitude=np.stack([x, y, north], axis=-1),
        celestial_north=np.full(3, np.nan),
        sun_radius_km=np.asarray(695700.0),
    )


@pytest.fixture
def make_view():
    return _view


@pytest.fixture
def squash():
    """An invented refraction table: squashed by a tenth, the lower limb more than the upper."""
    apparent = np.linspace(-1.4, 1.4, 141)
    return apparent, 1.12 * apparent - 0.03 * apparent**2


@pytest.fixture
def few_spots():
    latitude = np.deg2rad([12.0, -18.0, 20.0, -9.0, 25.0])
    longitude = np.deg2rad([35.0, 60.0, 5.0, 80.0, 110.0])
    return SurfaceSpots(body_vector(latitude, longitude), np.deg2rad([2.0, 1.4, 1.0, 1.8, 1.2]), seed=5)

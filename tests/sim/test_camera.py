from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.distant_sphere import DistantSphere
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.geometry import SunView, view_of
from whichsun.models.nearby_plane import NearbyPlane
from whichsun.models.observables import body_vector, north_vertex_angle, parallactic_angle, project
from whichsun.models.place import Instants, Site
from whichsun.render.frame import PictureFrame
from whichsun.sim.camera import Camera, Sensor, camera_roll, disc_radius_px, focal_length_for, picture_angle

INSTANTS = Instants.from_utc([f"2027-04-18T{hour:02d}:00:00Z" for hour in (8, 12, 16, 20)])
SITE = Site(46.5, -30.0)
VIEW = view_of(DistantSphere(), INSTANTS, SITE)


def wrap(angle):
    return (angle + np.pi) % (2 * np.pi) - np.pi


def test_disc_size():
    camera = Camera(focal_length_mm=500, pixel_pitch_um=5)
    # 100,000 px of focal length, 16 arcmin.
    assert disc_radius_px(camera, np.deg2rad(16 / 60)) == pytest.approx(465.42, abs=0.01)
    assert focal_length_for(camera, np.deg2rad(16 / 60), 465.42) == pytest.approx(500, abs=0.01)
    assert Camera().centre_px == (799.5, 599.5)


def test_level_tripod_and_hand_keep_the_given_roll():
    assert camera_roll(VIEW, "level-tripod") == pytest.approx(0)
    rolls = np.deg2rad([0.5, -0.5, 181, 30])
    assert camera_roll(VIEW, "hand-held", rolls) == pytest.approx(wrap(rolls))


def test_equatorial_mount_shows_no_field_rotation():
    roll = camera_roll(VIEW, "equatorial", 0.1)
    assert roll[0] == pytest.approx(0.1)
    celestial = picture_angle(-parallactic_angle(VIEW), roll)
    assert wrap(celestial - celestial[0]) == pytest.approx(0, abs=1e-12)
    # The Sun's axis then turns by what its position angle changes in half a day: under 0.3 deg.
    axis = picture_angle(north_vertex_angle(VIEW), roll)
    assert np.max(np.abs(np.rad2deg(wrap(axis - axis[0])))) < 0.3
    assert np.ptp(np.rad2deg(np.unwrap(north_vertex_angle(VIEW)))) > 30


@settings(deadline=None)
@given(roll_deg=st.floats(-180, 180), x=st.floats(-0.9, 0.9), y=st.floats(-0.4, 0.4))
def test_roll_turns_every_vertex_angle_by_the_same_amount(roll_deg, x, y):
    frame = PictureFrame(900, 900, (450.0, 450.0), 400.0, roll_deg)
    column, row = frame.to_pixels(x, y)
    in_picture = np.arctan2(-(column - 450), 450 - row)
    assert (
        abs(wrap(picture_angle(np.arctan2(-x, y), np.deg2rad(roll_deg)) - in_picture)) * np.hypot(x, y) < 1e-9
    )


def test_a_camera_turned_anticlockwise_shows_the_scene_turned_clockwise():
    top = project(VIEW[0], body_vector(0.1, 3.0)[None])
    level = PictureFrame(900, 900, (450.0, 450.0), 400.0, 0.0)
    rolled = PictureFrame(900, 900, (450.0, 450.0), 400.0, 10.0)
    a, b = (np.array(f.to_pixels(top.x[0], top.y[0])) - 450 for f in (level, rolled))
    turn = np.arctan2(-(a[0] * b[1] - a[1] * b[0]), a @ b)  # rows grow downwards
    assert np.rad2deg(turn) == pytest.approx(-10)


def test_refusals():
    plane = view_of(NearbyPlane(), INSTANTS, SITE)
    with pytest.raises(InputError, match="celestial north"):
        camera_roll(plane, "equatorial")
    with pytest.raises(UnknownNameError, match="did you mean 'hand-held'"):
        camera_roll(VIEW, "handheld")
    for wrong in ({"width_px": 4}, {"focal_length_mm": 0.0}, {"pixel_pitch_um": np.nan}):
        with pytest.raises(InputError):
            Camera(**wrong)
    for wrong in ({"exposure": -1.0}, {"blur_px": np.nan}, {"jpeg_quality": 99}, {"tint_rgb": (1, 2, 0)}):
        with pytest.raises(InputError):
            Sensor(**wrong)


def test_hand_made_view_at_the_equator():
    view = SunView(
        np.array([0.0, 0.6, 0.8]),
        np.array(215.0),
        np.eye(3),
        np.array([0.0, 1.0, 0.0]),
        np.array(695700.0),
    )
    assert camera_roll(view, "equatorial") == pytest.approx(0)

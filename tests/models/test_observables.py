"""The disc frame, its signs, and the way there and back."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models import observables
from whichsun.models.geometry import SunView

ANGLE = st.floats(0, 2 * np.pi)


def a_view(azimuth, altitude, distance, body_turn):
    """A view by hand; `body_turn` is a rotation vector of the body."""
    from scipy.spatial.transform import Rotation

    direction = np.array(
        [np.cos(altitude) * np.sin(azimuth), np.cos(altitude) * np.cos(azimuth), np.sin(altitude)]
    )
    attitude = Rotation.from_rotvec(body_turn).as_matrix()
    north = np.array([0.0, np.cos(0.9), np.sin(0.9)])
    return SunView(direction, np.array(distance), attitude, north, np.array(695700.0))


@settings(max_examples=100, deadline=None)
@given(
    ANGLE, st.floats(-1.5, 1.5), st.floats(2.5, 300), ANGLE, st.floats(-1.5, 1.5), st.floats(0, 0.995), ANGLE
)
def test_project_undoes_unproject(azimuth, altitude, distance, turn, tilt, radius, angle):
    view = a_view(azimuth, altitude, distance, [turn / 4, tilt, 0.3])
    x, y = np.array([radius * np.cos(angle)]), np.array([radius * np.sin(angle)])
    point = observables.unproject(view, x, y)
    assert np.linalg.norm(point) == pytest.approx(1, abs=1e-9)
    disc = observables.project(view, point)
    assert disc.visible.all()
    assert disc.x == pytest.approx(x, abs=1e-7)
    assert disc.y == pytest.approx(y, abs=1e-7)


def test_right_is_growing_azimuth_and_up_is_the_zenith():
    right, up = observables.disc_axes(np.array([0.0, 1.0, 0.0]))  # looking north: right is east
    assert np.allclose(right, [1, 0, 0])
    assert np.allclose(up, [0, 0, 1])
    direction = a_view(1.0, 0.5, 200, [0, 0, 0]).direction
    right, up = observables.disc_axes(direction)
    assert np.allclose(np.cross(direction, up), right)


def test_vertex_angle_is_anticlockwise_from_the_top():
    view = a_view(2.0, 0.4, 200, [0, 0, 0])
    right, up = observables.disc_axes(view.direction)
    assert observables.vertex_angle_of_vector(view, up) == pytest.approx(0)
    assert observables.vertex_angle_of_vector(view, -right) == pytest.approx(np.pi / 2)


def test_outside_the_limb_there_is_no_surface():
    view = a_view(1.0, 0.5, 200, [0, 0, 0])
    assert np.isnan(observables.unproject(view, np.array([0.9]), np.array([0.9]))).all()


def test_a_point_beyond_the_horizon_of_a_near_sun_is_hidden():
    view = a_view(0.0, 0.0, 3.0, [0, 0, 0])  # Sun due north, body axes = local axes
    seen = observables.project(view, np.array([[0.0, -1.0, 0.0], [0.0, -0.30, 0.954], [0.0, -0.36, 0.933]]))
    assert seen.visible.tolist() == [True, False, True]  # the rim stands at -P.s = 1/3


def test_wrap_angle_keeps_plus_pi():
    assert observables.wrap_angle(np.array([np.pi, -np.pi, 3 * np.pi, 0.1])) == pytest.approx(
        [np.pi, np.pi, np.pi, 0.1]
    )


def test_sub_observer_point_is_in_the_middle():
    view = a_view(1.2, 0.3, 200, [0.4, 1.0, -0.7])
    latitude, longitude = observables.sub_observer_point(view)
    disc = observables.project(view, observables.body_vector(latitude, longitude)[None])
    assert abs(disc.x[0]) < 1e-12
    assert abs(disc.y[0]) < 1e-12
    assert disc.mu[0] == pytest.approx(1)


def test_an_ellipsis_indexes_the_leading_axes_of_a_view():
    one = a_view(1.0, 0.5, 200.0, [0, 0, 0])
    many = SunView(*(np.broadcast_to(x, (4, 2, *x.shape)) for x in vars(one).values()))
    for key in ((..., 0), (Ellipsis, slice(0, 1)), (1, ...), (2, 1), 3):
        got = many[key]
        assert got.shape == np.empty((4, 2))[key].shape
        assert got.attitude.shape == (*got.shape, 3, 3)
        assert got.direction.shape == (*got.shape, 3)

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models.distant_sphere import DistantSphere
from whichsun.models.geometry import SunView, view_of
from whichsun.models.nearby_plane import NearbyPlane
from whichsun.models.observables import body_vector, parallactic_angle, project
from whichsun.models.place import Instants, Site
from whichsun.sim.rotation import rotation_law
from whichsun.sim.turns import (
    axis_turn,
    celestial_north_turn,
    face_lattice,
    moment,
    pattern_turn,
    spot_turns,
    turn_in_words,
    unwrapped_turn,
)

RIGID, LAW = rotation_law("rigid"), rotation_law("howard-1984")


def rotation_about(axis, angle):
    x, y, z = axis
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross


def hand_made(altitude_deg, azimuth_deg, attitude, distance=215.0):
    a, az = np.deg2rad([altitude_deg, azimuth_deg])
    direction = np.array([np.cos(a) * np.sin(az), np.cos(a) * np.cos(az), np.sin(a)])
    return SunView(direction, np.array(distance), attitude, np.array([0, 0.6, 0.8]), np.array(695700.0))


ANGLES = st.floats(-180, 180)


@settings(deadline=None)
@given(turn_deg=ANGLES, altitude=st.floats(-10, 80), azimuth=st.floats(0, 360), distance=st.floats(5, 1e3))
def test_a_disc_turned_rigidly_turns_everything_alike(turn_deg, altitude, azimuth, distance):
    first = hand_made(altitude, azimuth, rotation_about((0.6, 0.0, 0.8), 1.0), distance)
    # Anticlockwise for the observer, who looks along the direction: a left-handed turn about it.
    turn = rotation_about(first.direction, -np.deg2rad(turn_deg))
    second = hand_made(altitude, azimuth, turn @ first.attitude, distance)
    expected = np.deg2rad(turn_deg)
    got = [
        axis_turn(first, second),
        pattern_turn(first, second, 0.0, RIGID).turn,
        spot_turns(first, second, face_lattice(first, 5)[1:2], 0.0, RIGID)[0],
    ]
    for value in got:
        assert np.cos(value - expected) == pytest.approx(1, abs=1e-12)
    pattern = pattern_turn(first, second, 0.0, RIGID)
    assert pattern.visible_fraction == pytest.approx(1, abs=1e-3)
    assert pattern.scatter == pytest.approx(0, abs=1e-6)


@settings(deadline=None)
@given(turn_deg=ANGLES)
def test_turns_are_antisymmetric(turn_deg):
    first = hand_made(5, 80, rotation_about((0.6, 0.0, 0.8), 1.0))
    second = hand_made(9, 250, rotation_about((0.0, 0.6, 0.8), np.deg2rad(turn_deg)))
    forth, back = axis_turn(first, second), axis_turn(second, first)
    assert np.cos(forth + back) == pytest.approx(1, abs=1e-12)
    points = face_lattice(first, 200)
    there = pattern_turn(first, second, 0.0, RIGID, points)
    again = pattern_turn(second, first, 0.0, RIGID, points)
    if np.isfinite(there.turn):
        assert np.cos(there.turn + again.turn) == pytest.approx(1, abs=1e-12)
        assert there.scatter == pytest.approx(again.scatter, abs=1e-9)
        assert -np.pi <= there.turn <= np.pi
    assert -np.pi < forth <= np.pi


@settings(max_examples=25, deadline=None)
@given(latitude=st.floats(-60, 60), longitude=st.floats(0, 360), spin=st.sampled_from([-720, -360, 360, 720]))
def test_a_spot_and_itself_after_full_turns_of_longitude(latitude, longitude, spin):
    instants = Instants.from_utc(["2027-04-18T08:00:00Z", "2027-04-18T20:00:00Z"])
    view = view_of(DistantSphere(), instants, Site(46.5, -30.0))
    here = body_vector(np.deg2rad(latitude), np.deg2rad(longitude))[None]
    there = body_vector(np.deg2rad(latitude), np.deg2rad(longitude + spin))[None]
    for one, other in zip(project(view, here)[:3], project(view, there)[:3], strict=True):
        assert one == pytest.approx(other, abs=1e-12)
    a, b = moment(view, 0), moment(view, 1)
    assert spot_turns(a, b, here, 0.5, LAW) == pytest.approx(
        spot_turns(a, b, there, 0.5, LAW), abs=1e-9, nan_ok=True
    )


def test_lattice_is_even_over_the_face_and_faces_the_observer():
    view = hand_made(20, 100, rotation_about((0.6, 0.0, 0.8), 2.0), 3.0)
    points = face_lattice(view, 4000)
    assert np.linalg.norm(points, axis=-1) == pytest.approx(1)
    disc = project(view, points)
    assert np.all(disc.visible)
    # Even over a cap down to mu = 1/3: the mean of mu is halfway, the mean place is the middle.
    assert np.mean(disc.mu) == pytest.approx(2 / 3, abs=1e-3)
    assert np.hypot(np.mean(disc.x), np.mean(disc.y)) < 1e-3


def test_given_points_and_the_sun_s_own_rotation():
    view = hand_made(5, 90, np.array([[-1.0, 0, 0], [0, -1, 0], [0, 0, 1]]).T)
    points = body_vector(np.deg2rad([0.0]), np.deg2rad([10.0]))
    first, second = project(view, points), project(view, body_vector(0.0, np.deg2rad(10 + 0.3676))[None])
    expected = np.arctan2(-second.x, second.y) - np.arctan2(-first.x, first.y)
    # One day at the equator by 14.552 - 14.1844 deg/day.
    assert spot_turns(view, view, points, 1.0, LAW) == pytest.approx(expected, abs=1e-9)
    assert axis_turn(view, view) == 0


def test_hidden_spots_and_free_attitudes_have_no_turn():
    instants = Instants.from_utc(["2027-04-18T08:00:00Z", "2027-04-18T20:00:00Z"])
    view = view_of(NearbyPlane(), instants, Site(46.5, -30.0), {"face": "free"})
    a, b = moment(view, 0), moment(view, 1)
    pattern = pattern_turn(a, b, 0.5, LAW)
    assert all(np.isnan(value) for value in pattern)
    assert np.isnan(axis_turn(a, b))
    assert np.isnan(celestial_north_turn(a, b))
    assert np.isnan(unwrapped_turn(NearbyPlane(), instants, Site(46.5, -30.0), {"face": "free"}))
    facing = view_of(NearbyPlane(), instants, Site(46.5, -30.0))
    far_side = body_vector(np.deg2rad([20.0]), np.deg2rad([180.0]))
    assert np.all(np.isnan(spot_turns(moment(facing, 0), moment(facing, 1), far_side, 0.5, LAW)))
    behind = pattern_turn(moment(facing, 0), moment(facing, 1), 0.5, LAW, far_side)
    assert np.isnan(behind.turn)


def test_many_places_at_once_give_what_one_by_one_does():
    instants = Instants.from_utc(["2027-04-18T08:00:00Z", "2027-04-18T20:00:00Z"])
    latitudes = np.linspace(-60, 60, 130)  # more than one block
    view = view_of(DistantSphere(), instants, Site(latitudes[:, None], -30.0))
    together = pattern_turn(moment(view, 0), moment(view, 1), 0.5, LAW)
    for i in (0, 61, 62, 63, 129):
        alone = pattern_turn(view[i, 0], view[i, 1], 0.5, LAW)
        for one, all_of in zip(alone, together, strict=True):
            assert one == pytest.approx(all_of[i], abs=1e-12)


def test_unwrapped_turn_follows_a_near_zenith_passage():
    # At the equator at an equinox the disc spins by half a circle within minutes of the zenith.
    instants = Instants.from_utc(["2024-03-20T09:00:00Z", "2024-03-20T15:00:00Z"])

    def minus_q(view):
        return -parallactic_angle(view)

    for latitude, sign in ((0.3, -1), (-0.3, 1)):
        site = Site(latitude, 0.0)
        turn = np.rad2deg(unwrapped_turn(DistantSphere(), instants, site, angle=minus_q))
        assert np.sign(turn) == sign
        assert 178 < abs(turn) < 180.5
    whole_days = Instants.from_utc(["2024-06-20T00:00:00Z", "2024-06-23T00:00:00Z"])
    # In the tropics under a northern Sun the celestial north goes round once a day, anticlockwise.
    turn = np.rad2deg(unwrapped_turn(DistantSphere(), whole_days, Site(10.0, 0.0), angle=minus_q))
    assert turn == pytest.approx(3 * 360, abs=1)
    long = Instants.from_utc(["2024-06-20T00:00:00Z", "2026-06-23T00:00:00Z"])
    assert np.isnan(unwrapped_turn(DistantSphere(), long, Site(10.0, 0.0)))


@pytest.mark.parametrize(
    ("turn", "unwrapped", "words"),
    [
        (-61.4, None, "61.4 deg clockwise"),
        (61.44, 61.44, "61.4 deg anticlockwise"),
        (-154.0, 206.0, "154.0 deg clockwise, or 206.0 deg the other way"),
        (10.0, 370.0, "10.0 deg anticlockwise, or 370.0 deg anticlockwise in all"),
        (0.0, 0.0, "0.0 deg"),
        (None, None, "-"),
        (float("nan"), 3.0, "-"),
    ],
)
def test_words(turn, unwrapped, words):
    assert turn_in_words(turn, unwrapped) == words

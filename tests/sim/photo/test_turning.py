"""The turn of matched spots: sense, uncertainties with their heavy tails, spots that went their own way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from whichsun.sim.photo.discmap import DiscMap
from whichsun.sim.photo.limb import Limb, place_covariance
from whichsun.sim.photo.pairing import limb_modes
from whichsun.sim.photo.turning import pattern_turn


def scattered(rng, n, reach=0.8):
    radius, angle = reach * np.sqrt(rng.uniform(0.05, 1, n)), rng.uniform(0, 2 * np.pi, n)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def turned(xy, degrees):
    angle = np.deg2rad(degrees)
    return xy @ np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])


def turn_between(a, b, *, sigma=1e-3, centre=0.0, rolls=(0.0, 0.0), days=0.5):
    covariance = np.broadcast_to(sigma**2 * np.eye(2), (len(a), 2, 2))
    modes = np.broadcast_to(centre * np.eye(2)[:, None], (2, len(a), 2))
    return pattern_turn(a, b, (covariance, covariance), (modes, modes), rolls, days)


@given(st.floats(-179.9, 180))
def test_turn_of_a_turned_pattern(degrees):
    """Anticlockwise positive as the observer sees it."""
    a = scattered(np.random.default_rng(3), 5)
    b = turned(a, degrees)
    turn = turn_between(a, b)
    assert (turn.turn_deg - degrees + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)
    vertex = np.rad2deg(np.arctan2(-b[:, 0], b[:, 1]) - np.arctan2(-a[:, 0], a[:, 1]))
    assert (vertex - turn.turn_deg + 180) % 360 - 180 == pytest.approx(np.zeros(5), abs=1e-6)
    assert turn.scatter == pytest.approx(0, abs=1e-8)


def test_one_spot_alone_evolves_by_the_stated_degrees():
    """Real umbrae in 12 h, one week: 0.23 deg of turn at 68 %, 0.93 at 95 % from one spot (own figures).

    3 %: the intervals come from 8000 draws.
    """
    spot = np.array([[0.5, 0.1]])
    turn = turn_between(spot, spot, sigma=1e-6)
    assert turn.sigma_deg == pytest.approx(0.23, rel=0.03)
    assert turn.high95_deg == pytest.approx(0.93, rel=0.05)
    assert turn.low95_deg == pytest.approx(-turn.high95_deg)
    assert turn_between(spot, spot, sigma=1e-6, days=1.0).sigma_deg == pytest.approx(0.46, rel=0.03)
    # The same motion turns a spot near the centre more.
    assert turn_between(0.2 * spot, 0.2 * spot, sigma=1e-6).sigma_deg > 4 * turn.sigma_deg


def test_rolls_limbs_and_places_enter_the_sigma():
    spot = np.array([[0.5, 0.0]])
    level = turn_between(spot, spot, rolls=(0.7, 0.7))
    gaussian = np.hypot(0.7 * np.sqrt(2), np.rad2deg(np.sqrt(2) * 1e-3 / 0.5))
    # Tails widen the sum beyond that of squares, but never beyond the plain sum.
    assert np.hypot(0.23, gaussian) < level.sigma_deg < 0.23 + gaussian
    centred = turn_between(spot, spot, centre=0.01)
    # The same sum drawn anew; quantiles of the function's own 8000 draws stand within 2 %.
    rng = np.random.default_rng(2)
    places = np.rad2deg(np.hypot(0.01, 1e-3) * np.sqrt(2) / 0.5)
    drawn = places * rng.normal(size=400000) + 0.1578 * rng.standard_t(1.522, 400000)
    assert centred.sigma_deg == pytest.approx(np.quantile(np.abs(drawn), 0.6827), rel=0.03)
    # A centre's error moves opposite spots' angles against each other: the pattern does not turn.
    both = np.array([[0.5, 0.0], [-0.5, 0.0]])
    assert turn_between(both, both, centre=0.01).sigma_deg < 0.3
    assert turn_between(spot, spot, rolls=(None, 0.7)).sigma_deg is None
    assert turn_between(spot, spot, rolls=(None, 0.7)).low95_deg is None


def test_a_spot_that_went_its_own_way_does_not_drag_the_pattern():
    """The face sweeps by 6.8 deg, the disc turns by 100, and one of six spots slips by 2 deg."""
    rng = np.random.default_rng(8)
    a = scattered(rng, 6)
    z = np.sqrt(1 - np.sum(a**2, axis=1))
    angle = np.deg2rad(6.8)
    swept = np.stack([a[:, 0] * np.cos(angle) + z * np.sin(angle), a[:, 1]], axis=1)
    b = turned(swept, 100)
    clean = turn_between(a, b)
    slipped = b.copy()
    slipped[0] = turned(b[:1], 2.0)[0]
    plain = turn_between(a[:2], b[:2])  # two spots are no pattern to judge by
    slipped_plain = turn_between(a[:2], slipped[:2])
    assert abs(slipped_plain.turn_deg - plain.turn_deg) > 0.4
    assert abs(turn_between(a, slipped).turn_deg - clean.turn_deg) < 0.1


def test_intervals_hold_what_they_say():
    """Turns of five spots with Student evolution, Gaussian places and rolls: 68 and 95 % of 400.

    The binomial spread of 400 is 2.3 and 1.1 %; three of them are allowed.
    """
    rng = np.random.default_rng(1)
    inside68 = inside95 = 0
    for _ in range(400):
        a = scattered(rng, 5)
        slip = 0.1578 * rng.standard_t(1.522, 5) * 0.5 / np.minimum(np.hypot(*a.T), 0.5)
        roll = rng.normal(0, 0.1, 2)
        b = np.concatenate([turned(one[None], s) for one, s in zip(a, slip, strict=True)])
        b = turned(b, 60 + roll.sum()) + rng.normal(0, 1e-3, b.shape)
        turn = turn_between(a + rng.normal(0, 1e-3, a.shape), b, rolls=(0.1, 0.1))
        inside68 += abs(turn.turn_deg - 60) < turn.sigma_deg
        inside95 += turn.low95_deg < 60 < turn.high95_deg
    assert inside68 / 400 == pytest.approx(0.683, abs=0.07)
    assert inside95 / 400 == pytest.approx(0.95, abs=0.033)


@pytest.mark.parametrize("days", [0.0, 0.02])
def test_intervals_where_places_err_more_than_spots_evolve(days):
    """Photos taken together: Gaussian places alone count; 68 and 95 % of 600 turns of eight spots of two sizes.

    The binomial spread of 600 is 1.9 and 0.9 %; three of them are allowed.
    """
    rng = np.random.default_rng(4)
    inside68 = inside95 = 0
    sigma = np.array([2e-3] * 4 + [6e-4] * 4)
    covariance = sigma[:, None, None] ** 2 * np.eye(2)
    modes = np.zeros((1, 8, 2))
    for _ in range(600):
        a = scattered(rng, 8)
        slip = 2 * days * 0.1578 * rng.standard_t(1.522, 8) * 0.5 / np.minimum(np.hypot(*a.T), 0.5)
        b = np.concatenate([turned(one[None], 60 + s) for one, s in zip(a, slip, strict=True)])
        a, b = (xy + sigma[:, None] * rng.normal(size=xy.shape) for xy in (a, b))
        turn = pattern_turn(a, b, (covariance, covariance), (modes, modes), (0.0, 0.0), days)
        inside68 += abs(turn.turn_deg - 60) < turn.sigma_deg
        inside95 += turn.low95_deg < 60 < turn.high95_deg
    assert inside68 / 600 == pytest.approx(0.683, abs=0.057)
    assert inside95 / 600 == pytest.approx(0.95, abs=0.027)


def test_no_turn_from_a_spot_at_the_centre():
    centre = np.array([[0.0, 0.0]])
    assert turn_between(centre, centre) is None


@pytest.mark.parametrize("mirrored", [False, True])
def test_limb_modes_are_the_limb_s_covariance_of_a_place(mirrored):
    rng = np.random.default_rng(2)
    root = rng.normal(size=(5, 5)) * 0.1
    disc = DiscMap(400.0, 300.0, 250.0, 225.0, 3.0, 0.3, 0.1, mirrored)
    limb = Limb(disc, root @ root.T, 1.0, 0.0, 0.1, 1.0, None, None)
    xy = np.array([[0.3, 0.5], [-0.7, 0.1]])
    modes = limb_modes(limb, xy)
    for i in range(2):
        expected = place_covariance(limb, *xy[i])
        np.testing.assert_allclose(modes[:, i].T @ modes[:, i], expected, rtol=1e-4, atol=1e-10)

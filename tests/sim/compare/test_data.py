"""What cannot be scored is refused with one clear line; what was told is taken as told."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.sim.compare.data import data_of


@pytest.fixture
def good(outing_of):
    return outing_of(np.random.default_rng(1))


def with_shot(outing, index, **changes):
    shots = list(outing.shots)
    shots[index] = replace(shots[index], **changes)
    return replace(outing, shots=tuple(shots))


def test_good_outing(good):
    data = data_of(good)
    assert data.n_shots == 2
    assert data.counts.sum() == sum(len(shot.spots) for shot in good.shots)
    assert data.days[1] == pytest.approx(10 / 24 + 40 / 1440)
    assert np.rad2deg(data.roll_sigma) == pytest.approx([0.7, 0.7])


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda o: replace(o, shots=o.shots[:1]), "at least twice"),
        (lambda o: replace(o, site=None), "site"),
        (lambda o: with_shot(o, 1, time_utc=None), "time_utc of shot-1.jpg"),
        (lambda o: with_shot(o, 1, time_utc="2024-03-25T17:20:00"), "offset"),
        (lambda o: replace(o, shots=o.shots[::-1]), "later than that of the shot before"),
        (lambda o: with_shot(o, 1, time_utc=o.shots[0].time_utc), "later than that of the shot before"),
        (lambda o: with_shot(o, 1, time_utc="2024-04-25T17:20:00Z"), "72 h"),
        (lambda o: with_shot(o, 0, spots=()), "no common spots"),
        (lambda o: with_shot(o, 0, mount="broomstick"), "mount"),
    ],
)
def test_unusable_outings(good, spoil, words):
    with pytest.raises(InputError, match=words) as caught:
        data_of(spoil(good))
    assert "\n" not in str(caught.value)


def test_hand_held_roll_is_unknown(outing_of):
    data = data_of(outing_of(np.random.default_rng(1), mount="hand-held"))
    assert np.all(np.isinf(data.roll_sigma))


def test_told_mirroring_is_no_hypothesis(good):
    told = data_of(with_shot(good, 0, mirrored=False))
    assert told.may_mirror.tolist() == [False, True]


def test_limb_ratio_needs_one_lens(good):
    assert data_of(good).limb_ratios == ()
    lens = {"camera": "an invented camera", "focal_length_mm": 600.0}
    one = with_shot(with_shot(good, 0, **lens), 1, **lens, semi_axes_px=(510.0, 510.0))
    (ratio,) = data_of(one).limb_ratios
    assert ratio.value == pytest.approx(np.log(1.02))
    assert ratio.sigma == pytest.approx(np.hypot(0.002, np.hypot(0.1 / 500, 0.1 / 510)))
    assert data_of(with_shot(one, 1, focal_length_mm=300.0)).limb_ratios == ()


def test_mirroring_and_half_turns_undo_themselves(good):
    data = data_of(good)
    np.testing.assert_array_equal(data.mirrored((0,)).mirrored((0,)).detections.z, data.detections.z)
    turned = data.upside_down((1,)).detections.z
    second = data.detections.shot == 1
    np.testing.assert_array_equal(turned[:, second], -data.detections.z[:, second])
    np.testing.assert_array_equal(turned[:, ~second], data.detections.z[:, ~second])

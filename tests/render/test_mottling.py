"""Granulation and faculae: as strong as asked, fixed to the surface, where they belong."""

from __future__ import annotations

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.models.observables import body_vector, unproject
from whichsun.render.disc import PictureFrame, render_disc
from whichsun.render.mottling import Granulation, SurfaceFaculae, facular_visibility
from whichsun.render.sphere_noise import SphereNoise

GREEN = (550.0,)


def ratio_of(view, frame, **keywords):
    """Light over that of the smooth disc, 1 outside."""
    plain = render_disc(view, frame, wavelengths_nm=GREEN)[..., 0]
    light = render_disc(view, frame, wavelengths_nm=GREEN, **keywords)[..., 0]
    return np.divide(light, plain, out=np.ones_like(light), where=plain > 0)


def at_centre(frame, share=0.2):
    rows, columns = np.mgrid[: frame.height_px, : frame.width_px]
    return np.hypot(*frame.to_disc(columns, rows)) < share


def test_noise_has_mean_0_and_rms_1():
    """Some 10,000 independent cells: 1 % each."""
    points = np.random.default_rng(1).normal(size=(3, 40_000)).astype(np.float32)
    points /= np.linalg.norm(points, axis=0)
    values = SphereNoise(3, 0.02).at(points)
    assert np.mean(values) == pytest.approx(0, abs=0.05)  # one lattice of 256 values repeats
    assert np.std(values) == pytest.approx(1, abs=0.05)
    assert np.array_equal(values, SphereNoise(3, 0.02).at(points))
    assert not np.array_equal(values, SphereNoise(4, 0.02).at(points))


@pytest.mark.parametrize("radius", [150.0, 300.0])
def test_granulation_is_as_strong_as_it_says(make_view, radius):
    """Cells of 2.5 px in a small picture; rms of `drawn`, less what the cut at three sigma takes."""
    granulation = Granulation(0.2, 5)
    frame = PictureFrame.centred(round(radius / 0.45))
    cell, contrast = granulation.drawn(frame.radius_px)
    assert cell == pytest.approx(2.5 / frame.radius_px)
    assert contrast == pytest.approx(0.2 * 1300 / 695700 * frame.radius_px / 2.5)
    ratio = ratio_of(make_view(), frame, granulation=granulation)
    assert np.std(ratio[at_centre(frame)]) == pytest.approx(contrast, rel=0.1)
    assert np.mean(ratio[at_centre(frame)]) == pytest.approx(1, abs=0.1 * contrast)
    near_limb = at_centre(frame, 0.99) & ~at_centre(frame, 0.97)  # mu 0.14 to 0.24
    assert np.std(ratio[near_limb]) < 0.3 * contrast
    assert np.all(ratio[~at_centre(frame, 1.01)] == 1)
    # A disc of 1500 px: the granules themselves.
    assert Granulation(0.2).drawn(1500.0) == pytest.approx((1300 / 695700, 0.2))


def test_the_mottling_turns_with_the_surface(make_view):
    """The same places of the body in two views, a quarter turn of the picture apart."""
    frame, turned = PictureFrame.centred(301), PictureFrame.centred(301, roll_deg=90.0)
    one = ratio_of(make_view(), frame, granulation=Granulation(0.3, 2))
    other = ratio_of(make_view(), turned, granulation=Granulation(0.3, 2))
    # A camera rolled anticlockwise shows the scene turned clockwise.
    inside = at_centre(frame, 0.95)
    assert np.corrcoef(np.rot90(one, -1)[inside], other[inside])[0, 1] > 0.999
    assert abs(np.corrcoef(one[inside], other[inside])[0, 1]) < 0.1


def test_faculae_brighten_their_field_near_the_limb(make_view):
    view, frame = make_view(), PictureFrame.centred(500)
    places = unproject(view, np.array([0.0, 0.9]), np.array([0.0, 0.2]))
    faculae = SurfaceFaculae(places, np.deg2rad([5.0, 5.0]), 0.3, 1)
    ratio = ratio_of(view, frame, faculae=faculae)
    rows, columns = np.mgrid[:500, :500]
    x, y = frame.to_disc(columns, rows)
    assert ratio.min() == 1
    assert ratio[np.hypot(x, y) < 0.05].max() < 1.002
    field = np.hypot(x - 0.9, y - 0.2) < 0.03
    assert 1.08 < ratio[field].max() <= 1.3
    far = (np.abs(x - 0.9) > 0.25) & (np.hypot(x, y) > 0.25)
    assert np.all(ratio[far] == 1)


def test_visibility():
    mu = np.linspace(0, 1, 201)
    share = facular_visibility(mu)
    assert share[0] == share[-1] == 0
    assert share.max() == pytest.approx(1)
    assert mu[np.argmax(share)] == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Granulation(0.4), "'granulation' must be between 0 and 0.3, got 0.4"),
        (lambda: SurfaceFaculae(body_vector(0, 0)[None], np.ones(1), 0.6), "'faculae' must be between"),
        (lambda: SurfaceFaculae(body_vector(0, 0)[None], np.ones(2), 0.1), "must have the shape"),
    ],
)
def test_bad_input(make, words):
    with pytest.raises(InputError, match=words):
        make()

"""The probability band of the site: against the fit of the latitude, against the truth, and what cuts it."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.models.geometry import view_of
from whichsun.models.observables import altitude
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.latitude import fit_latitude, weighted_quantiles
from whichsun.sim.compare.site_band import find_site_band
from whichsun.sim.outing import Observable

TWO = ("2024-03-25T08:00:00Z", "2024-03-25T13:20:00Z")
THREE = ("2024-03-25T07:00:00Z", "2024-03-25T11:20:00Z", "2024-03-25T16:20:00Z")


def band_of(outing, seed=1):
    return find_site_band(data_of(outing), "howard-1984", np.random.default_rng(seed))


def area(band):
    """Square degrees on the sphere inside the contour of 95 %."""
    cells = np.cos(np.deg2rad(band.latitude_deg))[:, None] * np.ones_like(band.density) * band.step_deg**2
    return float(cells[band.density >= band.levels[1]].sum())


def test_a_slice_at_the_site_s_longitude_is_the_fit_of_the_latitude(outing_of):
    """Two independent ways: the band by angles of the disc, the fit by the whole likelihood at one longitude."""
    outing = outing_of(np.random.default_rng(4), spots=20, times=TWO)
    band, fit = band_of(outing), fit_latitude(data_of(outing), "howard-1984", np.random.default_rng(1))
    column = int(np.argmin(np.abs(band.longitude_deg - 8.0)))
    low, middle, high = weighted_quantiles(
        band.latitude_deg,
        band.density[:, column] * np.cos(np.deg2rad(band.latitude_deg)),
        (0.025, 0.5, 0.975),
    )
    # cells of some 0.3 degrees, and the fit's own interval of some 2
    assert middle == pytest.approx(fit.fitted_deg, abs=0.4)
    assert low == pytest.approx(fit.low95_deg, abs=0.4)
    assert high == pytest.approx(fit.high95_deg, abs=0.4)


def test_the_density_is_one_probability(outing_of):
    band = band_of(outing_of(np.random.default_rng(4), spots=20, times=TWO))
    cells = np.cos(np.deg2rad(band.latitude_deg))[:, None] * np.deg2rad(band.step_deg) ** 2
    assert (band.density * cells).sum() == pytest.approx(1.0)
    for level, share in zip(band.levels, (0.68, 0.95), strict=True):
        assert (band.density * cells)[band.density >= level].sum() == pytest.approx(share, abs=0.02)


def test_the_true_site_lies_inside_as_often_as_it_says(outing_of):
    """12 outings: outside the 95 % region at most 3 times (chance of more: 0.2 %)."""
    rng = np.random.default_rng(8)
    contents = []
    for _ in range(12):
        latitude = float(np.rad2deg(np.arcsin(rng.uniform(-0.85, 0.85))))
        contents.append(band_of(outing_of(rng, spots=20, times=TWO, site=(latitude, 8.0))).given_content)
    assert sum(content > 0.95 for content in contents) <= 3
    assert np.median(contents) > 0.1


def test_a_third_photo_and_an_altitude_cut_the_band(outing_of):
    two = outing_of(np.random.default_rng(4), spots=20, times=TWO)
    three = outing_of(np.random.default_rng(4), spots=20, times=THREE)
    assert area(band_of(three)) < 0.5 * area(band_of(two))
    view = view_of(get_model("distant-sphere"), Instants.from_utc([TWO[0]]), Site(47.0, 8.0))
    height = Observable("altitude", float(np.rad2deg(altitude(view)[0])), 1.0, (TWO[0],))
    with_height = band_of(replace(two, observables=(height,)))
    assert area(with_height) < 0.6 * area(band_of(two))
    assert with_height.given_content < 0.99


def test_photos_by_hand_tell_no_site(outing_of):
    outing = outing_of(np.random.default_rng(4), spots=12, times=TWO, mount="hand-held")
    with pytest.raises(InputError, match="level tripod"):
        band_of(outing)


def test_photos_without_common_spots_tell_no_site(outing_of):
    one, other = (outing_of(np.random.default_rng(s), spots=6, times=TWO) for s in (4, 5))
    mixed = replace(one, shots=(replace(one.shots[0], spots=one.shots[0].spots[:1]), other.shots[1]))
    with pytest.raises(InputError, match="tell no site"):
        band_of(mixed)

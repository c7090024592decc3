"""What each geometry says that the others do not."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from whichsun.models import observables
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.geometry import view_of
from whichsun.models.maps import SHORT_NAMES, plane_map
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model

WHEN = Instants.from_utc(["2027-03-20T05:10:00Z", "2027-03-20T16:50:00Z"])
PLANE = get_model("nearby-plane")


@settings(max_examples=30, deadline=None)
@given(
    st.floats(-89, 89), st.floats(-180, 180), st.floats(4.0, 9.0), st.integers(-36000, 36000), st.floats(0, 1)
)
def test_nearby_sphere_tends_to_distant_sphere(latitude_deg, longitude_deg, log_km, day, fraction):
    # The direction differs by the parallax, at most R_earth / distance, in any distance from 10,000 km to infinity
    when = Instants.from_utc_days(day + fraction, ut1_utc_s=0.0)
    site = Site(latitude_deg, longitude_deg)
    distance_km = 1.5 * 10**log_km
    near = view_of(get_model("nearby-sphere"), when, site, {"distance_km": distance_km})
    far = view_of(get_model("distant-sphere"), when, site)
    parallax = 6378.2 / (distance_km - 6378.2) + 6378.2 / 1.47e8
    assert np.linalg.norm(near.direction - far.direction) <= parallax
    assert np.abs(near.attitude - far.attitude).max() < 1e-12
    assert near.distance == pytest.approx(float(far.distance), rel=parallax * 1.1)


def test_nearby_plane_by_hand():
    # Azimuthal equidistant map about the north pole: places lie at R (90 - lat) from the middle, in the direction
    # of their longitude. Observer on the meridian of the Sun: it stands due south (or north) at the height over
    # the distance along the meridian.
    noon = Instants.from_utc("2027-03-20T12:00:00Z")
    site = Site(50.0, 0.0)
    chart = plane_map("azimuthal-equidistant")
    assert np.hypot(*chart.place(np.deg2rad(50), 0.3)) == pytest.approx(6371 * np.deg2rad(40), rel=1e-9)
    view = view_of(PLANE, noon, site, {"height_km": 5000.0, "diameter_km": 50.0})
    from whichsun.models.ephemeris import earth_fixed_sun

    sun = earth_fixed_sun(noon)
    below = 6371 * (np.pi / 2 - sun.declination) * np.array([np.sin(sun.longitude), -np.cos(sun.longitude)])
    here = 6371 * np.deg2rad(40) * np.array([0.0, -1.0])
    ground = np.hypot(*(below - here))
    assert np.tan(observables.altitude(view)) == pytest.approx(5000 / ground, rel=1e-9)
    assert view.distance == pytest.approx(np.hypot(ground, 5000) / 25, rel=1e-9)
    # north on this map is towards its middle, so the Sun, farther out, is south
    assert np.cos(observables.azimuth(view)) < -0.99


@pytest.mark.parametrize("name", sorted(SHORT_NAMES))
def test_every_short_map_gives_a_north(name):
    chart = plane_map(name)
    latitude, longitude = np.deg2rad([[40.0, 10.0, 70.0], [-100.0, 30.0, 170.0]])
    if "south" in name:
        latitude = -latitude
    north = chart.north(latitude, longitude)
    assert np.allclose(np.linalg.norm(north, axis=-1), 1)
    step = chart.place(latitude + 1e-3, longitude) - chart.place(latitude, longitude)
    assert np.all(np.einsum("ij,ij->i", step, north) > 0.999 * np.linalg.norm(step, axis=-1))


def test_facing_pole_and_fixed_and_spinning():
    site = Site(60.0, 20.0)
    lon0 = {}
    for face, extra in (("facing-pole", {}), ("fixed", {}), ("spinning", {"rate_deg_per_day": 90.0})):
        view = view_of(PLANE, WHEN, site, {"face": face, **extra})
        assert np.allclose(view.attitude[:, :, 2], [0, 0, 1])  # the body's pole is the plane's up
        lon0[face] = np.unwrap(np.arctan2(view.attitude[:, 1, 0], view.attitude[:, 0, 0]))
    assert np.ptp(lon0["fixed"]) == pytest.approx(0, abs=1e-12)
    days = float(np.ptp(WHEN.utc_days))
    assert np.diff(lon0["spinning"])[0] == pytest.approx(np.deg2rad(90 * days), abs=1e-9)
    # the Sun goes clockwise seen from above the north pole, and the face with it, a turn a day
    assert np.diff(lon0["facing-pole"])[0] == pytest.approx(-2 * np.pi * days, abs=0.01)


def test_facing_pole_without_a_pole_is_plane_north():
    site = Site(30.0, 20.0)
    pole = view_of(PLANE, WHEN, site, {"face": "facing-pole", "map": "equirectangular"})
    fixed = view_of(PLANE, WHEN, site, {"face": "fixed", "map": "equirectangular"})
    assert np.allclose(pole.attitude, fixed.attitude)


def test_distant_plane_is_one_sky_for_all():
    model = get_model("distant-plane")
    altitudes = observables.altitude(
        view_of(model, WHEN[1], Site(np.array([10.0, 60.0, -30.0]), np.array([0.0, 100.0, -60.0])))
    )
    assert np.ptp(altitudes) < 1e-9
    home = view_of(model, WHEN, Site(0.0, 0.0), {"reference_site": "48,11"})
    there = view_of(get_model("distant-sphere"), WHEN, Site(48.0, 11.0))
    assert np.allclose(observables.altitude(home), observables.altitude(there))
    with pytest.raises(InputError, match="reference_site"):
        view_of(model, WHEN, Site(0.0, 0.0), {"reference_site": "here"})


@pytest.mark.parametrize(
    ("given_values", "error", "words"),
    [
        ({"heigth_km": 1000}, UnknownNameError, "did you mean 'height_km'"),
        ({"height_km": -5}, InputError, "between 500 and 50000"),
        ({"height_km": float("nan")}, InputError, "height_km"),
        ({"height_km": "high"}, InputError, "must be a number"),
        ({"face": "facing-moon"}, UnknownNameError, "facing-pole"),
        ({"map": "flat"}, UnknownNameError, "azimuthal-equidistant"),
        ({"map": "+proj=nothing"}, InputError, "no map that PROJ knows"),
        ({"map": "+proj=longlat"}, InputError, "lay the Earth on a plane"),
    ],
)
def test_wrong_values(given_values, error, words):
    with pytest.raises(error, match=words.replace("+", r"\+")):
        view_of(PLANE, WHEN, Site(52.0, 5.0), given_values)


def test_a_site_off_the_map_is_refused():
    with pytest.raises(InputError, match="must lie on the map"):
        view_of(PLANE, WHEN, Site(-30.0, 5.0), {"map": "orthographic"})


def test_among_many_sites_those_off_the_map_are_nan():
    view = view_of(
        PLANE, Instants.from_utc("2027-06-20T12:00:00Z"), Site([-30.0, 40.0], 5.0), {"map": "orthographic"}
    )
    assert np.isnan(view.direction[0]).all()
    assert np.isfinite(view.direction[1]).all()

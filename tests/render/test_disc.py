"""The rendered disc: limb to far below a pixel, spots where the geometry puts them, squash, roll, horizon."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates
from scipy.optimize import least_squares
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.observables import body_vector, project
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc
from whichsun.render.frame import VerticalWarp, limb_reach
from whichsun.render.limb_darkening import relative_intensity
from whichsun.sim.atmosphere import vertical_table

GREEN = (550.0,)


def brute_force(view, frame, table, fine=32):
    """The disc by plain supersampling, written apart from the renderer."""
    offsets = (np.arange(fine) + 0.5) / fine - 0.5
    rows = (np.arange(frame.height_px)[:, None] + offsets).ravel()
    columns = (np.arange(frame.width_px)[:, None] + offsets).ravel()
    right = (columns[None, :] - frame.centre_px[0]) / frame.radius_px
    up = -(rows[:, None] - frame.centre_px[1]) / frame.radius_px
    # The camera is rolled anticlockwise, so its right and up axes point along these true directions.
    roll = np.deg2rad(frame.roll_deg)
    x = right * np.cos(roll) - up * np.sin(roll)
    y = right * np.sin(roll) + up * np.cos(roll)
    if table is not None:
        y = np.interp(y, *table)
    rho2 = x**2 + y**2
    mu = np.sqrt(np.maximum(1 - rho2, 0) / (1 + rho2 / (view.distance**2 - 1)))
    light = np.where(rho2 < 1, relative_intensity(mu, "neckel-labs", 550.0), 0)
    return light.reshape(frame.height_px, fine, frame.width_px, fine).mean(axis=(1, 3))


@pytest.mark.parametrize("roll_deg", [0.0, -37.0])
@pytest.mark.parametrize("squashed", [False, True])
@pytest.mark.parametrize("distance", [215.0, 3.0])
def test_every_pixel_against_supersampling(make_view, squash, roll_deg, squashed, distance):
    """Where the limb lies along the samples' rows, 32 x 32 samples are off by up to half a row, 0.3 / 64 =
    0.005. Inside the ring the renderer takes the centre of a pixel for its mean, which gives 1.5e-4 of the
    light too much at a radius of 40 px (the second derivative of the limb darkening), less on larger discs.
    """
    view = make_view(distance=distance)
    frame = PictureFrame(97, 91, (48.37, 44.81), 40.0, roll_deg)
    table = squash if squashed else None
    got = render_disc(view, frame, vertical_table=table, wavelengths_nm=GREEN)[..., 0]
    want = brute_force(view, frame, table)
    assert got.dtype == np.float32
    assert np.max(np.abs(got - want)) < 5e-3
    assert np.mean(np.abs(got - want)) < 2e-4
    assert abs(got.sum() - want.sum()) / want.sum() < 2.5e-4
    rows, columns = np.mgrid[: frame.height_px, : frame.width_px]
    for grid in (rows, columns):
        assert abs((got * grid).sum() / got.sum() - (want * grid).sum() / want.sum()) < 5e-4


@pytest.mark.parametrize(("centre", "radius"), [((250.0, 240.0), 200.0), ((251.37, 239.81), 199.63)])
def test_fitted_limb_closes(make_view, centre, radius):
    """A circle through the half-light points of 720 rays: centre to 0.02 px (what measuring needs)."""
    frame = PictureFrame(501, 487, centre, radius)
    image = render_disc(make_view(), frame, wavelengths_nm=GREEN)[..., 0].astype(float)
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    along = np.arange(radius - 6, radius + 6, 0.05)
    columns = centre[0] + 0.3 + np.cos(angle)[:, None] * along
    rows = centre[1] - 0.2 + np.sin(angle)[:, None] * along
    profile = map_coordinates(image, [rows, columns], order=1)
    half = 0.5 * profile[:, 20]
    last = along[profile.shape[1] - 1 - np.argmax(profile[:, ::-1] > half[:, None], axis=1)]
    x, y = centre[0] + 0.3 + np.cos(angle) * last, centre[1] - 0.2 + np.sin(angle) * last
    fit = least_squares(lambda p: np.hypot(x - p[0], y - p[1]) - p[2], [*centre, radius])
    assert np.hypot(fit.x[0] - centre[0], fit.x[1] - centre[1]) < 0.02


@pytest.mark.parametrize("radius", [30.3, 199.63])
def test_covered_area(make_view, radius):
    """The sky fills what the disc leaves of every pixel, so it measures the area: pi r^2 to 1e-5 (the
    limb is straight within a pixel); that much on one side alone would move the centroid by 1e-5 r."""
    frame = PictureFrame(501, 487, (251.37, 239.81), radius, 17.0)
    without = render_disc(make_view(), frame, wavelengths_nm=GREEN)[..., 0].astype(float)
    with_sky = render_disc(make_view(), frame, wavelengths_nm=GREEN, sky=1.0)[..., 0]
    covered = 1 - (with_sky - without)
    rows, columns = np.mgrid[:487, :501]
    assert covered.sum() == pytest.approx(np.pi * radius**2, rel=1e-5)
    assert (covered * columns).sum() / covered.sum() == pytest.approx(251.37, abs=1e-5 * radius)
    assert (covered * rows).sum() / covered.sum() == pytest.approx(239.81, abs=1e-5 * radius)


def test_limb_follows_the_vertical_table(make_view, squash):
    """Covered length of the middle column against the table's apparent limbs; the lower is nearer.

    0.01 px: the limb's own curvature across half a pixel is 1/(24 x 180 px).
    """
    frame = PictureFrame(401, 401, (200.0, 200.0), 180.0)
    upper, lower = np.interp([1.0, -1.0], squash[1], squash[0])
    assert -lower < upper - 0.03
    keywords = {"vertical_table": squash, "wavelengths_nm": GREEN}
    without = render_disc(make_view(), frame, **keywords)[..., 0].astype(float)
    column = 1 - (render_disc(make_view(), frame, sky=1.0, **keywords)[..., 0] - without)[:, 200]
    assert column[:200].sum() + 0.5 == pytest.approx(180 * upper, abs=0.01)
    assert column[201:].sum() + 0.5 == pytest.approx(-180 * lower, abs=0.01)


def centroid(with_spot, without):
    depth = np.where(without > 0.01, 1 - with_spot / np.maximum(without, 1e-6), 0)
    rows, columns = np.mgrid[: depth.shape[0], : depth.shape[1]]
    return (depth * columns).sum() / depth.sum(), (depth * rows).sum() / depth.sum()


@pytest.mark.parametrize("distance", [215.0, 3.5])
@pytest.mark.parametrize("roll_deg", [0.0, 22.0])
def test_small_spots_stand_where_the_geometry_puts_them(make_view, squash, distance, roll_deg):
    """0.05 px: a spot of 0.4 deg on a disc of 300 px radius is 2 px wide; its own curvature moves its
    centre by radius^2 / 2 x tan(angle from the centre) = 0.02 px at 70 deg."""
    view = make_view(distance=distance)
    frame = PictureFrame(701, 691, (345.3, 350.8), 300.0, roll_deg)
    warp = VerticalWarp(squash)
    clean = render_disc(view, frame, vertical_table=squash, wavelengths_nm=GREEN)[..., 0].astype(float)
    rng = np.random.default_rng(7)
    points = body_vector(np.deg2rad(rng.uniform(-40, 50, 30)), np.deg2rad(rng.uniform(-30, 110, 30)))
    seen = project(view, points)
    tested = 0
    for i in np.flatnonzero(seen.visible & (np.hypot(seen.x, seen.y) < 0.94)):
        spot = SurfaceSpots(points[i : i + 1], np.deg2rad(0.4), seed=int(i))
        image = render_disc(view, frame, spot, vertical_table=squash, wavelengths_nm=GREEN)[..., 0]
        column, row = frame.to_pixels(seen.x[i], warp.apparent(seen.y[i]))
        got = centroid(image.astype(float), clean)
        assert np.hypot(got[0] - column, got[1] - row) < 0.05
        tested += 1
    assert tested >= 12


def test_foreshortening(make_view):
    """A round spot's extent along the radius shrinks with the cosine of its distance from the centre."""
    view = make_view(sub_latitude_deg=0, sub_longitude_deg=0, north_vertex_deg=0)
    frame = PictureFrame.centred(900)
    clean = render_disc(view, frame, wavelengths_nm=GREEN)[..., 0].astype(float)
    for longitude_deg in (0.0, 40.0, 60.0, 70.0):
        spot = SurfaceSpots(body_vector([0.0], np.deg2rad([longitude_deg])), np.deg2rad(2.0), irregularity=0)
        image = render_disc(view, frame, spot, wavelengths_nm=GREEN)[..., 0].astype(float)
        depth = np.where(clean > 0.01, 1 - image / np.maximum(clean, 1e-6), 0)
        rows, columns = np.mgrid[: depth.shape[0], : depth.shape[1]]
        column, row = centroid(image, clean)
        across = np.sqrt((depth * (columns - column) ** 2).sum() / depth.sum())
        along = np.sqrt((depth * (rows - row) ** 2).sum() / depth.sum())
        expected = np.cos(np.deg2rad(longitude_deg))
        assert across / along == pytest.approx(expected, abs=0.02)  # pixels of a spot some 14 px wide


def test_far_side_is_not_drawn(make_view):
    view = make_view(sub_latitude_deg=0, sub_longitude_deg=0)
    frame = PictureFrame.centred(300)
    hidden = SurfaceSpots(body_vector([0.0, 0.3], np.deg2rad([180.0, 130.0])), 0.05)
    assert np.array_equal(render_disc(view, frame, hidden), render_disc(view, frame))


def test_near_sun_hides_what_a_far_one_shows(make_view):
    """At 3 radii the visible cap ends acos(1/3) = 70.5 deg from its middle."""
    frame = PictureFrame.centred(300)
    spot = SurfaceSpots(body_vector([0.0], np.deg2rad([78.0])), 0.03)
    for distance, drawn in ((215.0, True), (3.0, False)):
        view = make_view(distance=distance, sub_latitude_deg=0, sub_longitude_deg=0)
        changed = not np.array_equal(render_disc(view, frame, spot), render_disc(view, frame))
        assert changed == drawn


def test_quarter_roll_turns_the_picture_clockwise(make_view, few_spots):
    """A camera rolled 90 deg anticlockwise (seen from behind) shows the scene turned 90 deg clockwise."""
    level = render_disc(make_view(), PictureFrame.centred(301), few_spots)
    rolled = render_disc(make_view(), PictureFrame.centred(301, roll_deg=90.0), few_spots)
    np.testing.assert_allclose(rolled, np.rot90(level, k=-1), atol=3e-3)
    assert not np.allclose(rolled, np.rot90(level, k=1), atol=3e-3)


def test_vertex_angle_in_the_picture_is_the_true_one_less_the_roll(make_view):
    """V_true = V_picture + roll, V anticlockwise from the top: a spot at the true top, roll +30 deg, stands
    30 deg clockwise of the picture's top, to the right."""
    frame = PictureFrame(401, 401, (200.0, 200.0), 180.0, roll_deg=30.0)
    column, row = frame.to_pixels(0.0, 0.6)
    assert column == pytest.approx(200 + 0.6 * 180 * np.sin(np.deg2rad(30)))
    assert row == pytest.approx(200 - 0.6 * 180 * np.cos(np.deg2rad(30)))
    view = make_view(sub_latitude_deg=0, sub_longitude_deg=0, north_vertex_deg=0)
    spot = SurfaceSpots(body_vector(np.arcsin([0.6]), [0.0]), 0.02)
    image = render_disc(view, frame, spot, wavelengths_nm=GREEN)[..., 0].astype(float)
    clean = render_disc(view, frame, wavelengths_nm=GREEN)[..., 0].astype(float)
    got = centroid(image, clean)
    picture_v = np.rad2deg(np.arctan2(-(got[0] - 200), -(got[1] - 200)))
    assert picture_v + 30.0 == pytest.approx(0.0, abs=0.1)


def test_frame_there_and_back():
    frame = PictureFrame(300, 200, (120.4, 88.8), 70.0, roll_deg=-63.0)
    x, y = np.array([0.3, -0.8]), np.array([0.5, 0.1])
    back = frame.to_disc(*frame.to_pixels(x, y))
    np.testing.assert_allclose(back, [x, y], atol=1e-12)


def test_squash_where_a_polynomial_does_not_do(make_view):
    """A kinked table (an inversion) is followed point by point; 1e-3 of the disc's light, as above."""
    apparent = np.array([-1.5, -0.4, -0.3, 1.5])
    table = (apparent, np.array([-1.9, -0.55, -0.35, 1.45]))
    assert VerticalWarp(table).polynomial is None
    frame = PictureFrame(97, 91, (48.37, 44.81), 40.0, 12.0)
    got = render_disc(make_view(), frame, vertical_table=table, wavelengths_nm=GREEN)[..., 0]
    want = brute_force(make_view(), frame, table)
    assert np.mean(np.abs(got - want)) < 2e-4


@pytest.mark.parametrize("roll_deg", [0.0, 7.0])
def test_horizon_covers_exactly_what_lies_below_it(make_view, roll_deg):
    frame = PictureFrame(200, 180, (99.2, 80.6), 60.0, roll_deg)
    image = render_disc(make_view(), frame, horizon=-0.5, sky=1.0, ground=0.0, surface="plain")[..., 1]
    _, height = frame.to_disc(np.arange(200)[None, :], np.arange(180)[:, None])
    assert np.all(image[height < -0.5 - 1 / 60] == 0)
    far_left = image[:, 0].astype(float)  # sky and ground alone: its sum is the horizon's row
    edge = far_left.sum() - 0.5
    _, at_edge = frame.to_disc(0, edge)
    assert at_edge == pytest.approx(-0.5, abs=1e-4)


def test_surfaces_need_an_attitude_and_follow_it(make_view):
    frame = PictureFrame.centred(240)
    plain = render_disc(make_view(), frame)
    for surface in ("grid", "stripes"):
        painted = render_disc(make_view(), frame, surface=surface)
        assert np.all(painted <= plain + 1e-6)
        assert 0.01 < np.mean(painted < 0.97 * plain) < 0.7
    # The equator of the grid is where the geometry puts it.
    view = make_view()
    grid = render_disc(view, frame, surface="grid", wavelengths_nm=GREEN)[..., 0]
    clean = render_disc(view, frame, wavelengths_nm=GREEN)[..., 0]
    seen = project(view, body_vector(np.zeros(60), np.deg2rad(np.linspace(0, 90, 60))))
    column, row = frame.to_pixels(seen.x, seen.y)
    ratio = map_coordinates(grid / np.maximum(clean, 1e-6), [row, column], order=1)
    assert np.all(ratio[np.hypot(seen.x, seen.y) < 0.95] < 0.65)


def test_bad_input(make_view, few_spots):
    view, frame = make_view(), PictureFrame.centred(64)
    with pytest.raises(UnknownNameError, match="did you mean 'stripes'"):
        render_disc(view, frame, surface="stripe")
    with pytest.raises(InputError, match="must rise"):
        render_disc(view, frame, vertical_table=([0, 1, 0.5], [0, 1, 2]))
    free = type(view)(
        view.direction, view.distance, np.full((3, 3), np.nan), view.celestial_north, view.distance
    )
    with pytest.raises(InputError, match="must have an attitude"):
        render_disc(free, frame, few_spots)
    with pytest.raises(InputError, match="one site and instant"):
        render_disc(type(view)(*(np.asarray(part)[None] for part in vars(view).values())), frame)
    with pytest.raises(InputError, match="radius_px"):
        PictureFrame(10, 10, (5, 5), 0.0)
    with pytest.raises(InputError, match="unit vectors"):
        SurfaceSpots(np.array([[1.0, 1.0, 0.0]]), 0.02)
    with pytest.raises(InputError, match="one number or 5 of them"):
        SurfaceSpots(few_spots.points, [0.01, 0.02])


def test_no_spots_and_disc_outside_the_picture(make_view):
    nothing = SurfaceSpots(np.zeros((0, 3)), 0.02)
    frame = PictureFrame(50, 40, (900.0, 900.0), 30.0)
    assert render_disc(make_view(), frame, nothing).max() == 0
    part = render_disc(make_view(), PictureFrame(50, 40, (0.0, 0.0), 30.0), nothing, wavelengths_nm=GREEN)
    assert part[0, 0, 0] == pytest.approx(1, abs=1e-3)


@pytest.mark.parametrize("roll_deg", [0.0, 7.0, -63.0, 90.0])
@pytest.mark.parametrize("centre", [(59.5, 59.5), (8.2, 90.7), (-30.0, 140.0)])
def test_no_row_of_the_disc_reaches_beyond_the_columns_that_are_painted(roll_deg, centre, squash):
    frame, warp = PictureFrame(120, 110, centre, 53.0, roll_deg), VerticalWarp(squash)
    reach = limb_reach(frame, warp)
    row, column = np.mgrid[:110, :120]
    x, apparent = frame.to_disc(column, row)
    disc = np.hypot(x, warp.true(apparent)) < 1 + 0.75 / 53  # and the pixels that the limb crosses
    painted = 0
    for top in range(0, 110, 7):
        left, right = reach(top, top + 7)
        assert 0 <= left <= right <= 120
        there = np.flatnonzero(disc[top : top + 7].any(axis=0))
        if there.size:
            assert left <= there[0]
            assert there[-1] < right
        painted += (right - left) * 7
    assert painted < 1.4 * disc.sum() + 7 * 110, "no more than the disc and a margin"


def test_the_polynomial_of_a_warp_is_no_longer_than_it_must_be(squash):
    """The invented table is a parabola; a straight one needs no more either."""
    assert len(VerticalWarp(squash).polynomial) == 3
    low = vertical_table(np.deg2rad(3.0), np.deg2rad(0.27))
    assert len(VerticalWarp(low).polynomial) in (5, 7)
    places = np.linspace(-0.9, 0.9, 51)
    for table in (squash, low):
        warp = VerticalWarp(table)
        made = np.polynomial.polynomial.polyval(places, warp.polynomial)
        np.testing.assert_allclose(made, warp.true(places), atol=2e-5)

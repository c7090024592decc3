"""A day under several models: numbers against `predict` and the mount's own code, pictures against numbers.

``python tests/sim/test_day.py`` writes tests/data/render/day.png anew after a change that is meant (made by this
program, invented spots); look at it first.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.render.day_disc import GROUND_RGB, SKY_RGB
from whichsun.sim.atmosphere import axis_ratio
from whichsun.sim.camera import camera_roll
from whichsun.sim.day import day_courses, day_instants
from whichsun.sim.day_film import FilmOfDay
from whichsun.sim.day_pictures import day_frame, day_picture, day_pictures, ground_shows
from whichsun.sim.day_sheet import altitude_words, day_sheet, day_tile
from whichsun.sim.day_tracks import day_tracks
from whichsun.sim.predicting import predict
from whichsun.sim.rotation import rotation_law

STORED = Path(__file__).parents[1] / "data" / "render" / "day.png"
NAMES = ("distant-sphere", "nearby-plane")
LAW = rotation_law("howard-1984")
NORTH, SOUTH = Site(46.5, -30.0), Site(-34.0, 151.0)


def the_day(site=NORTH, mount="level-tripod", names=NAMES, count=121, horizon="visible", **options):
    instants = day_instants("2027-04-18", site, count, horizon)
    models = [(get_model(name), {}) for name in names]
    return day_courses(models, dt.date(2027, 4, 18), site, instants, law=LAW, mount=mount, **options)


@pytest.fixture(scope="module")
def tripod():
    return the_day()


@pytest.fixture(scope="module")
def equatorial():
    return the_day(mount="equatorial")


def test_numbers_are_those_of_predict(tripod):
    for course in tripod.courses:
        places = [(s.latitude_deg, s.longitude_deg) for s in course.surface.spots]
        told = predict(get_model(course.model), tripod.instants, NORTH, spots_deg=places, law=LAW)
        for i in (0, 40, 120):
            row = told["instants"][i]
            assert np.rad2deg(course.altitude_rad[i]) == pytest.approx(row["altitude_deg"], abs=1e-9)
            for k, spot in enumerate(row["spots"]):
                assert (course.x[i, k], course.y[i, k]) == pytest.approx((spot["x"], spot["y"]), abs=1e-9)
                assert course.visible[i, k] == spot["visible"]
        # A lattice of 1500 points instead of 8000: the cut at the limb moves by a point's width, 0.03 radii.
        wrapped = (np.rad2deg(course.turn_rad[-1]) + 180) % 360 - 180
        assert wrapped == pytest.approx(told["turn"]["pattern_deg"], abs=0.1)
        assert course.scatter[-1] == pytest.approx(told["turn"]["pattern_scatter"], abs=0.01)


def test_spots_stand_at_the_same_places_on_every_first_picture(tripod):
    first, second = tripod.courses
    np.testing.assert_allclose(first.x[0], second.x[0], atol=1e-9)
    np.testing.assert_allclose(first.y[0], second.y[0], atol=1e-9)
    assert np.all(first.visible[0])


def test_a_turn_is_followed_beyond_half_a_turn():
    """Near the equator the Sun passes north of the zenith: the pattern goes round by more than 180 degrees."""
    day = the_day(Site(2.0, 0.0), names=("distant-sphere",), count=721)
    told = predict(get_model("distant-sphere"), day.instants[np.array([0, -1])], day.site, law=LAW)
    assert np.rad2deg(day.courses[0].turn_rad[-1]) == pytest.approx(
        told["turn"]["unwrapped_axis_deg"], abs=3.0
    )
    assert abs(told["turn"]["unwrapped_axis_deg"]) > 180


@pytest.mark.parametrize("site", [NORTH, SOUTH])
def test_the_mount_of_iron_is_the_camera_s_own_under_a_turning_sphere(site):
    """Its axis is the celestial pole there: `camera_roll` gives the same without knowing the latitude."""
    day = the_day(site, "equatorial", ("distant-sphere",))
    course = day.courses[0]
    expected = camera_roll(course.view, "equatorial", 0.0)
    np.testing.assert_allclose(course.roll_rad, expected, atol=1e-6)
    # Such a camera undoes the turn but for the tilt of the Sun's axis, which hardly changes in a day.
    assert abs(np.rad2deg(course.turn_rad[-1])) < 1.5


def test_under_a_near_sun_the_same_mount_does_not_hold_the_pattern(equatorial, tripod):
    sphere, plane = equatorial.courses
    assert abs(np.rad2deg(plane.turn_rad[-1])) > 30
    assert not np.allclose(plane.roll_rad, sphere.roll_rad, atol=0.1)
    # Roll alone separates the two mounts' pictures.
    np.testing.assert_allclose(
        np.hypot(plane.x, plane.y), np.hypot(tripod.courses[1].x, tripod.courses[1].y), atol=1e-12
    )


@pytest.mark.parametrize("index", [45, 60, 80])
def test_spots_are_dark_where_the_numbers_say(index, tripod, equatorial):
    """x, y are in the picture's own axes, roll included; the Sun is high, so nothing is squashed."""
    for day in (tripod, equatorial):
        for course in day.courses:
            picture = day_picture(course, index, 400).sum(axis=-1)
            radius = day_frame(course, index, 400).radius_px
            for k in np.flatnonzero(course.visible[index] & (np.hypot(course.x, course.y)[index] < 0.85)):
                column = round(199.5 + course.x[index, k] * radius)
                row = round(199.5 - course.y[index, k] * radius)
                here = picture[row - 1 : row + 2, column - 1 : column + 2].mean()
                opposite = picture[398 - row : 401 - row, 398 - column : 401 - column].mean()
                assert here < 0.8 * opposite


def test_the_ground_lies_where_down_is(tripod, equatorial):
    """At sunset in the north the equatorial camera has turned: down is to the right, on the tripod below."""
    level, turned = (day_picture(day.courses[0], 120, 200) for day in (tripod, equatorial))
    assert tuple(level[-1, 100]) == GROUND_RGB
    assert tuple(level[0, 100]) == SKY_RGB
    assert tuple(turned[100, -1]) == GROUND_RGB
    assert tuple(turned[100, 0]) == SKY_RGB
    assert ground_shows(tripod.courses[0], 120, 200)
    assert not ground_shows(tripod.courses[0], 60, 200)
    # Upper limb on the horizon by the almanacs' convention (34' and 16'): a sliver at most is up.
    assert np.any(level[:99] != SKY_RGB)
    centre = level[100, 100]
    assert tuple(centre) == GROUND_RGB


def test_a_sun_far_below_the_horizon_is_ground_alone():
    instants = Instants.from_utc(["2027-04-18T00:00Z", "2027-04-18T03:00Z"])
    model = [(get_model("distant-sphere"), {})]
    day = day_courses(model, dt.date(2027, 4, 18), NORTH, instants, law=LAW)
    assert np.all(day_picture(day.courses[0], 1, 100) == GROUND_RGB)
    assert ground_shows(day.courses[0], 1, 100)
    assert "\N{MINUS SIGN}" in altitude_words(day.courses[0], 1)


def test_low_suns_are_squashed_and_red(tripod):
    course = tripod.courses[0]
    low = day_picture(course, 2, 600)
    disc = np.any(low != SKY_RGB, axis=-1) & np.any(low != GROUND_RGB, axis=-1)
    rows, columns = np.flatnonzero(disc.any(axis=1)), np.flatnonzero(disc.any(axis=0))
    expected = float(axis_ratio(course.altitude_rad[2], course.semidiameter_rad[2]))
    # A pixel of the edge each way, of 456.
    assert np.ptp(rows) / np.ptp(columns) == pytest.approx(expected, abs=0.006)
    assert expected < 0.92
    red, _, blue = low[300, 300].astype(int)
    high = day_picture(course, 60, 600)[300, 300].astype(int)
    assert blue / red < 0.5 * high[2] / high[0]


def test_sizes_within_a_row_are_true(tripod):
    course = tripod.courses[1]
    radii = [day_frame(course, i, 400).radius_px for i in (0, 60)]
    assert radii[0] / radii[1] == pytest.approx(
        float(course.semidiameter_rad[0] / course.semidiameter_rad[60])
    )
    assert radii[0] < 0.6 * radii[1]


def test_threads_change_nothing(tripod):
    one, three = (list(day_pictures(tripod, range(0, 121, 15), 120, workers=n)) for n in (1, 3))
    assert len(one) == 9
    for a, b in zip(one, three, strict=True):
        np.testing.assert_array_equal(np.array(a), np.array(b))
    np.testing.assert_array_equal(one[2][1], day_picture(tripod.courses[1], 30, 120))


def small_pictures():
    """Rise, morning and afternoon; a row for each model and mount."""
    days = [the_day(mount=mount, count=25) for mount in ("level-tripod", "equatorial")]
    return np.vstack(
        [
            np.hstack([day_picture(course, i, 96, "grid") for i in (0, 3, 20)])
            for day in days
            for course in day.courses
        ]
    )


def test_pictures_look_as_they_did():
    """2 steps of 255 and 0.1 in the mean, as for the disc's own stored pictures: float32 rounds differently."""
    with Image.open(STORED) as stored:
        change = np.abs(small_pictures().astype(int) - np.asarray(stored).astype(int))
    assert change.max() <= 2
    assert change.mean() < 0.1


def test_marks_point_to_the_spot_and_to_the_horizon(equatorial):
    course = equatorial.courses[0]
    tile = day_tile(course, 100, day_picture(course, 100, 200))
    (x0, y0), (x1, y1) = tile.tick()
    assert np.arctan2(y0, x0) == pytest.approx(np.arctan2(course.y[100, 0], course.x[100, 0]))
    assert np.hypot(x1, y1) > np.hypot(x0, y0) > tile.radius
    level = np.array(tile.level()[0])
    down = np.array([-np.sin(course.roll_rad[100]), -np.cos(course.roll_rad[100])])
    assert np.all(level @ down > tile.largest)
    assert (level[1] - level[0]) @ down == pytest.approx(0, abs=1e-12)
    shown = day_tile(course, 0, day_picture(course, 0, 200))
    assert shown.level() == []  # the ground itself is in the picture


def test_the_sheet_says_what_it_shows(tripod):
    figure = day_sheet(tripod, [0, 60, 120])
    words = " ".join(text.get_text() for text in figure.texts)
    for part in ("18 April 2027", "46.5\N{DEGREE SIGN} N", "14:00 UTC", "clockwise", "Invented", *NAMES):
        assert part in words
    assert len(figure.axes) == 6
    figure.canvas.draw()
    for text in figure.texts:
        box = text.get_window_extent()
        assert box.x0 >= 0, text
        assert box.x1 <= figure.bbox.x1, text


def test_tracks_run_through_the_spots_places(tripod):
    figure = day_tracks(tripod)
    assert len(figure.axes) == 2
    for ax, course in zip(figure.axes, tripod.courses, strict=True):
        lines = [line.get_xydata() for line in ax.get_lines() if len(line.get_xydata()) == 121]
        assert len(lines) == 3
        for k, line in enumerate(lines):
            seen = course.visible[:, k]
            np.testing.assert_allclose(line[seen], np.stack([course.x[seen, k], course.y[seen, k]], axis=-1))
            assert np.all(np.isnan(line[~seen]))
        times = [text for text in ax.texts if text.get_text() == "14h"]
        noon = np.argmin(np.abs(tripod.instants.utc_days - np.round(tripod.instants.utc_days[60] * 24) / 24))
        np.testing.assert_allclose(times[0].xy, (course.x[noon, 0], course.y[noon, 0]))
    words = " ".join(text.get_text() for text in figure.texts)
    assert "level tripod" in words
    assert "off such a turn" in words


def test_frames_of_the_film_move(tripod):
    film = FilmOfDay(tripod, 160)
    first, noon = film.frames([0, 60], workers=1)
    assert first.shape == noon.shape
    assert first.shape[0] % 2 == 0
    assert first.shape[1] % 2 == 0
    assert np.mean(first != noon) > 0.05
    np.testing.assert_array_equal(next(film.frames([60])), noon)
    assert film.colours(range(0, 121, 10)).shape[2] == 3


def test_bad_days_are_refused():
    with pytest.raises(InputError, match="rises and sets"):
        day_instants("2027-01-05", Site(80.0, 0.0), 5)
    with pytest.raises(InputError, match="2 or more"):
        day_instants("2027-04-18", NORTH, 1)
    with pytest.raises(UnknownNameError, match="hand-held"):
        the_day(mount="hand-held")
    instants = day_instants("2027-04-18", NORTH, 3)
    with pytest.raises(InputError, match="which face"):
        day_courses(
            [(get_model("nearby-plane"), {"face": "free"})], dt.date(2027, 4, 18), NORTH, instants, law=LAW
        )


if __name__ == "__main__":
    Image.fromarray(small_pictures()).save(STORED)

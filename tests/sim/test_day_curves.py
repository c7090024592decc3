"""Curves over a day: numbers against the views themselves, the figure against the numbers."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from whichsun.models.errors import InputError, UnknownNameError
from whichsun.models.observables import north_vertex_angle, wrap_angle
from whichsun.models.place import Site
from whichsun.models.registry import get_model, model_names
from whichsun.render import day_curves as drawing
from whichsun.render.style import new_figure
from whichsun.sim.cli.main import main
from whichsun.sim.day import continuous_azimuths, day_courses, day_instants
from whichsun.sim.day_curves import day_curves, day_curves_figure, turn_rate
from whichsun.sim.rotation import rotation_law

RIGID = rotation_law("rigid")


def the_day(site=None, names=("distant-sphere", "nearby-plane"), mount="level-tripod", count=121):
    site = site or Site(46.5, -30.0)
    instants = day_instants("2027-04-18", site, count)
    models = [(get_model(name), {}) for name in names]
    return day_courses(models, dt.date(2027, 4, 18), site, instants, law=RIGID, mount=mount)


@pytest.fixture(scope="module")
def day():
    return the_day()


@pytest.fixture(scope="module")
def curves(day):
    return day_curves(day, RIGID)


def test_rate_of_a_distant_sun_is_that_of_its_axis(day):
    """The Sun's own spin adds 0.55 deg/h times the sine of the tilt towards us, at most 7.25 deg: 0.07 deg/h."""
    course = day.courses[0]
    axis = wrap_angle(np.diff(north_vertex_angle(course.view)))
    expected = np.rad2deg(axis) / (24 * np.diff(course.days))
    np.testing.assert_allclose(turn_rate(course, RIGID), expected, atol=0.08)
    assert np.ptp(expected) > 10


def test_rates_add_up_to_the_turn_followed_over_the_day(day):
    """Of a distant Sun, whose pattern turns as a whole; its edge lattice differs by a few hundredths."""
    course = day.courses[0]
    total = np.sum(turn_rate(course, RIGID) * 24 * np.diff(course.days))
    assert total == pytest.approx(float(np.rad2deg(course.turn_rad[-1])), abs=0.3)


def test_an_equatorial_mount_holds_a_distant_sun_s_pattern():
    course = the_day(names=("distant-sphere",), mount="equatorial").courses[0]
    assert np.max(np.abs(turn_rate(course, RIGID))) < 0.2


def test_curves_are_the_views_numbers(day, curves):
    assert [curve.model for curve in curves] == ["distant-sphere", "nearby-plane"]
    for curve, course in zip(curves, day.courses, strict=True):
        np.testing.assert_allclose(np.sin(np.deg2rad(curve.altitude_deg)), course.view.direction[:, 2])
        np.testing.assert_allclose(
            np.sin(np.deg2rad(curve.diameter_arcmin / 120)), 1 / course.view.distance, rtol=1e-9
        )
        assert len(curve.rate_hours) == len(curve.hours) - 1
    # Sunrise at 07:08 UTC, as the command `scene` prints it too.
    assert curves[0].hours[0] == pytest.approx(7 + 8 / 60, abs=0.02)
    assert curves[0].diameter_arcmin == pytest.approx(31.8, abs=0.1)  # almanacs: 31.5 to 32.5 over the year


def test_azimuths_do_not_jump_at_north():
    day = the_day(Site(-34.0, 151.0))
    for around in continuous_azimuths(day):
        assert np.max(np.abs(np.diff(around))) < 20
    first, second = (np.median(around) for around in continuous_azimuths(day))
    assert abs(first - second) < 180


def test_every_quantity_is_drawn_as_it_stands(curves):
    for quantity in drawing.QUANTITIES:
        ax = new_figure().add_subplot()
        artists = drawing.draw_day_curve(curves, quantity, ax=ax)
        assert artists[0].axes is ax
        for line, curve in zip(artists, curves, strict=False):
            x, y = drawing._values(curve, quantity)
            np.testing.assert_array_equal(line.get_xdata(), x)
            np.testing.assert_array_equal(line.get_ydata(), y)
    assert drawing.draw_day_curve(curves, "altitude")[0].figure is not None
    with pytest.raises(UnknownNameError, match="turn-rate"):
        drawing.draw_day_curve(curves, "speed")
    with pytest.raises(InputError, match="one or more"):
        drawing.draw_day_curves([], title="")


def test_a_sun_in_the_zenith_does_not_flatten_the_rest():
    site = Site(10.9, 0.0)  # the Sun's declination on that day: it passes a tenth of a degree from the zenith
    curves = day_curves(the_day(site, names=("distant-sphere",), count=361), RIGID)
    fastest = np.max(np.abs(curves[0].rate_deg_per_hour))
    assert fastest > 300
    ax = drawing.draw_day_curve(curves, "turn-rate")[0].axes
    assert ax.get_ylim()[1] < 0.5 * fastest
    assert any(f"{fastest:.0f}" in text.get_text() for text in ax.texts)


def test_the_figure_says_what_it_shows(day):
    figure = day_curves_figure(day, RIGID)
    assert len(figure.axes) == 4
    words = " ".join(text.get_text() for text in figure.texts)
    for part in ("18 April 2027", "level tripod", "without refraction"):
        assert part in words
    assert [text.get_text() for text in figure.legends[0].get_texts()] == ["distant-sphere", "nearby-plane"]


@pytest.mark.parametrize("mount", ["level-tripod", "equatorial"])
def test_all_words_lie_inside_the_figure_and_apart(mount):
    figure = day_curves_figure(the_day(names=tuple(model_names()), mount=mount, count=25), RIGID)
    figure.canvas.draw()
    renderer = figure.canvas.get_renderer()
    for drawn in (*figure.texts, *figure.axes):
        box = drawn.get_tightbbox(renderer)
        assert 0 <= box.x0 <= box.x1 <= figure.bbox.x1, drawn
        assert 0 <= box.y0 <= box.y1 <= figure.bbox.y1, drawn
    title, under = (text.get_window_extent(renderer) for text in figure.texts)
    key = figure.legends[0].get_window_extent(renderer)
    assert title.y0 > under.y1
    assert under.y0 > key.y1
    assert key.y0 > max(ax.get_window_extent(renderer).y1 for ax in figure.axes)
    assert key.x1 < figure.bbox.x1


def test_command_writes_the_curves(tmp_path):
    path = tmp_path / "curves.pdf"
    arguments = ["day", "--site", "46.5,-30", "--date", "2027-04-18", "--curves", str(path)]
    assert main(arguments) == 0
    assert path.read_bytes().startswith(b"%PDF")

"""Sites, days and moments in words."""

import datetime as dt

import pytest
from whichsun.models.place import Instants, Site
from whichsun.sim.day import Day
from whichsun.sim.day_sheet import day_title
from whichsun.sim.outing import Shot
from whichsun.sim.scene import scene_words
from whichsun.sim.telling import (
    day_words,
    longitude_words,
    moment_words,
    nobody_took,
    number_words,
    parameter_name,
    place_words,
)


def test_days_in_words_whatever_the_machine_speaks():
    assert day_words("2027-04-18") == "18 April 2027"


@pytest.mark.parametrize(
    ("time", "words"),
    [
        ("2027-04-18T07:40:00Z", "18 April 2027, 07:40 UTC"),
        ("2027-04-18T07:40:05.250Z", "18 April 2027, 07:40:05.250 UTC"),
        ("2027-04-18T00:00:00Z", "18 April 2027, 00:00 UTC"),
        (None, "time unknown"),
    ],
)
def test_moments(time, words):
    assert moment_words(time) == words


@pytest.mark.parametrize(
    ("latitude", "longitude", "digits", "words"),
    [
        (46.523194, -30.295694, 1, "46.5° N, 30.3° W"),
        (46.523194, -30.295694, 5, "46.52319° N, 30.29569° W"),
        (-0.04, 179.96, 1, "0.0° N, 180.0° E"),
        (-33.86, 190.0, 1, "33.9° S, 170.0° W"),
    ],
)
def test_places(latitude, longitude, digits, words):
    assert place_words(Site(latitude, longitude), digits) == words


def test_the_titles_of_a_day_and_of_scenes_say_the_site_alike():
    site, date = Site(-46.5, 190.0), dt.date(2027, 4, 18)
    day = Day(site, date, "level-tripod", Instants.from_utc(["2027-04-18T07:40:00Z"]), ())
    words = f"{place_words(site)}"
    assert day_title(day).endswith(f"18 April 2027, {words}")
    title, _ = scene_words(site, ["2027-04-18T07:40:00Z"], "2027-04-18", own_spots=False)
    assert title == f"Sunrise and sunset, 18 April 2027, at {words}"


@pytest.mark.parametrize(
    ("name", "unit", "words"),
    [
        ("height_km", "km", "height"),
        ("rate_deg_per_day", "deg/day", "rate"),
        ("some_share", "", "some share"),
    ],
)
def test_names_of_parameters(name, unit, words):
    assert parameter_name(name, unit) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [(7.09012e6, "7,090,000"), (-173.24, "-173.2"), (0.53121, "0.5312"), (4953.4, "4,953"), (0.0, "0")],
)
def test_numbers(value, words):
    assert number_words(value) == words


@pytest.mark.parametrize(
    ("degrees", "words"),
    [
        (-30.0, "longitude 30° W"),
        (0.0, "longitude 0° E"),
        (190.5, "longitude 169.5° W"),
        (30.3, "longitude 30.3° E"),
    ],
)
def test_longitudes(degrees, words):
    assert longitude_words(degrees) == words


def test_drawn_photos_are_known_by_their_camera():
    assert nobody_took([Shot("a.jpg", camera="a camera"), Shot("b.jpg", camera="simulated camera")])
    assert not nobody_took([Shot("a.jpg", camera="a camera"), Shot("b.jpg")])

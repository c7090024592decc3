"""A real picture as the surface: unprojected where the geometry says, carried by the rotation, blank beyond."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from whichsun.models.observables import body_vector, north_vertex_angle, project, sub_observer_point
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc, to_picture
from whichsun.render.texture import BLANK_LIGHT, SurfaceTexture
from whichsun.sim.cli.main import main
from whichsun.sim.rotation import rotation_law
from whichsun.sim.texture_file import blank_share, geocentric_view, read_surface

HMI = Path(__file__).parents[1] / "data" / "photo" / "sdo-hmi-2024-07"
UTC = "2024-07-12T12:00:00Z"
OPTIONS = ["--site", "14.2,91,12", "--at", "2024-07-13T01:00:00Z", "--size", "200x200"]
PLACES = np.array([[14.0, 300.0], [-22.0, 330.0], [5.0, 275.0]])


def degrees_of(cell, shape):
    """Latitude and longitude of a cell."""
    row, column = cell
    return (row + 0.5) * 180 / shape[0] - 90, (column + 0.5) * 360 / shape[1]


def darkest(brightness, place, reach_deg=4.0):
    """Centroid of the darkness within some degrees of a place (latitude, longitude)."""
    rows, columns = np.indices(brightness.shape)
    latitude, longitude = degrees_of((rows, columns), brightness.shape)
    east = (longitude - place[1] + 180) % 360 - 180
    near = (np.abs(latitude - place[0]) < reach_deg) & (np.abs(east) < reach_deg)
    depth = np.where(near, 1 - np.nan_to_num(brightness, nan=1.0), 0)
    depth[depth < 0.5 * depth.max()] = 0
    assert depth.max() > 0.2
    return np.array([np.sum(depth * latitude), place[1] * depth.sum() + np.sum(depth * east)]) / depth.sum()


def drawn_picture(path, north_deg=0.0):
    view = geocentric_view(UTC, north_deg)
    _, central = sub_observer_point(view)
    places = PLACES + np.array([0, np.rad2deg(central) - 300])
    spots = SurfaceSpots(body_vector(*np.deg2rad(places).T), np.deg2rad(2.0), irregularity=0.0)
    light = render_disc(view, PictureFrame.centred(700), spots)
    Image.fromarray(to_picture(light, blur_px=0.7)).save(path)
    return places


@pytest.mark.parametrize("north_deg", [0.0, 25.0, -140.0])
def test_spots_come_back_at_their_heliographic_places(tmp_path, north_deg):
    """0.05 deg: a fifth of a pixel of the picture (radius 315 px) at its centre."""
    places = drawn_picture(tmp_path / "sun.png", north_deg)
    surface = read_surface(tmp_path / "sun.png", UTC, north_deg)
    for place in places:
        got = darkest(surface.texture.brightness, place)
        assert np.max(np.abs((got - place) * [1, np.cos(np.deg2rad(place[0]))])) < 0.05
    brightness = surface.texture.brightness
    assert np.nanmedian(brightness) == pytest.approx(1, abs=0.003)  # the limb darkening is taken out
    # From d radii away the cap that faces away is (1 + 1/d) / 2 of the sphere, less a cell or two along the limb.
    area = np.cos(np.deg2rad(degrees_of((np.arange(len(brightness)), 0), brightness.shape)[0]))[:, None]
    blank = np.sum(area * np.isnan(brightness)) / (area.sum() * brightness.shape[1])
    assert blank == pytest.approx((1 + 1 / 218.6) / 2, abs=0.005)


def test_the_geocentric_view():
    view = geocentric_view(UTC, 30.0)
    np.testing.assert_allclose(view.attitude @ view.attitude.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(view.attitude) == pytest.approx(1)
    assert float(north_vertex_angle(view)) == pytest.approx(np.deg2rad(30))
    latitude, longitude = np.rad2deg(sub_observer_point(view))
    sun = pytest.importorskip("sunpy.coordinates.sun")
    # Tolerance of tests/outside/test_disc_orientation.py: 0.01 deg.
    assert latitude == pytest.approx(sun.B0(UTC.rstrip("Z")).deg, abs=0.01)
    assert longitude == pytest.approx(sun.L0(UTC.rstrip("Z")).deg, abs=0.01)


def test_a_day_later_the_real_spots_stand_where_the_next_picture_has_them():
    """SDO/HMI of two days. Single spots move against the law by some tenths of a degree a day, and a pixel is
    0.25 deg: within 0.8 deg, while a day's rotation in the sky is 13 deg and its drift in the body 0.3 deg."""
    before = read_surface(HMI / "20240712_1200_hmiigr_512.jpg", UTC)
    after = read_surface(HMI / "20240713_1200_hmiigr_512.jpg", "2024-07-13T12:00:00Z")
    carried = before.carried(after.utc_days, rotation_law("howard-1984")).brightness
    view = geocentric_view("2024-07-13T12:00:00Z")
    # Spot 3738 of tracks.csv at (401, 301) of 2024-07-13 12:00; limb 233.33 px about (255.37, 255.63).
    latitude, longitude = np.deg2rad(np.mgrid[-40:41, 0:360])
    disc = project(view, body_vector(latitude, longitude).reshape(-1, 3))
    off = np.hypot(disc.x - (401 - 255.37) / 233.33, disc.y - (255.63 - 301) / 233.33)
    nearest = np.argmin(np.where(disc.visible, off, 9))
    place = np.rad2deg([latitude.flat[nearest], longitude.flat[nearest]])
    one, other = darkest(carried, place, 5.0), darkest(after.texture.brightness, place, 5.0)
    assert np.max(np.abs(one - other)) < 0.8


def test_the_drift_turns_each_latitude_by_the_law():
    law = rotation_law("snodgrass-1983")
    cells = np.ones((180, 360), np.float32)
    cells[90 + 10, 100] = cells[90 + 40, 100] = 0.0
    surface = read_surface(HMI / "20240712_1200_hmiigr_512.jpg", UTC)
    surface = type(surface)(SurfaceTexture(cells), 0.0, UTC, "", "")
    moved = surface.carried(9.0, law).brightness
    for row in (100, 130):
        want = 100 + np.rad2deg(float(law.drift(np.deg2rad(row + 0.5 - 90)))) * 9
        got = np.sum((1 - moved[row]) * np.arange(360)) / np.sum(1 - moved[row])
        assert got == pytest.approx(want, abs=1e-3)


def test_an_old_face_is_laid_on_unsheared_and_drifts_from_then_on():
    law = rotation_law("snodgrass-1983")
    cells = np.ones((180, 360), np.float32)
    cells[140, 100] = 0.0
    fresh = read_surface(HMI / "20240712_1200_hmiigr_512.jpg", UTC)
    surface = type(fresh)(SurfaceTexture(cells), 0.0, UTC, "", "")
    np.testing.assert_array_equal(surface.carried(1000.0, law, 1000.0).brightness, cells)
    later, soon = surface.carried(1000.5, law, 1000.0), surface.carried(0.5, law, 0.0)
    np.testing.assert_allclose(later.brightness, soon.brightness, atol=1e-6)
    np.testing.assert_array_equal(
        surface.carried(9.5, law, 9.0).brightness, surface.carried(9.5, law).brightness
    )


def test_what_the_picture_does_not_show_is_striped(make_texture_view):
    cells = np.full((96, 192), np.nan, np.float32)
    texture = SurfaceTexture(cells)
    assert blank_share(make_texture_view, texture) == 1
    light = render_disc(
        make_texture_view, PictureFrame.centred(300), texture=texture, wavelengths_nm=(550.0,)
    )
    plain = render_disc(make_texture_view, PictureFrame.centred(300), wavelengths_nm=(550.0,))
    share = light[130:170, 130:170] / plain[130:170, 130:170]
    np.testing.assert_allclose(
        np.minimum(abs(share - BLANK_LIGHT[0]), abs(share - BLANK_LIGHT[1])), 0, atol=1e-5
    )
    assert 0.2 < np.mean(share > 0.5) < 0.8
    even = SurfaceTexture(np.full((96, 192), 0.9, np.float32))
    assert blank_share(make_texture_view, even) == 0
    light = render_disc(make_texture_view, PictureFrame.centred(300), texture=even, wavelengths_nm=(550.0,))
    np.testing.assert_allclose(light, 0.9 * plain, atol=1e-6)


@pytest.fixture
def make_texture_view():
    return geocentric_view(UTC)


@pytest.mark.parametrize("model", ["distant-sphere", "nearby-plane"])
def test_command(tmp_path, capsys, model):
    picture = str(HMI / "20240712_1200_hmiigr_512.jpg")
    path = tmp_path / "real.jpg"
    options = ["--model", model, *OPTIONS, "--texture", picture, "--texture-time", UTC]
    assert main(["render", *options, "-o", str(path), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)["shot"]["texture"]
    assert shown["time_utc"] == UTC
    assert shown == json.loads((tmp_path / "real.truth.json").read_text())["shots"][0]["texture"]
    if model == "distant-sphere":
        # 13 hours of rotation, 7.2 deg, bare a crescent of (1 - cos 7.2 deg) / 2 = 0.4 % of the disc.
        assert shown["blank_share"] == pytest.approx(0.004, abs=0.002)
    with Image.open(path) as image:
        assert "real picture" in image.getexif()[0x010E]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--texture", str(HMI / "20240712_1200_hmiigr_512.jpg")], "'texture-time' must be given"),
        (["--texture", "none.png", "--texture-time", UTC], "there is no such file"),
        (["--texture-time", UTC], "must come with --texture"),
        (
            ["--texture", str(HMI / "20240712_1200_hmiigr_512.jpg"), "--texture-time", "noon"],
            "'texture-time' must be",
        ),
    ],
)
def test_bad_input(tmp_path, capsys, arguments, words):
    options = ["--model", "distant-sphere", *OPTIONS, *arguments]
    assert main(["render", *options, "-o", str(tmp_path / "x.png")]) == 2
    error = capsys.readouterr().err
    assert words in error
    assert error.count("\n") == 1


def test_in_a_scenario_file(tmp_path):
    from whichsun.models.errors import TomlError
    from whichsun.sim.scenario import read_scenario

    text = (Path(__file__).parents[2] / "scenarios" / "distant-sphere-pair.toml").read_text()
    keys = f'texture = "{HMI / "20240712_1200_hmiigr_512.jpg"}"\ntexture_time_utc = {UTC}\n'
    path = tmp_path / "real.toml"
    path.write_text(text.replace("[sun]\n", f"[sun]\n{keys}"))
    real = read_scenario(path).surface.picture
    assert real is not None
    assert real.time_utc == UTC
    path.write_text(text.replace("[sun]\n", '[sun]\ntexture = "none.jpg"\n'))
    with pytest.raises(TomlError, match="there is no such file"):
        read_scenario(path)
    path.write_text(text.replace("[sun]\n", "[sun]\ntexture_north_deg = 3\n"))
    with pytest.raises(TomlError, match="expected 'texture' beside it"):
        read_scenario(path)

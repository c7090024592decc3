"""Scenes in space: what is drawn stands where the models say, and every form of output can be read back."""

from __future__ import annotations

import itertools
import json
import os
import struct
from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.constants import EARTH_RADIUS_KM
from whichsun.models.ephemeris import earth_fixed_sun, site_frame
from whichsun.models.errors import InputError, MissingLibraryError
from whichsun.models.geometry import view_of
from whichsun.models.maps import plane_map
from whichsun.models.nearby_plane import plane_to_local
from whichsun.models.observables import disc_axes, project
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.render import scene_picture
from whichsun.render.scene import Label, Scene, Surface, Viewpoint, on_screen
from whichsun.render.scene_figure import draw_camera_disc, draw_scenes
from whichsun.render.scene_gltf import gltf_bytes, linear_rgb
from whichsun.render.scene_parts import ball, cap_normals, card, card_turn
from whichsun.render.scene_plane import plane_scene, sun_places
from whichsun.render.scene_sphere import celestial_frame, ellipsoid_points, sphere_scene
from whichsun.render.scene_wide import check_wide, draw_wide_scenes
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law
from whichsun.sim.scene import scene_panels

SITE = Site(46.5, -30.0, 4.0)
TIMES = Instants.from_utc(["2027-04-18T07:40:00Z", "2027-04-18T20:20:00Z"])
WORDS = ("first", "last")


def panels_of(*names, site=SITE, instants=TIMES, words=WORDS, given=None):
    models = [(get_model(name), given or {}) for name in names]
    return scene_panels(models, instants, words, site, law=rotation_law(DEFAULT_LAW), coasts=False)[0]


@pytest.fixture(scope="module")
def panels():
    return panels_of("distant-sphere", "nearby-plane")


def surfaces_named(scene, name):
    return [surface for surface in scene.surfaces if surface.name == name]


@pytest.fixture(scope="module")
def drawable():
    """Skip where a person's machine has no OpenGL; where changes are checked it must be there."""
    try:
        scene_picture._pyvista()
    except MissingLibraryError as error:
        if os.environ.get("CI"):
            raise
        pytest.skip(str(error))


def frames(site=SITE, instants=TIMES):
    view = view_of(get_model("distant-sphere"), instants, site)
    axes, place, _ = site_frame(site)
    return (
        view,
        axes,
        place,
        np.stack([celestial_frame(view[i], axes @ place) for i in range(len(view.distance))]),
    )


def test_the_site_turns_by_the_hour_angle():
    # The frame is made from the view at the site alone; the hour angle comes from the Sun over the Earth's centre.
    _, _, _, to_scene = frames()
    up = to_scene[:, :, 2]
    hour = SITE.longitude - earth_fixed_sun(TIMES).longitude
    # 2e-6: the diurnal aberration (0.3 arcsec = 1.5e-6 rad) is in the view and not in the centre's Sun.
    np.testing.assert_allclose(np.angle(np.exp(1j * (np.arctan2(up[:, 1], up[:, 0]) - hour))), 0, atol=2e-6)
    np.testing.assert_allclose(up[:, 2], np.sin(SITE.latitude), atol=1e-12)


def test_the_sun_stays_while_the_earth_turns():
    view, _, _, to_scene = frames()
    sight = np.einsum("nij,nj->ni", to_scene, view.direction)
    # The declination changes by 0.17 deg in 12.7 h at that date, the parallax is 0.002 deg.
    assert np.rad2deg(np.arccos(sight[0] @ sight[1])) == pytest.approx(0.18, abs=0.03)
    attitudes = to_scene @ view.attitude
    turn = np.rad2deg(np.arccos((np.trace(attitudes[0].T @ attitudes[1]) - 1) / 2))
    # Its own rotation in 12 h 40 min, synodic: 360 / 27.2753 deg a day (Carrington's period), to the eccentricity's
    # and obliquity's few per cent.
    assert turn == pytest.approx(360 / 27.2753 * 12.667 / 24, rel=0.05)


def test_the_ellipsoid_is_that_of_the_sites():
    for latitude in (-90.0, -33.5, 0.0, 46.5, 80.0):
        axes, place, _ = site_frame(Site(latitude, 20.0))
        np.testing.assert_allclose(
            ellipsoid_points(axes[2][None])[0] * EARTH_RADIUS_KM,
            place,
            atol=1e-6,  # km
        )


def test_night_begins_where_the_sun_is_on_the_horizon(panels):
    day, night = (surfaces_named(panels[0].scene, name)[0].points for name in ("day side", "night side"))
    view, _, _, to_scene = frames()
    towards = np.mean(np.einsum("nij,nj->ni", to_scene, view.direction), axis=0)
    # 1 / 298 is the ellipsoid's flattening: the vertical is not the line from the centre.
    assert np.min(day @ towards) > -0.004
    assert np.max(night @ towards) < 0.004


def test_the_plane_sun_is_above_its_point_of_the_map():
    chart = plane_map("azimuthal-equidistant")
    model, site = get_model("nearby-plane"), Site(46.5, -30.0, 800.0)
    views = view_of(model, TIMES, site, {"height_km": 4321.0})
    to_scene = plane_to_local(chart.north(site.latitude, site.longitude)).T
    places = sun_places(views, chart.place(site.latitude, site.longitude), 0.8, to_scene)
    sun = earth_fixed_sun(TIMES)
    np.testing.assert_allclose(places[:, :2], chart.place(sun.declination, sun.longitude), atol=1e-6)  # km
    np.testing.assert_allclose(places[:, 2], 4321.0, atol=1e-6)


@pytest.mark.parametrize("name", ["distant-sphere", "nearby-sphere", "nearby-plane", "distant-plane"])
def test_cards_show_what_the_model_sees(name):
    (panel,) = panels_of(name)
    chart = plane_map("azimuthal-equidistant")
    shown = surfaces_named(panel.scene, "spots in the picture")
    rims = surfaces_named(panel.scene, "picture")
    assert len(shown) == len(rims) == 2
    slants = []
    for i, (dots, rim) in enumerate(zip(shown, rims, strict=True)):
        if "sphere" in name:
            axes, place, _ = site_frame(SITE)
            to_scene = celestial_frame(panel.views[i], axes @ place)
        else:
            to_scene = plane_to_local(chart.north(SITE.latitude, SITE.longitude)).T
        middle = rim.points[0]
        size = np.linalg.norm(rim.points[1] - middle)
        right, up = (rim.points[1] - middle) / size, (rim.points[19] - middle) / size
        # Across the line of sight, or turned towards the viewer so far that 50 degrees are left.
        across = np.stack([to_scene @ axis for axis in disc_axes(panel.views[i].direction)])
        eye = panel.scene.viewpoint.towards_eye
        slant = np.rad2deg(np.arccos(np.cross(*across) @ eye))
        shown_slant = np.rad2deg(np.arccos(np.cross(right, up) @ eye))
        assert shown_slant == pytest.approx(min(slant, 50.0), abs=1e-6)
        slants.append(slant)
        if slant <= 50:
            np.testing.assert_allclose([right, up], across, atol=1e-9)
        offset = (dots.points.reshape(-1, 74, 3)[:, 0] - middle) / size
        seen = project(panel.views[i], panel.spots[i])
        np.testing.assert_allclose(offset @ right, seen.x[seen.visible], atol=1e-9)
        np.testing.assert_allclose(offset @ up, seen.y[seen.visible], atol=1e-9)
    assert ("turned by up to" in " ".join(panel.scene.notes)) == (max(slants) > 50.5)


@pytest.mark.parametrize("slant_deg", [0.0, 30.0, 50.0, 60.0, 90.0, 150.0, 180.0])
def test_a_card_is_turned_no_more_than_it_must(slant_deg):
    eye = np.array([0.0, 0.0, 2.0])
    normal = np.array([np.sin(np.deg2rad(slant_deg)), 0.0, np.cos(np.deg2rad(slant_deg))])
    turn, angle = card_turn(normal, eye)
    np.testing.assert_allclose(turn @ turn.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1)
    assert np.rad2deg(angle) == pytest.approx(max(slant_deg - 50, 0), abs=1e-9)
    left = np.rad2deg(np.arccos((turn @ normal)[2]))
    assert left == pytest.approx(min(slant_deg, 50), abs=1e-6)


def test_the_bright_face_is_what_the_site_sees():
    face, back = ball(np.zeros(3), 1.0, np.array([1.0, 0, 0]), 3.0)
    assert np.min(face.points[:, 0]) == pytest.approx(1 / 3)  # cos > 1/distance, models/observables.py
    assert np.max(back.points[:, 0]) == pytest.approx(1 / 3)


def test_a_card_is_blank_where_the_face_is_left_open():
    (panel,) = panels_of("nearby-plane", given={"face": "free"})
    assert panel.spots.shape == (2, 0, 3)
    assert not surfaces_named(panel.scene, "grid in the picture")
    assert not surfaces_named(panel.scene, "grid of the Sun's surface")
    assert "open" in panel.summary
    view = panel.views[0]
    assert card(np.zeros(3), 1.0, view, np.eye(3), panel.spots[0], "#000000")
    (words,) = [artist for artist in draw_camera_disc(view, panel.spots[0]) if hasattr(artist, "get_text")]
    assert words.get_text() == "face left open"


def test_triangles_look_outwards_and_are_in_range(panels):
    normals, triangles = cap_normals(np.array([0.0, 0.6, 0.8]), 0.2, 2.0, 10)
    a, b, c = (normals[triangles[:, k]] for k in range(3))
    assert np.all(np.einsum("ij,ij->i", np.cross(b - a, c - a), a) > 0)
    for panel in panels:
        for surface in panel.scene.surfaces:
            assert np.all(np.isfinite(surface.points))
            assert surface.triangles.min() >= 0
            assert surface.triangles.max() < len(surface.points)


def test_what_is_not_to_scale_is_said(panels):
    sphere, plane = (" ".join(panel.scene.notes) for panel in panels)
    assert "enlarged" in sphere
    assert "neither to scale nor at its place" in sphere
    # 0.12 of the half width: the map reaches 1.25 times the 150 deg from the pole to 60 S on 6371 km.
    half_width = 1.25 * np.deg2rad(150) * 6371
    assert f"{0.12 * half_width / 25:,.0f} times its size of 50 km" in plane
    assert "5,000 km" in plane


def test_suns_that_differ_are_drawn_apart():
    view, *_ = frames()
    spots = np.empty((2, 0, 3))
    one = sphere_scene("distant-sphere", view, SITE, WORDS, spots)
    turned = view.attitude.copy()
    turned[1] = turned[1] @ np.diag([-1.0, -1.0, 1.0])
    two = sphere_scene("mine", replace(view, attitude=turned), SITE, WORDS, spots)
    assert len(surfaces_named(one, "far side of the Sun")) == 1
    assert len(surfaces_named(two, "far side of the Sun")) == 2


def test_a_near_sun_over_the_sphere_stands_at_its_place():
    (panel,) = panels_of("nearby-sphere", given={"distance_km": 30000.0})
    back = np.concatenate([s.points for s in surfaces_named(panel.scene, "far side of the Sun")[:1]])
    face = surfaces_named(panel.scene, "face that the site sees")[0].points
    centre = (np.concatenate([back, face]).max(axis=0) + np.concatenate([back, face]).min(axis=0)) / 2
    # A ball of 24 by 72 facets: its box is off by up to 1 % of its radius of 0.42.
    assert np.linalg.norm(centre) * EARTH_RADIUS_KM == pytest.approx(
        30000.0, abs=0.01 * 0.42 * EARTH_RADIUS_KM
    )
    assert "at its place" in " ".join(panel.scene.notes)


def test_models_that_cannot_be_placed_are_refused():
    view = view_of(get_model("nearby-plane"), TIMES, SITE)
    with pytest.raises(InputError, match="celestial north"):
        sphere_scene("mine", view, SITE, WORDS, np.empty((2, 0, 3)))
    chart = plane_map("orthographic")
    with pytest.raises(InputError, match="on the map"):
        plane_scene("mine", view, Site(-40.0, 0.0), chart, WORDS, np.empty((2, 0, 3)), view)


MAPS = ("azimuthal-equidistant-south", "equal-area", "stereographic", "equirectangular", "mercator")


@pytest.mark.parametrize("text", [*MAPS, "+proj=wintri +lon_0=90"])
def test_any_map_can_be_drawn(text):
    (panel,) = panels_of("nearby-plane", given={"map": text})
    (ground,) = surfaces_named(panel.scene, "map")
    # Torn triangles would reach across the map; what is drawn lies within the scene's unit.
    assert np.max(np.linalg.norm(ground.points, axis=-1)) <= 1
    corners = ground.points[ground.triangles]
    assert np.max(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=-1)) < 0.2


# What is drawn by pyvista.


def test_words_stand_where_things_are_drawn(drawable):
    place = np.array([0.4, -0.7, 0.3])
    normals, triangles = cap_normals(np.array([0.0, 0.0, 1.0]), 0.0, np.pi, 12)
    dot = Surface("dot", place + 0.03 * normals, triangles, "#FF0000")
    view = Viewpoint(np.array([0.5, -0.6, 0.4]), np.array([0.1, 0.0, 0.2]), 1.0, 1.5)
    scene = Scene("mine", "a dot", 1.0, (dot,), (Label("dot", place),), view, ())
    picture = scene_picture.draw_space(scene, 300, 240).astype(int)
    assert picture.shape == (240, 300, 3)
    rows, columns = np.nonzero((picture[..., 0] > 200) & (picture[..., 1] < 60))
    x, y = on_screen(view, place[None], 300 / 240)[0]
    # Half a pixel for the mean of a small symmetrical dot.
    assert np.mean(columns) + 0.5 == pytest.approx(300 * x, abs=0.5)
    assert np.mean(rows) + 0.5 == pytest.approx(240 * (1 - y), abs=0.5)


def test_a_figure_of_two_scenes_is_drawn_twice_the_same(drawable, panels):
    pictures = [scene_picture.draw_space(panels[1].scene, 200, 160) for _ in range(2)]
    assert np.array_equal(*pictures)
    figure = draw_scenes(panels, "title", "subtitle", width_px=600)
    texts = [text.get_text() for text in figure.texts]
    assert {"title", "subtitle", "distant-sphere", "nearby-plane", "first", "last"} <= set(texts)
    for panel in panels:
        assert " ".join(panel.scene.notes)[:30] in " ".join(texts)
    lowest = min(text.get_position()[1] for text in figure.texts)
    assert lowest > 0


@pytest.mark.parametrize("count", [1, 2])
def test_a_wide_figure_is_a_slide(drawable, panels, count):
    figure = draw_wide_scenes(panels[:count], "title", "subtitle", width_px=640)
    wide, tall = figure.get_size_inches()
    assert wide / tall == pytest.approx(16 / 9)
    renderer = figure.canvas.get_renderer()
    boxes = [text.get_window_extent(renderer) for text in figure.texts]
    # Every line of words lies within the picture and on no other; 11 points are the smallest type beside the scenes.
    for box in boxes:
        assert box.x0 >= 0
        assert box.y0 >= 0
        assert box.x1 <= figure.bbox.x1
        assert box.y1 <= figure.bbox.y1
    assert not any(one.overlaps(other) for one, other in itertools.combinations(boxes, 2))
    assert min(text.get_fontsize() for text in figure.texts) == 11
    # Two discs beside each scene, not below it, and as large as words beside them can be read for.
    for k in range(count):
        scene, *discs = figure.axes[3 * k : 3 * k + 3]
        assert all(disc.get_position().x0 >= scene.get_position().x1 for disc in discs)
        assert all(disc.get_position().width * wide * 72 > 50 for disc in discs)
    told = " ".join(text.get_text().replace("\n", " ") for text in figure.texts)
    assert told.count("drawn hugely enlarged") == 1
    for panel in panels[:count]:
        assert panel.scene.notes[-1] in told
        assert panel.summary in told


def test_what_does_not_fit_a_wide_figure_is_refused(panels):
    for many, words in (([], "one or two"), ([panels[0]] * 3, "one or two")):
        with pytest.raises(InputError, match=words):
            draw_wide_scenes(many, "", "")
    with pytest.raises(InputError, match="two models"):
        check_wide(2, 3)
    check_wide(1, 4)


def test_missing_libraries_are_one_line(monkeypatch, panels):
    monkeypatch.setattr(scene_picture, "_LIBRARIES", ("libnone-of-that-name.so.9",))
    monkeypatch.setattr(scene_picture.sys, "platform", "linux")
    monkeypatch.delenv(scene_picture._WINDOW, raising=False)
    with pytest.raises(MissingLibraryError, match="apt install libegl1 libgl1 libgl1-mesa-dri"):
        scene_picture.draw_space(panels[0].scene, 100, 100)
    monkeypatch.setattr(scene_picture, "_LIBRARIES", ("libc.so.6",))
    monkeypatch.setattr(scene_picture, "_egl_starts", lambda: False)
    with pytest.raises(MissingLibraryError, match="OpenGL driver"):
        scene_picture.draw_space(panels[0].scene, 100, 100)
    monkeypatch.setattr(scene_picture, "_egl_starts", lambda: True)
    monkeypatch.setitem(scene_picture.sys.modules, "pyvista", None)
    with pytest.raises(MissingLibraryError, match="pip install pyvista"):
        scene_picture.draw_space(panels[0].scene, 100, 100)


# glTF.


def test_gltf_is_read_back_by_vtk(drawable, panels, tmp_path):
    from vtkmodules.vtkIOGeometry import vtkGLTFReader

    path = tmp_path / "scenes.glb"
    data = gltf_bytes([panel.scene for panel in panels])
    path.write_bytes(data)
    reader = vtkGLTFReader()
    reader.SetFileName(str(path))
    reader.Update()
    output = reader.GetOutput()
    surfaces = [surface for panel in panels for surface in panel.scene.surfaces]
    assert output.GetNumberOfPoints() == sum(len(surface.points) for surface in surfaces)
    assert output.GetNumberOfCells() == sum(len(surface.triangles) for surface in surfaces)
    # y is up there: the extent along our z comes back as that along y. Single precision.
    first = np.concatenate([surface.points for panel in panels for surface in panel.scene.surfaces])
    bounds = [0.0] * 6
    output.GetBounds(bounds)
    assert bounds[2:4] == pytest.approx([first[:, 2].min(), first[:, 2].max()], abs=1e-5)


def test_gltf_tells_its_names_and_notes(panels):
    data = gltf_bytes([panel.scene for panel in panels])
    magic, version, length = struct.unpack("<III", data[:12])
    assert (magic, version, length) == (0x46546C67, 2, len(data))
    size = struct.unpack("<I", data[12:16])[0]
    document = json.loads(data[20 : 20 + size])
    roots = [document["nodes"][i] for i in document["scenes"][0]["nodes"]]
    assert [root["name"] for root in roots] == ["distant-sphere", "nearby-plane"]
    assert "enlarged" in roots[0]["extras"]["notes"][0]
    assert {"camera", "tripod", "horizon of the site"} <= {node["name"] for node in document["nodes"]}
    with pytest.raises(InputError, match="scene"):
        gltf_bytes([])


def test_colours_are_linear():
    # IEC 61966-2-1: 128/255 is 0.21586 of full light.
    assert linear_rgb("#FF8000") == pytest.approx([1.0, 0.215861, 0.0], abs=1e-5)


def test_panels_must_be_there():
    with pytest.raises(InputError, match="panels"):
        draw_scenes([], "", "")

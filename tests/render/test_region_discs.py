"""Discs with regions: what is drawn, where, and what is refused."""

import matplotlib.patches
import numpy as np
import pytest
from matplotlib.figure import Figure
from whichsun.models.errors import InputError
from whichsun.render.figure_file import figure_bytes
from whichsun.render.region_discs import draw_region_discs, draw_regions

COVARIANCE = np.array([[0.0009, 0.0], [0.0, 0.0001]])
REGION = {
    "label": "4001 (1)",
    "x": 0.3,
    "y": 0.4,
    "area_msh": 800.0,
    "covariance": COVARIANCE,
    "usable": True,
}


def panel(model, *regions, **more):
    return {
        "model": model,
        "shots": [{"regions": list(regions), "title": "morning"}, {"regions": []}],
        **more,
    }


def ellipses(artists):
    return [a for a in artists if isinstance(a, matplotlib.patches.Ellipse) and not is_circle(a)]


def is_circle(artist):
    return isinstance(artist, matplotlib.patches.Circle)


def test_on_given_axes():
    ax = Figure().add_subplot()
    artists = draw_regions([REGION], ax=ax, title="morning", horizon="level")
    assert {artist.axes for artist in artists if artist.axes is not None} == {ax}
    texts = [artist.get_text() for artist in ax.texts]
    assert {"4001 (1)", "level", "zenith"} <= set(texts)
    assert ax.get_aspect() == 1


def test_ellipse_and_spot():
    ax = Figure().add_subplot()
    doubt, spot = ellipses(draw_regions([REGION], ax=ax))
    # 68 % of a plane Gaussian lies within sqrt(-2 ln 0.317) = 1.516 sigma.
    assert sorted([doubt.width, doubt.height]) == pytest.approx(
        [2 * 1.516 * 0.01, 2 * 1.516 * 0.03], rel=1e-3
    )
    along_x = doubt.angle if doubt.width > doubt.height else doubt.angle + 90
    assert along_x % 180 == pytest.approx(0, abs=1e-6)
    # 800 msh: a cap of radius sqrt(2 x 800e-6), foreshortened by sqrt(1 - 0.25) along the line to the centre.
    assert sorted([spot.width, spot.height]) == pytest.approx([0.08 * np.sqrt(0.75), 0.08], rel=1e-6)
    thin = spot.angle if spot.width < spot.height else spot.angle + 90
    assert thin % 180 == pytest.approx(np.rad2deg(np.arctan2(0.4, 0.3)))


def test_labels_keep_apart_and_inside():
    ax = Figure().add_subplot()
    near = [{**REGION, "label": f"400{k}", "x": 0.3 + 0.06 * k} for k in range(4)]
    edge = [{**REGION, "label": "4009", "x": 0.98, "y": 0.0}]
    draw_regions([*near, *edge], ax=ax)
    places = np.array([t.get_position() for t in ax.texts if t.get_text().startswith("400")])
    gaps = np.abs(places[:, None] - places) / (0.17, 0.05)
    assert np.min(np.max(gaps, axis=-1) + 9 * np.eye(len(places))) > 1
    assert np.max(np.abs(places[:, 0])) < 1.1


@pytest.mark.parametrize("angle_deg", range(0, 360, 15))
def test_a_label_near_the_limb_does_not_lie_across_it(angle_deg):
    ax = Figure().add_subplot()
    x, y = 0.93 * np.cos(np.deg2rad(angle_deg)), 0.93 * np.sin(np.deg2rad(angle_deg))
    draw_regions([{**REGION, "x": x, "y": y}], ax=ax)
    (at,) = [t.get_position() for t in ax.texts if t.get_text() == REGION["label"]]
    assert np.hypot(*np.add(np.abs(at), (0.17, 0.05))) < 1  # half a label's width and height


@pytest.mark.parametrize("x", [None, float("nan")])
def test_places_that_are_not_known_are_left_out(x):
    ax = Figure().add_subplot()
    artists = draw_regions([{**REGION, "x": x}], ax=ax)
    assert ellipses(artists) == []


def test_what_cannot_be_used_is_faint():
    ax = Figure().add_subplot()
    draw_regions([REGION, {**REGION, "label": "x", "usable": False, "x": -0.3}], ax=ax)
    text = {t.get_text(): t for t in ax.texts}
    assert text["4001 (1)"].get_fontweight() == "bold"
    assert text["x"].get_fontweight() == "normal"
    assert text["x"].get_color() != text["4001 (1)"].get_color()


@pytest.mark.parametrize("kind", [".png", ".svg", ".pdf"])
def test_sheet_in_every_kind(kind):
    panels = [panel("distant-sphere", REGION), panel("a-model-of-mine", {**REGION, "from": (0.1, 0.1)})]
    artists = draw_region_discs(panels, title="t", subtitle="s", note="n")
    figure = artists[0].get_figure(root=True)
    assert len(figure.axes) == 4
    data = figure_bytes(figure, f"x{kind}", 600)
    assert data.startswith({".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}[kind])


def test_text_is_written_as_it_is():
    # Nothing of a label or a file's name is read as markup or, between dollar signs, as a formula.
    odd = "a<b&c $\\frac$"
    artists = draw_region_discs([panel("distant-sphere", {**REGION, "label": odd})], subtitle=odd)
    svg = figure_bytes(artists[0].get_figure(root=True), "x.svg")
    assert b"a&lt;b&amp;c $" in svg


@pytest.mark.parametrize("panels", [[], [panel("a"), {"model": "b", "shots": []}]])
def test_panels_must_match(panels):
    with pytest.raises(InputError, match="panels"):
        draw_region_discs(panels)

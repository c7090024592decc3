"""Sweep, overlay, pair, residuals and tracks: what is drawn stands where the numbers say."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from matplotlib.collections import PathCollection
from matplotlib.text import Annotation, Text
from whichsun.models.errors import InputError
from whichsun.render import curves, labels, overlay, residuals, shot_places, style, tracks


def sweep_rows(offset=0.0):
    """Turns that pass through half a turn near the equator, none beyond 66 deg."""
    rows = []
    for latitude in np.arange(-75.0, 75.1, 5.0):
        turn = -(180 - 2 * latitude + offset)
        wrapped = -((180 - turn) % 360 - 180)
        known = abs(latitude) <= 66
        rows.append(
            {
                "latitude_deg": latitude,
                "pattern_turn_deg": wrapped if known else None,
                "pattern_visible_fraction": 0.9 if known else None,
            }
        )
    return rows


@pytest.fixture
def sweep_figure():
    rows = {"distant-sphere": sweep_rows(), "nearby-plane": sweep_rows(30.0), "mine": sweep_rows(32.0)}
    measurement = {"latitude_deg": 48.0, "turn_deg": -84.0, "sigma_deg": 2.5}
    artists = curves.draw_sweep(rows, measurement, subtitle="an invented day")
    figure = artists[0].figure
    style.save_png(figure, 1600, 1100)
    return figure, artists


def test_wraps_break_the_line_at_the_edge():
    x, y = curves.break_at_wraps(np.array([0.0, 10.0, 20.0]), np.array([150.0, 170.0, -170.0]))
    np.testing.assert_allclose(x, [0, 10, 15, 15, 15, 20])
    np.testing.assert_allclose(y, [150, 170, 180, np.nan, -180, -170])
    # nan stays a gap, and a plain line stays as it is.
    np.testing.assert_allclose(
        curves.break_at_wraps(np.arange(3.0), np.array([1, np.nan, 3.0]))[1], [1, np.nan, 3]
    )


def test_a_jump_leaves_a_gap():
    x, y = curves.break_at_wraps(np.array([0.0, 2.0, 4.0]), np.array([114.0, -55.0, -52.0]))
    np.testing.assert_allclose(x, [0, 1, 2, 4])
    np.testing.assert_allclose(y, [114, np.nan, -55, -52])


def test_turns_of_a_pattern_turned_inside_out_are_pale():
    rows = [
        {
            "latitude_deg": float(i),
            "pattern_turn_deg": -40.0,
            "pattern_visible_fraction": 0.4,
            "pattern_scatter": s,
        }
        for i, s in enumerate([1.1, 1.0, 0.5, 0.4])
    ]
    artists = curves.draw_sweep({"nearby-plane": rows})
    lines = [a for a in artists if hasattr(a, "get_linewidth") and a.axes is artists[0].figure.axes[0]]
    strong, pale = lines[0], lines[1]
    np.testing.assert_allclose(strong.get_ydata(), [np.nan, np.nan, -40, -40])
    np.testing.assert_allclose(pale.get_ydata(), [-40, -40, -40, np.nan])
    assert pale.get_alpha() < 0.6
    assert any("means little" in text.get_text() for text in artists[0].figure.findobj(Text))


def test_no_line_crosses_the_plot_at_a_wrap(sweep_figure):
    figure, _ = sweep_figure
    lines = [line for line in figure.axes[0].get_lines() if len(line.get_xdata()) > 12]
    assert len(lines) == 3
    for line in lines:
        steps = np.abs(np.diff(np.asarray(line.get_ydata(), float)))
        assert np.nanmax(steps) < 90
        assert np.nanmax(np.abs(np.asarray(line.get_ydata(), float))) <= 180


def test_names_stand_beside_the_plot_and_apart(sweep_figure):
    figure, artists = sweep_figure
    renderer = figure.canvas.get_renderer()
    plot = figure.axes[0].get_window_extent(renderer)
    names = [
        a
        for a in artists
        if isinstance(a, Annotation) and a.get_text() in {"distant-sphere", "nearby-plane", "mine"}
    ]
    assert len(names) == 3
    boxes = [Text.get_window_extent(name, renderer) for name in names]
    for box in boxes:
        assert box.x0 > plot.x1
        assert box.x1 < figure.bbox.x1
    order = sorted(boxes, key=lambda box: box.y0)
    assert all(lower.y1 <= upper.y0 for lower, upper in itertools.pairwise(order))


@pytest.mark.parametrize(
    ("latitudes", "offset", "words"),
    [
        ((-90, 90), 0.5, "lies on"),
        ((0, 60), 0.5, "in part on"),
        ((30, 45), 0.5, None),
        ((-90, 90), 5.0, None),
    ],
)
def test_a_line_that_lies_on_another_says_so(latitudes, offset, words):
    first = [row for row in sweep_rows() if row["pattern_turn_deg"] is not None]
    low, high = latitudes
    moved = [
        row["pattern_turn_deg"] + (offset if low <= row["latitude_deg"] <= high else 40.0) for row in first
    ]
    second = [
        {**row, "pattern_turn_deg": (turn + 180) % 360 - 180} for row, turn in zip(first, moved, strict=True)
    ]
    artists = curves.draw_sweep({"distant-sphere": first, "nearby-sphere": second})
    small = [a.get_text() for a in artists if isinstance(a, Annotation) and a.get_fontsize() == 12]
    assert small == ([] if words is None else ["distant-sphere", words])


def test_all_words_lie_inside_the_picture(sweep_figure):
    figure, _ = sweep_figure
    renderer = figure.canvas.get_renderer()
    for text in figure.findobj(Text):
        if text.get_text() and text.get_visible():
            box = Text.get_window_extent(text, renderer)
            assert box.x0 >= 0, text
            assert box.x1 <= figure.bbox.x1, text


def test_measurement_stands_at_its_place_with_its_error(sweep_figure):
    figure, artists = sweep_figure
    assert any(
        "measured: 84.0\N{DEGREE SIGN} clockwise, ± 2.5" in getattr(a, "get_text", str)() for a in artists
    )
    places = [line.get_xydata() for line in figure.axes[0].get_lines() if len(line.get_xdata()) == 1]
    assert any(np.allclose(place, [[48.0, -84.0]]) for place in places)
    bars = [c for c in figure.axes[0].collections if not isinstance(c, PathCollection)]
    ends = np.concatenate([path.vertices for bar in bars for path in bar.get_paths()])
    np.testing.assert_allclose(sorted(ends[:, 1]), [-86.5, -81.5])


def test_sweep_into_given_axes_without_latitude():
    figure = style.new_figure()
    ax = figure.add_subplot()
    artists = curves.draw_sweep(
        {"nearby-plane": sweep_rows()}, {"latitude_deg": None, "turn_deg": 20.0, "sigma_deg": 1.0}, ax=ax
    )
    assert all(artist.figure is figure for artist in artists)
    assert any("latitude not given" in getattr(a, "get_text", str)() for a in artists)
    with pytest.raises(InputError, match="one or more models"):
        curves.draw_sweep({})


def test_several_measurements_of_a_day():
    points = [
        {"latitude_deg": 48.0, "turn_deg": -84.0, "sigma_deg": 2.5},
        {"latitude_deg": -30.0, "turn_deg": 100.0, "sigma_deg": 4.0},
    ]
    artists = curves.draw_sweep({"distant-sphere": sweep_rows()}, points)
    places = [line.get_xydata() for line in artists[0].axes.get_lines() if len(line.get_xydata()) == 1]
    for point in points:
        assert any(np.allclose(place, [[point["latitude_deg"], point["turn_deg"]]]) for place in places)
    words = [a.get_text() for a in artists if isinstance(a, Annotation)]
    assert "measured: 2 turns, each with its uncertainty" in words
    assert not any("48" in text for text in words)
    with pytest.raises(InputError, match="'sigma_deg'"):
        curves.draw_sweep({"distant-sphere": sweep_rows()}, [points[0], {"turn_deg": 3.0}])


def test_spread_apart():
    assert labels.spread_apart([0, 1, 50], 10, -100, 100) == [0, 10, 50]
    assert labels.spread_apart([98, 99, 100], 10, -100, 100) == [80, 90, 100]


SHOT = {
    "centre_px": (200.0, 150.0),
    "semi_axes_px": (100.0, 90.0),
    "roll_deg": 30.0,
    "spots": [
        {"id": 1, "x": 0.0, "y": 0.6, "area_msh": 200.0},
        {"id": 2, "x": 0.4, "y": -0.2, "column_px": 231.0, "row_px": 188.0},
    ],
}


def test_overlay_undoes_roll_and_squash():
    """V_true = V_picture + roll: the disc's top, roll +30 deg, lies 30 deg clockwise of the picture's."""
    place = shot_places.to_photo(SHOT, [0.0], [1.0])[0]
    np.testing.assert_allclose(place, [200 + 90 * np.sin(np.pi / 6), 150 - 90 * np.cos(np.pi / 6)])
    limb = shot_places.limb_points(SHOT)
    assert np.max(np.hypot(*(limb - [200, 150]).T)) == pytest.approx(100, abs=1e-2)
    mirrored = shot_places.to_photo({**SHOT, "mirrored": True}, [0.0], [1.0])[0]
    np.testing.assert_allclose(mirrored, [200 - 90 * np.sin(np.pi / 6), 150 - 90 * np.cos(np.pi / 6)])


def test_overlay_marks_every_spot_and_its_match():
    image = np.full((300, 420, 3), 120, np.uint8)
    artists = overlay.draw_overlay(image, SHOT, matches={2: "B"}, title="photo.jpg", notes=["two spots"])
    texts = {a.get_text(): a for a in artists if isinstance(a, Text)}
    assert {"up", "1", "2 (B)"} <= set(texts)
    rings = [a.get_xydata() for a in artists if hasattr(a, "get_xydata") and len(a.get_xydata()) == 61]
    np.testing.assert_allclose(np.mean(rings[1][:-1], axis=0), [231.0, 188.0])
    np.testing.assert_allclose(np.mean(rings[0][:-1], axis=0), shot_places.to_photo(SHOT, [0.0], [0.6])[0])
    assert artists[0].get_extent() == [77.5, 322.5, 272.5, 27.5]  # the disc and 22 % around it
    whole = overlay.draw_overlay(image, SHOT, crop=False)
    assert whole[0].get_extent() == [-0.5, 419.5, 299.5, -0.5]


def test_labels_of_a_crowded_group_keep_clear():
    """Twelve rings within a tenth of the disc: no two labels lap, and none lies on a ring."""
    rng = np.random.default_rng(3)
    places = np.array([500.0, 400.0]) + rng.uniform(-60, 60, (12, 2))
    radius = np.full(12, 12.0)
    sizes = np.tile([70.0, 26.0], (12, 1))
    centres = labels.place_labels(places, radius, sizes, np.array([600.0, 600.0]))
    for i in range(12):
        for k in range(i):
            assert np.any(np.abs(centres[i] - centres[k]) >= sizes[0] - 3)
        assert not np.any(np.all(np.abs(places - centres[i]) < sizes[0] / 2, axis=-1))


def test_overlay_without_disc_says_so():
    artists = overlay.draw_overlay(np.zeros((50, 60), np.uint8), {"centre_px": None, "semi_axes_px": None})
    assert any("no disc found" in getattr(a, "get_text", str)() for a in artists)
    with pytest.raises(InputError, match="'image' must have the shape"):
        overlay.draw_overlay(np.zeros((2, 2, 2, 2), np.uint8), SHOT)


def test_pair_draws_the_turn_the_way_it_goes():
    image = np.full((300, 420), 120, np.uint8)
    artists = overlay.draw_pair(
        [image, image],
        [SHOT, SHOT],
        turn_deg=-60.0,
        sigma_deg=0.5,
        reference_deg=0.0,
        matches=({1: "A"}, {1: "A"}),
    )
    words = [text.get_text() for text in artists[0].figure.findobj(Text)]
    assert "The pattern turned 60.0\N{DEGREE SIGN} clockwise, ± 0.5\N{DEGREE SIGN}." in words
    # The arc in the second picture ends 60 deg clockwise of the true top, so 90 deg of the picture's.
    arcs = [a.get_xydata() for a in artists if hasattr(a, "get_xydata") and len(a.get_xydata()) == 62]
    np.testing.assert_allclose(
        arcs[0][-1], shot_places.to_photo(SHOT, 0.5 * np.sin(np.pi / 3), 0.5 * np.cos(np.pi / 3))
    )
    with pytest.raises(InputError, match="two each"):
        overlay.draw_pair([image], [SHOT])


def test_pair_without_a_turn_says_why():
    image = np.full((300, 420), 120, np.uint8)
    artists = overlay.draw_pair([image, image], [SHOT, SHOT], note="No spot in common.")
    words = [text.get_text() for text in artists[0].figure.findobj(Text)]
    assert "No spot in common." in words
    assert not any("turned" in text for text in words)


def test_residual_arrows_share_one_scale():
    measured = np.array([[0.1, 0.2], [-0.4, 0.3]])
    panels = [
        {
            "model": "distant-sphere",
            "measured": measured,
            "predicted": measured + 0.001,
            "lines": ["chi-square 2.1"],
        },
        {"model": "nearby-plane", "measured": measured, "predicted": measured + 0.01, "missed": [[0.0, 0.5]]},
    ]
    artists = residuals.draw_residuals(panels, shot_names=["morning"])
    figure = artists[0].figure
    style.save_png(figure, 1600, 1000)
    words = " ".join(text.get_text() for text in figure.findobj(Text))
    assert "drawn 10 times as long" in words  # 0.01 x sqrt 2 x 10 is the longest below 0.22 radii
    assert "chi-square 2.1" in words
    assert "expected, not found" in words
    arrows = [a for a in figure.axes[1].findobj(Annotation) if a.arrow_patch is not None]
    tips = np.array([arrow.xy for arrow in arrows])
    np.testing.assert_allclose(tips, measured + 0.1)


def test_residuals_of_a_fit_without_matches_and_of_a_very_good_one():
    measured = np.array([[0.1, 0.2]])
    panels = [
        {"model": "distant-sphere", "measured": measured, "predicted": measured + 1e-5},
        {"model": "nearby-plane", "measured": [], "predicted": [], "unmatched": measured},
    ]
    figure = residuals.draw_residuals(panels)[0].figure
    words = " ".join(t.get_text() for t in figure.findobj(Text))
    assert "drawn 50 times as long" in words
    empty = figure.axes[1]
    assert not [t for t in empty.texts if getattr(t, "arrow_patch", None)]
    assert [tuple(line.get_xydata()[0]) for line in empty.lines if line.get_marker() == "x"] == [(0.1, 0.2)]


def test_numbers_that_would_cover_each_other_are_left_out():
    measured = np.array([[0.1, 0.2], [0.104, 0.2], [-0.5, 0.3]])
    panel = {
        "model": "distant-sphere",
        "measured": measured,
        "predicted": measured,
        "labels": ["1", "2", "3"],
    }
    words = {t.get_text() for t in residuals.draw_residuals([panel])[0].figure.findobj(Text)}
    assert "3" in words
    assert not {"1", "2"} & words


def test_numbers_keep_clear_of_marks_and_of_each_other():
    around = np.linspace(0, 2 * np.pi, 14, endpoint=False)
    measured = 0.35 * np.stack([np.cos(around), np.sin(around)], axis=-1)
    panel = {"measured": measured, "predicted": measured, "labels": [str(k + 1) for k in range(14)]}
    # Four panels: the smallest discs that a figure has.
    figure = residuals.draw_residuals([{**panel, "model": f"m{k}"} for k in range(4)])[0].figure
    renderer = figure.canvas.get_renderer()
    for ax in figure.axes:
        numbers = [text for text in ax.texts if text.get_text().isdigit()]
        assert len(numbers) >= 12
        assert all(text.get_fontsize() >= 12 for text in numbers)
        boxes = [text.get_window_extent(renderer) for text in numbers]
        assert not any(one.overlaps(other) for one, other in itertools.combinations(boxes, 2))
        marks = ax.transData.transform(measured)
        for text, box in zip(numbers, boxes, strict=True):
            assert box.count_contains(marks) == 0
            own = np.argmin(np.hypot(*(marks - (box.p0 + box.p1) / 2).T))
            assert text.get_text() == str(own + 1)


def test_a_number_does_not_cross_the_limb():
    places = 0.93 * np.array([[1.0, 0.0], [0.0, 1.0], [-0.7, -0.7], [0.7, 0.7]])
    panel = {"model": "m", "measured": places, "predicted": places, "labels": ["11", "12", "13", "14"]}
    ax = residuals.draw_residuals([panel] * 3)[0].figure.axes[0]
    numbers = [text for text in ax.texts if text.get_text().isdigit()]
    assert len(numbers) == 4
    for text in numbers:
        box = text.get_window_extent(ax.figure.canvas.get_renderer())
        corners = ax.transData.inverted().transform(box.corners())
        assert np.all(np.hypot(*corners.T) < 1.02)  # the room of a digit's box beyond its ink


def test_residuals_bad_input():
    with pytest.raises(InputError, match="one or more models"):
        residuals.draw_residuals([])
    with pytest.raises(InputError, match="one shape"):
        residuals.draw_residuals([{"model": "m", "measured": [[0, 0]], "predicted": np.zeros((2, 2))}])


def test_tracks_leave_out_what_is_hidden():
    artists = tracks.draw_tracks(
        [{"x": [0.0, 0.2, 0.5], "y": [0.1, 0.1, 0.2], "visible": [True, True, False], "label": "A"}]
    )
    lines = [a for a in artists if hasattr(a, "get_ydata") and len(a.get_ydata()) == 3]
    np.testing.assert_allclose(lines[0].get_ydata(), [0.1, 0.1, np.nan])
    with pytest.raises(InputError, match="one length"):
        tracks.draw_tracks([{"x": [0.0], "y": [0.0, 1.0]}])


def test_a_target_is_drawn_as_on_paper():
    """The line runs from the centre through the spot to the limb; its angle from the vertical is written."""
    image = np.full((300, 420, 3), 120, np.uint8)
    artists = overlay.draw_overlay(image, SHOT, target=2)
    lines = [a.get_xydata() for a in artists if hasattr(a, "get_xydata") and len(a.get_xydata()) == 301]
    x, y = SHOT["spots"][1]["x"], SHOT["spots"][1]["y"]
    far = np.hypot(x, y)
    np.testing.assert_allclose(lines[0][0], SHOT["centre_px"], atol=1e-9)
    np.testing.assert_allclose(lines[0][-1], shot_places.to_photo(SHOT, [x / far], [y / far])[0])
    words = [a.get_text() for a in artists if isinstance(a, Text)]
    degrees = np.rad2deg(np.arctan2(-x, y))
    assert f"{abs(degrees):.1f}\N{DEGREE SIGN} clockwise\nfrom up" in words
    plain = overlay.draw_overlay(image, SHOT)
    assert not any("from up" in a.get_text() for a in plain if isinstance(a, Text))


def test_pair_draws_the_target_s_own_turn():
    image = np.full((300, 420), 120, np.uint8)
    second = {**SHOT, "spots": [{"id": 7, "x": -0.6, "y": 0.0}]}
    artists = overlay.draw_pair(
        [image, image], [SHOT, second], turn_deg=88.0, targets=(1, 7), target_words="Spot 1 alone: 90."
    )
    words = [text.get_text() for text in artists[0].figure.findobj(Text)]
    assert {"0.0\N{DEGREE SIGN}", "90.0\N{DEGREE SIGN}", "Spot 1 alone: 90."} <= set(words)
    arcs = [a.get_xydata() for a in artists if hasattr(a, "get_xydata") and len(a.get_xydata()) == 92]
    np.testing.assert_allclose(arcs[-1][0], shot_places.to_photo(SHOT, [0.0], [0.5])[0], atol=1e-9)
    np.testing.assert_allclose(arcs[-1][-1], shot_places.to_photo(SHOT, [-0.5], [0.0])[0], atol=1e-9)

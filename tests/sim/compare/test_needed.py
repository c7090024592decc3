"""Height and diameter that a nearby Sun would need, by map and face rule."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.models.geometry import view_of
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.sim.compare.contest import Options, scored_models
from whichsun.sim.compare.data import data_of
from whichsun.sim.compare.needed import angular_radius, needed_on_maps, needed_rows
from whichsun.sim.outing import Shot

QUICK = Options(repairs=False, check=False)
PLANE, HEIGHT = "nearby-plane", 5000.0
DIAMETER, FOCAL, PITCH = 50.0, 600.0, 4.0


@pytest.fixture
def outing(outing_of):
    """Photos under the plane whose discs are as large as its Sun of 50 km would look."""
    made = outing_of(np.random.default_rng(5), PLANE, {"height_km": HEIGHT}, spots=22)
    times = [shot.time_utc for shot in made.shots]
    view = view_of(get_model(PLANE), Instants.from_utc(times), Site(47.0, 8.0), {"height_km": HEIGHT})
    radii = np.tan(np.arcsin(1 / view.distance)) * FOCAL * 1000 / PITCH
    shots = [
        replace(shot, semi_axes_px=(r, r), focal_length_mm=FOCAL, pixel_pitch_um=PITCH)
        for shot, r in zip(made.shots, radii.tolist(), strict=True)
    ]
    return replace(made, shots=tuple(shots))


def test_height_and_diameter_are_found_again(outing):
    _, scores, _ = scored_models(outing, None, QUICK)
    rows = needed_rows(scores, outing.shots)
    assert {(row.model, row.map) for row in rows} == {(PLANE, "azimuthal-equidistant")}
    assert [row.face for row in rows] == ["facing-pole", "fixed", "spinning"]
    true = rows[0]
    assert true.height_low95_km < HEIGHT < true.height_high95_km
    assert true.height_low95_km <= true.height_km <= true.height_high95_km
    assert true.diameter_low95_km < DIAMETER < true.diameter_high95_km
    assert true.diameter_km == pytest.approx(DIAMETER, rel=0.02)  # as the height, which has some 1 %
    assert true.matched >= 8
    assert true.spots == sum(len(shot.spots) for shot in outing.shots)
    assert rows[1].ln_evidence < true.ln_evidence


def test_losing_models_are_told_too(outing_of):
    _, scores, _ = scored_models(outing_of(np.random.default_rng(4), spots=20), None, QUICK)
    rows = needed_rows(scores, ())
    assert len(rows) == 3
    assert all(500 <= row.height_low95_km <= row.height_km <= row.height_high95_km <= 50000 for row in rows)
    assert all(row.diameter_km is None for row in rows)


def test_other_maps_and_a_map_that_does_not_hold_the_site(outing):
    maps = ("azimuthal-equidistant", "stereographic")
    rows = needed_on_maps(get_model(PLANE), data_of(outing), outing.shots, QUICK, maps)
    assert [(row.map, row.face) for row in rows][::3] == [(maps[0], "facing-pole"), (maps[1], "facing-pole")]
    assert rows[0].ln_evidence > rows[3].ln_evidence  # the photos were drawn on the first
    south = replace(outing, site=replace(outing.site, latitude_deg=-40.0))
    off = needed_on_maps(get_model(PLANE), data_of(south), south.shots, QUICK, ("orthographic",))
    assert len(off) == 1
    assert off[0].height_km is None
    assert "orthographic" in off[0].note


def test_angular_radius_of_a_photo():
    # 600 mm and 4 um: 698 px are half of 0.533 deg, the Sun's usual diameter
    shot = Shot("a", semi_axes_px=(697.7, 690.0), focal_length_mm=600.0, pixel_pitch_um=4.0)
    assert np.rad2deg(2 * angular_radius(shot)) == pytest.approx(0.533, abs=1e-3)
    assert angular_radius(replace(shot, pixel_pitch_um=None)) is None

"""What a plan says of its targets holds when the photos are drawn and measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from whichsun.models.geometry import view_of
from whichsun.models.observables import unproject
from whichsun.models.place import Instants, Site
from whichsun.sim.camera import Camera, Sensor
from whichsun.sim.forward import observe, picture_bytes
from whichsun.sim.photo.measure import PhotoOptions, measure_photo
from whichsun.sim.plan.camera_numbers import Aim, expected_errors
from whichsun.sim.plan.optics import optics_of
from whichsun.sim.plan.regions import read_summary
from whichsun.sim.plan.targets import targets_of
from whichsun.sim.scenario import PlannedShot, read_scenario
from whichsun.sim.surface import SunSpot, Surface

ROOT = Path(__file__).parents[3]
SITE = Site(60.0, 10.75)
TIMES = ("2000-09-22T06:00:00Z", "2000-09-22T16:18:00Z")
SUMMARY = read_summary(ROOT / "tests" / "data" / "regions" / "20000922SRS.txt")
MM, PITCH_UM = 400.0, 6.0


@pytest.fixture(scope="module", params=["distant-sphere", "nearby-plane"])
def drawn(request, tmp_path_factory):
    """Targets of a model, and what measuring finds in photos of their largest spots drawn under it."""
    scenario = read_scenario(ROOT / "scenarios" / f"{request.param}-pair.toml")
    instants = Instants.from_utc(TIMES)
    models = [(scenario.model, scenario.given)]
    optics = optics_of(focal_length_mm=MM, pixel_pitch_um=PITCH_UM)
    targets = targets_of(SUMMARY, instants, SITE, models, law=scenario.surface.law, optics=optics)
    first = view_of(scenario.model, instants, SITE, scenario.given)[0]
    shown = [one for one in targets if one.views[0].visible[0]]
    points = unproject(first, *np.array([(one.views[0].x[0], one.views[0].y[0]) for one in shown]).T)
    places = np.rad2deg([np.arcsin(points[:, 2]), np.arctan2(points[:, 1], points[:, 0])]).T
    spots = tuple(
        SunSpot(*map(float, place), one.spot_area_msh) for place, one in zip(places, shown, strict=True)
    )
    # The same angles for a Sun of another size: a near one is drawn as large as the day's.
    day, near = (float(view.distance) for view in (first_of_day(instants), first))
    scenario = replace(
        scenario,
        site=SITE,
        shots=tuple(PlannedShot(f"{k}.jpg", time) for k, time in enumerate(TIMES)),
        surface=Surface(spots, scenario.surface.law, 3),
        camera=Camera(900, 900, MM * near / day, PITCH_UM, Sensor(exposure=0.6)),
    )
    folder, found = tmp_path_factory.mktemp("drawn"), []
    for k, one in enumerate(observe(scenario)):
        path = folder / f"{k}.jpg"
        path.write_bytes(picture_bytes("JPEG", scenario, one, np.random.default_rng(k)))
        found.append(measure_photo(path, PhotoOptions(roll_deg=0.0, roll_sigma_deg=0.05)).shot)
    return targets, found, optics


def first_of_day(instants):
    from whichsun.models.distant_sphere import DistantSphere

    return DistantSphere().view(instants, SITE, {})[0]


def near(shot, x, y):
    """The find within 0.03 limb radii of a place, or None."""
    best = min(shot.spots, key=lambda spot: np.hypot(spot.x - x, spot.y - y), default=None)
    return best if best is not None and np.hypot(best.x - x, best.y - y) < 0.03 else None


def test_large_targets_are_found_where_and_turned_as_planned(drawn):
    targets, shots, _ = drawn
    count = 0
    for target in targets:
        (view,) = target.views
        if not view.visible[1] or view.chance_large < 0.9 or max(np.hypot(view.x, view.y)) > 0.9:
            continue
        ends = [near(shot, view.x[k], view.y[k]) for k, shot in enumerate(shots)]
        assert None not in ends, target.place.region.number
        angles = [np.arctan2(-spot.x, spot.y) for spot in ends]
        turn = np.rad2deg(np.angle(np.exp(1j * (angles[1] - angles[0]))))
        radius = min(np.hypot(view.x, view.y))
        sigma = np.hypot(*(np.hypot(spot.sigma_x, spot.sigma_y) for spot in ends)) / np.sqrt(2) / radius
        off = (turn - view.turn_deg + 180) % 360 - 180
        assert abs(off) < 4 * np.rad2deg(sigma), (target.place.region.number, off, np.rad2deg(sigma))
        count += 1
    assert count >= 2


def test_small_targets_are_not_found(drawn):
    targets, shots, _ = drawn
    small = [one for one in targets if one.views[0].chance_large < 0.05]
    assert small
    for target in small:
        (view,) = target.views
        assert near(shots[0], view.x[0], view.y[0]) is None


def test_stated_places_are_as_sure_as_planned(drawn):
    # The drawn air is steady; sizes differ from spot to spot by two.
    _, shots, optics = drawn
    radius = shots[0].semi_axes_px[0]
    planned, _ = expected_errors(radius, Aim(seeing_arcsec=0.0), optics.arcsec_per_px)
    stated = np.median([spot.sigma_x for shot in shots for spot in shot.spots])
    assert 0.4 < stated / planned < 2
    assert radius * 2 == pytest.approx(2 * MM * 1000 / PITCH_UM * np.tan(np.deg2rad(955.9 / 3600)), rel=0.005)

"""One contract for every model in the registry and for the worked example of a person's own."""

from pathlib import Path

import numpy as np
import pytest
from whichsun.models import observables
from whichsun.models.geometry import resolve_values, view_of
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model, model_names

OWN = f"{Path(__file__).parents[2] / 'scenarios' / 'own_model.py'}:UprightSun"
ALL = [*model_names(), OWN]
WHEN = Instants.from_utc(["2027-03-20T05:10:00Z", "2027-03-20T12:00:00Z", "2027-03-20T16:50:00Z"])
SITES = Site(np.array([[52.0], [10.0], [-35.0], [80.0]]), np.array([[5.0], [-60.0], [140.0], [0.0]]), 50.0)


def settings(model):
    """Default values and those of each of the model's variants."""
    return [{}] + [dict(variant.fixed) for variant in model.variants]


@pytest.fixture(params=ALL, ids=lambda name: name.rpartition(":")[2])
def model(request):
    return get_model(request.param)


def test_words(model):
    assert model.name == model.name.lower()
    assert " " not in model.name
    assert model.summary.endswith(".")
    assert len({p.name for p in model.parameters}) == len(model.parameters)
    for parameter in model.parameters:
        assert parameter.meaning.endswith((".", "PROJ text."))
        assert parameter.check(parameter.default) == parameter.default


def test_variants_name_known_parameters(model):
    known = {parameter.name: parameter for parameter in model.parameters}
    assert len(model.variants) >= 1
    assert len({variant.name for variant in model.variants}) == len(model.variants)
    for variant in model.variants:
        resolve_values(model, variant.fixed)
        for name in variant.free:
            assert np.isfinite([known[name].low, known[name].high]).all()
            assert known[name].prior in {"uniform", "log-uniform", "inverse-uniform"}


def test_shapes_and_unit_vectors(model):
    for values in settings(model):
        view = view_of(model, WHEN, SITES, values)
        assert view.shape == (4, 3)
        assert view.direction.shape == (4, 3, 3)
        assert view.attitude.shape == (4, 3, 3, 3)
        assert view.celestial_north.shape == (4, 3, 3)
        assert view.sun_radius_km.shape == (4, 3)
        assert np.allclose(np.linalg.norm(view.direction, axis=-1), 1, atol=1e-12)
        assert np.all(view.distance > 1)


def test_attitude_is_a_rotation_or_free(model):
    for values in settings(model):
        attitude = view_of(model, WHEN, SITES, values).attitude
        if values.get("face") == "free":
            assert np.isnan(attitude).all()
            continue
        unit = np.swapaxes(attitude, -1, -2) @ attitude
        assert np.abs(unit - np.eye(3)).max() < 1e-9
        assert np.allclose(np.linalg.det(attitude), 1)


def test_one_site_equals_its_row_of_many(model):
    many = view_of(model, WHEN, SITES)
    one = view_of(model, WHEN, Site(10.0, -60.0, 50.0))
    assert np.allclose(one.direction, many.direction[1], atol=1e-13)
    assert np.allclose(one.attitude, many.attitude[1], atol=1e-13)
    single = view_of(model, WHEN[0], Site(10.0, -60.0, 50.0))
    assert single.shape == ()
    assert np.allclose(single.direction, one.direction[0], atol=1e-13)


def test_parameters_broadcast(model):
    for variant in model.variants:
        for name in variant.free:
            parameter = next(p for p in model.parameters if p.name == name)
            nodes = np.linspace(max(parameter.low, 1.0), min(parameter.high, 1e6), 5)[:, None]
            view = view_of(model, WHEN, Site(52.0, 5.0), {**variant.fixed, name: nodes})
            assert view.shape == (5, 3)
            alone = view_of(model, WHEN, Site(52.0, 5.0), {**variant.fixed, name: float(nodes[3, 0])})
            assert np.allclose(view.direction[3], alone.direction, atol=1e-12)
            assert np.allclose(view.attitude[3], alone.attitude, atol=1e-12)


def test_a_turn_of_longitude_changes_nothing(model):
    here = view_of(model, WHEN, Site(52.0, -170.0))
    there = view_of(model, WHEN, Site(52.0, 190.0))
    assert np.allclose(here.direction, there.direction, atol=1e-9)
    assert np.allclose(here.attitude, there.attitude, atol=1e-9, equal_nan=True)


def test_spots_on_the_disc(model):
    view = view_of(model, WHEN, SITES)
    rng = np.random.default_rng(3)
    points = rng.normal(size=(200, 3))
    points /= np.linalg.norm(points, axis=-1, keepdims=True)
    disc = observables.project(view, points)
    radius = np.hypot(disc.x, disc.y)
    assert np.all(radius[disc.visible] <= 1 + 1e-12)
    back = observables.unproject(view, disc.x, disc.y)
    expected = np.broadcast_to(points, back.shape)
    assert np.abs(back - expected)[disc.visible].max() < 1e-6

"""Leave-one-out Bayes factors: reweighted draws against integrals done anew, spots, shots, limb ratios."""

from dataclasses import replace

import numpy as np
import pytest
from whichsun.sim.compare import drivers
from whichsun.sim.compare.contest import Options, checked, scored_models
from whichsun.sim.compare.drivers import find_drivers, left_outs, without_shots
from whichsun.sim.compare.evidence import integrate
from whichsun.sim.compare.shots_data import LimbRatio
from whichsun.sim.outing import Observable

QUICK = Options(repairs=False, check=False)
FILES = ("a.jpg", "b.jpg", "c.jpg")
THREE = ("2024-03-25T06:40:00Z", "2024-03-25T12:10:00Z", "2024-03-25T17:20:00Z")


def two_models(outing):
    """Data and scores of distant sphere and nearby plane."""
    data, scores, _ = scored_models(outing, None, QUICK)
    by_name = {score.model: score for score in scores}
    return data, by_name["distant-sphere"], by_name["nearby-plane"]


def anew(model, one):
    """ln evidence of a model with a measurement left out, every variant integrated again."""
    values = []
    for variant in model.variants:
        if variant.weight > 0:
            problem = drivers._problem_without(variant.problem, one)
            again = integrate(problem, np.random.default_rng(3)).ln_evidence
            values.append(again + np.log(variant.weight))
    return np.logaddexp.reduce(values)


@pytest.mark.parametrize(("truth", "seed"), [("distant-sphere", 4), ("nearby-plane", 5)])
def test_reweighted_draws_agree_with_integrating_anew(outing_of, truth, seed):
    outing = outing_of(np.random.default_rng(seed), truth, spots=12, sigma=0.01)
    data, sphere, plane = two_models(outing)
    best, second = (sphere, plane) if truth == "distant-sphere" else (plane, sphere)
    found = find_drivers(data, FILES, best, second)
    spots = [driver for driver in found if driver.kind == "spot"]
    assert len(spots) == data.counts.sum()
    wanted = {(d.shot, d.id) for d in (spots[0], spots[1], spots[-1])}
    for one in left_outs(data, FILES):
        if one.kind != "spot" or (FILES[one.shot], one.id) not in wanted:
            continue
        driver = next(d for d in found if (d.shot, d.id) == (FILES[one.shot], one.id))
        again = anew(best, one) - anew(second, one)
        # 0.1: the error asked of each evidence is 0.05; beyond that the driver's own, three times
        assert abs(driver.without - again) < 0.1 + 3 * driver.error


def test_a_matched_pair_drives_and_its_ends_agree(outing_of):
    outing = outing_of(np.random.default_rng(4), spots=16)
    data, sphere, plane = two_models(outing)
    found = {(d.shot, d.id): d for d in find_drivers(data, FILES, sphere, plane) if d.kind == "spot"}
    fit = checked(sphere, QUICK).leader.fit
    numbers = [(FILES[s], i) for s, i in zip(data.detections.shot, sum(data.ids, ()), strict=True)]
    sure = [m for m in fit.matches if m.probability > 0.99]
    assert sure
    for match in sure:
        assert found[numbers[match.first]].contribution > 1
    strongest = max(found.values(), key=lambda d: d.contribution)
    assert (strongest.shot, strongest.id) in {numbers[k] for m in fit.matches for k in (m.first, m.second)}


def test_a_shot_left_out_is_the_outing_without_it(outing_of):
    outing = outing_of(np.random.default_rng(6), spots=9, times=THREE, sigma=0.01)
    data, sphere, plane = two_models(outing)
    found = [d for d in find_drivers(data, FILES, sphere, plane) if d.kind == "shot"]
    assert {d.shot for d in found} == set(FILES)
    one = next(o for o in left_outs(data, FILES) if o.kind == "shot" and o.shot == 1)
    driver = next(d for d in found if d.shot == FILES[1])
    again = anew(sphere, one) - anew(plane, one)
    assert abs(driver.without - again) < 0.1 + 3 * driver.error
    two = without_shots(data, (0, 2))
    assert two.n_shots == 2
    assert list(two.counts) == [data.counts[0], data.counts[2]]


def test_limb_ratios_without_the_first_shot_count_from_the_next():
    ratios = (LimbRatio(1, 0.10, 0.02), LimbRatio(2, 0.15, 0.03))
    assert drivers._ratios_of(ratios, (0, 2)) == (LimbRatio(1, 0.15, 0.03),)
    left = drivers._ratios_of(ratios, (1, 2))
    assert [(r.shot, r.sigma) for r in left] == [(1, 0.03)]
    assert left[0].value == pytest.approx(0.05)


def test_a_limb_ratio_drives_by_its_own_density(outing_of):
    """The plane's Sun would have to change size; the ratio alone says so."""
    outing = outing_of(np.random.default_rng(4), spots=10, sigma=0.02)
    same = {"camera": "C", "focal_length_mm": 600.0}
    shots = tuple(replace(shot, **same) for shot in outing.shots)
    data, sphere, plane = two_models(replace(outing, shots=shots))
    driver = next(d for d in find_drivers(data, FILES, sphere, plane) if d.kind == "limb-ratio")
    assert (driver.shot, driver.id) == ("b.jpg", None)
    one = next(o for o in left_outs(data, FILES) if o.kind == "limb-ratio")
    again = anew(sphere, one) - anew(plane, one)
    assert abs(driver.without - again) < 0.1 + 3 * driver.error


def test_one_photo_alone_says_nothing(outing_of):
    data, sphere, plane = two_models(outing_of(np.random.default_rng(4), spots=10))
    whole = sphere.ln_evidence - plane.ln_evidence
    shots = [d for d in find_drivers(data, FILES, sphere, plane) if d.kind == "shot"]
    assert [d.shot for d in sorted(shots, key=lambda d: d.shot)] == list(FILES[:2])
    assert all(d.without == pytest.approx(0, abs=1e-9) for d in shots)
    assert all(d.contribution == pytest.approx(whole) for d in shots)


def test_quantities_are_left_out_too(outing_of):
    """The Sun's altitude at one moment, told beside photos: the plane's Sun stands elsewhere."""
    outing = outing_of(np.random.default_rng(4), spots=8, sigma=0.02)
    height = Observable("altitude", 12.0, 2.0, ("2024-03-25T06:40:00Z",))
    data, sphere, plane = two_models(replace(outing, observables=(height,)))
    found = {d.kind: d for d in find_drivers(data, FILES, sphere, plane) if d.kind in ("quantity", "shot")}
    driver = found["quantity"]
    assert (driver.shot, driver.id) == (None, 1)
    assert "altitude" in driver.name
    one = next(o for o in left_outs(data, FILES) if o.kind == "quantity")
    again = anew(sphere, one) - anew(plane, one)
    assert abs(driver.without - again) < 0.1 + 3 * driver.error
    # without the photos the altitude speaks alone
    photo = next(o for o in left_outs(data, FILES) if o.kind == "shot")
    assert found["shot"].without == pytest.approx(anew(sphere, photo) - anew(plane, photo), abs=0.1)
    assert found["shot"].anew

"""Regions as targets: where each stands on the disc at both shots under each model, and which serve best.

A summary's places come from pictures of the disc, worked out under a distant Sun. So a region's place at the first shot
is that of the distant sphere for every model; the model says what becomes of it until the second. Under the distant
sphere that is the same as carrying it all the way.

Targets are ranked by the uncertainty of the turn that they are expected to give: sigma as measuring would state it,
over the root of the chance that the spot is there, large enough and on the searched part of the disc in both shots, for
information grows as chance over sigma squared. The models count alike in it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...models.distant_sphere import DistantSphere
from ...models.geometry import Array, GeometryModel, SunView, view_of
from ...models.observables import DiscPoints, project, unproject, wrap_angle
from ...models.place import Instants, Site
from ..compare.world import FOUND, detection
from ..rotation import RotationLaw, carry
from ..turns import axis_turn, moment
from .camera_numbers import Aim, chance_found, expected_errors, expected_turn, roll_sigmas_deg, width_px
from .carried import CarriedRegion, carried, meridian_longitude_deg
from .optics import Optics
from .regions import RegionSummary

DRAWS = 600
SEED = 20240713
LARGEST_SHARE = 0.5
"""Share of a group's area in its largest spot, where it has several (common practice, no source)."""
LEAST_MSH = 5.0
"""Taken for the area 0 of the summaries, which are in tens."""
USABLE = 0.5
_PLACE_SIGMA = 0.004  # limb radii, where nothing is known of the camera: the usual one of `power`
_CENTRE_SIGMA = 0.0006


@dataclass(frozen=True)
class TargetView:
    """One region under one model.

    Parameters
    ----------
    model : str
    x, y : (float, float)
        At both shots, disc frame, limb radii, no refraction; nan where the model does not say or the region is hidden
        in the first shot.
    covariance : (ndarray, ndarray), each shape (2, 2)
        Of x, y at both shots: 68 % along an axis.
    visible : (bool or None, bool or None)
        On the side that faces the site; None where the model does not say, in the second shot also where the region
        is hidden in the first.
    chance : float
        That the spot is found in both shots: there, large enough, and on the searched part of the disc; nan where
        the model does not say which face it shows.
    chance_visible : float
        For its place alone: on the disc in both shots; nan likewise.
    chance_large : float
        For its size alone, where it is foreshortened most.
    turn_deg, turn_spread_deg : float
        Turn of the spot, and the half width of what the unsure place makes of it (68 %).
    beyond_axis_deg : float
        Of it, what the Sun's axis does not do: the Sun's rotation and perspective.
    sigma_deg : float
        Of the turn as measuring would state it, level included; nan where it cannot be measured.
    """

    model: str
    x: tuple[float, float]
    y: tuple[float, float]
    covariance: tuple[Array, Array]
    visible: tuple[bool | None, bool | None]
    chance: float
    chance_visible: float
    chance_large: float
    turn_deg: float
    turn_spread_deg: float
    beyond_axis_deg: float
    sigma_deg: float


@dataclass(frozen=True)
class Target:
    """One region at both shots under all models.

    Parameters
    ----------
    place : CarriedRegion
        At the first shot.
    spot_area_msh : float
        Of its largest spot, as far as the summary tells.
    width_px : float
        That spot's at the first shot, foreshortened; nan without a camera.
    group_px : float
        Length of the whole group in the picture at the first shot; nan without a camera.
    views : tuple of TargetView
    expected_sigma_deg : float
        Uncertainty of the turn to expect, chances included; inf where it cannot serve.
    chance_first : float
        That its largest spot is found in the first photo, whatever becomes of it; the same under every model.
    """

    place: CarriedRegion
    spot_area_msh: float
    width_px: float
    group_px: float
    views: tuple[TargetView, ...]
    expected_sigma_deg: float
    chance_first: float

    @property
    def chance(self) -> float:
        """That it serves in both shots, mean over the models that say which face they show; 0 where none does."""
        told = [view.chance for view in self.views if math.isfinite(view.chance)]
        return float(np.mean(told)) if told else 0.0

    @property
    def usable_under(self) -> tuple[str, ...]:
        """Models under which it more likely serves than not."""
        return tuple(view.model for view in self.views if view.chance >= USABLE)


def targets_of(
    summary: RegionSummary,
    instants: Instants,
    site: Site,
    models: Sequence[tuple[GeometryModel, Mapping[str, Any]]],
    *,
    law: RotationLaw,
    optics: Optics | None = None,
    aim: Aim | None = None,
) -> list[Target]:
    """All regions with spots as targets, best first.

    Parameters
    ----------
    summary : RegionSummary
    instants : Instants, shape (2,)
        Of the two shots.
    site : Site
        One place.
    models : sequence of (GeometryModel, mapping)
        Each with its given parameters.
    law : RotationLaw
    optics : Optics, optional
        Without it spots count as large enough, and their places as measured to 0.004 limb radii.
    aim : Aim, optional
    """
    aim = aim or Aim()
    sky = DistantSphere().view(instants, site, {})
    views = [(model.name, view_of(model, instants, site, given)) for model, given in models]
    middle = meridian_longitude_deg(summary.utc_days)
    start, end = float(instants.utc_days[0]), float(instants.utc_days[1])
    shots = _Shots(moment(sky, 0), end - start, law, optics, aim, roll_sigmas_deg(site, instants, aim))
    targets = []
    for region in summary.regions:
        place = carried(region, summary, start, law, middle)
        # The same draws for a region whatever stands beside it in the file.
        draws = place.draws(np.random.default_rng([SEED, region.number]), DRAWS)
        targets.append(_target(place, draws, shots, views))
    return sorted(targets, key=lambda one: (one.expected_sigma_deg, -one.chance, -one.spot_area_msh))


@dataclass(frozen=True)
class _Shots:
    """What all regions share: the first shot's sky, the days to the second, and how well places are measured."""

    sky: SunView
    days: float
    law: RotationLaw
    optics: Optics | None
    aim: Aim
    rolls_sigma_deg: tuple[float, float]

    @property
    def radius_px(self) -> float:
        """Of the day's disc; nan without a camera."""
        if self.optics is None:
            return math.nan
        return self.optics.camera.focal_length_px / math.sqrt(float(self.sky.distance) ** 2 - 1)

    @property
    def errors(self) -> tuple[float, float]:
        """Sigmas of a spot's place and of the disc's centre, limb radii."""
        if self.optics is None:
            return _PLACE_SIGMA, _CENTRE_SIGMA
        return expected_errors(self.radius_px, self.aim, self.optics.arcsec_per_px)


def _target(
    place: CarriedRegion, draws: Array, shots: _Shots, views: Sequence[tuple[str, SunView]]
) -> Target:
    region = place.region
    area = max(region.area_msh or 0.0, LEAST_MSH) * (1.0 if region.single else LARGEST_SHARE)
    seen = project(shots.sky, draws)
    radius, mu = shots.radius_px, max(float(seen.mu[0]), 0.0)
    out = float(np.hypot(seen.x[0], seen.y[0])) if seen.visible[0] else 1.0
    searched = float(np.mean(np.where(seen.visible, detection(np.hypot(seen.x, seen.y)), 0.0)))
    found = [_view(name, view, seen, draws, shots, place, area) for name, view in views]
    information = [one.chance / one.sigma_deg**2 if one.chance > 0 else 0.0 for one in found]
    told = [value for value, one in zip(information, found, strict=True) if math.isfinite(one.chance)]
    return Target(
        place,
        area,
        width_px(area, radius, mu),
        2 * math.sin(math.radians((region.extent_deg or 0.0) / 2)) * radius * mu,
        tuple(found),
        1 / math.sqrt(np.mean(told)) if sum(told) > 0 else math.inf,
        place.chance_there * _chance_large(place, area, out, shots) * searched,
    )


def _view(
    name: str,
    view: SunView,
    seen: DiscPoints,
    draws: Array,
    shots: _Shots,
    place: CarriedRegion,
    area_msh: float,
) -> TargetView:
    """One model; `seen` are the draws, the place itself first, on the first shot's disc."""
    first, second = moment(view, 0), moment(view, 1)
    x, y = np.where(seen.visible, seen.x, np.nan), np.where(seen.visible, seen.y, np.nan)
    body = unproject(first, x, y)
    told = bool(np.all(np.isfinite(second.attitude)))
    later = project(second, carry(body, np.array(shots.days), shots.law))
    both = seen.visible & np.isfinite(later.x) & later.visible
    a, b = np.stack([x, y], -1), np.stack([later.x, later.y], -1)
    out = np.stack([np.hypot(x, y), np.hypot(later.x, later.y)])
    searched = np.where(both, detection(out[0]) * detection(out[1]), 0.0) / FOUND**2
    turns = np.rad2deg(wrap_angle(_vertex(b) - _vertex(a)))
    turn = float(turns[0]) if both[0] else math.nan
    # A place that is just hidden itself is judged by the first of its draws that is not.
    there = np.flatnonzero(both)[:1]
    sigma = _sigma(a[there], b[there], shots) if len(there) else math.nan
    large = _chance_large(place, area_msh, float(np.max(out[:, there])), shots) if len(there) else 0.0
    chance = place.chance_there * large * float(np.mean(searched)) if math.isfinite(sigma) else 0.0
    return TargetView(
        name,
        (float(x[0]), float(later.x[0])),
        (float(y[0]), float(later.y[0])),
        (_covariance(a, seen.visible), _covariance(b, both)),
        (bool(seen.visible[0]), bool(later.visible[0]) if told and seen.visible[0] else None),
        chance if told else math.nan,
        float(np.mean(both)) if told else math.nan,
        large,
        turn,
        _spread(turns[both]),
        float(np.rad2deg(wrap_angle(np.deg2rad(turn) - axis_turn(first, second)))),
        sigma,
    )


def _chance_large(place: CarriedRegion, area_msh: float, out: float, shots: _Shots) -> float:
    """Chance that a spot is wide enough to be found at `out` limb radii, over what its area may have become."""
    if shots.optics is None:
        return 1.0
    sigmas = np.linspace(-2.5, 2.5, 41)
    wide = width_px(area_msh, shots.radius_px, math.sqrt(max(1 - out**2, 0.0)))
    grown = wide * np.exp(place.ln_area_sigma * sigmas / 2)  # the width goes as the root of the area
    return float(np.average(chance_found(grown), weights=np.exp(-0.5 * sigmas**2)))


def _vertex(place: Array) -> Array:
    return np.arctan2(-place[..., 0], place[..., 1])


def _sigma(first: Array, last: Array, shots: _Shots) -> float:
    turn = expected_turn(first, last, (shots.errors, shots.errors), shots.rolls_sigma_deg, shots.days)
    return math.nan if turn is None or turn.sigma_deg is None else turn.sigma_deg


def _covariance(places: Array, use: np.ndarray) -> Array:
    """Robust covariance of the draws about their median: 68 % along the axes; nan for fewer than ten."""
    kept = places[use]
    if len(kept) < 10:
        return np.full((2, 2), np.nan)
    centred = kept - np.median(kept, axis=0)
    # Heavy tails: the inner nine tenths give the shape, the median length the size (chi-square of 2: median 1.386).
    length = np.hypot(*centred.T)
    inner = centred[length <= np.quantile(length, 0.9)]
    shape = inner.T @ inner / len(inner)
    inverse = np.linalg.pinv(shape, rcond=1e-9, hermitian=True)
    squared = np.einsum("ni,ij,nj->n", centred, inverse, centred)
    return shape * float(np.median(squared)) / 1.3863


def _spread(turns_deg: Array) -> float:
    """Half width of the central 68 % of angles, round the first; nan for fewer than ten."""
    if len(turns_deg) < 10:
        return math.nan
    around = np.rad2deg(wrap_angle(np.deg2rad(turns_deg - turns_deg[0])))
    low, high = np.quantile(around, (0.1587, 0.8413))
    return float(high - low) / 2

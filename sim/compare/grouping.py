"""Above three shots, spots that lie close together are joined: tight groups have too many ways to be matched."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...models.geometry import Array
from ..outing import Spot

MOST_SHOTS_APART = 3  # up to so many shots every spot stands for itself
JOIN_DEG, JITTER_DEG = 3.0, 0.3
_USUAL_AREA_MSH = 50.0


def joined_groups(spots: list[Spot]) -> list[Spot]:
    """Spots of one shot with those within 3 degrees on the Sun (far Sun) joined, the darkest areas weighing most.

    A joined spot takes the number of its largest member; its place gains an uncertainty of 0.3 degrees,
    as members come and go between shots.
    """
    if len(spots) < 2:
        return list(spots)
    area = np.array([spot.area_msh or _USUAL_AREA_MSH for spot in spots])
    vectors = _on_sphere(spots)
    near = vectors @ vectors.T > np.cos(np.deg2rad(JOIN_DEG))
    left, result = set(range(len(spots))), []
    while left:
        chief = max(left, key=lambda i: area[i])
        members = [i for i in left if near[chief, i]]
        left -= set(members)
        result.append(_joined([spots[i] for i in members], area[members], spots[chief]))
    return sorted(result, key=lambda spot: spot.id)


def _on_sphere(spots: list[Spot]) -> Array:
    places = np.array([(spot.x, spot.y) for spot in spots])
    height = np.sqrt(np.maximum(1 - (places**2).sum(1), 0))
    return np.concatenate([places, height[:, None]], axis=1)


def _joined(members: list[Spot], area: Array, chief: Spot) -> Spot:
    if len(members) == 1:
        return chief
    share = area / area.sum()
    x = float(share @ np.array([spot.x for spot in members]))
    y = float(share @ np.array([spot.y for spot in members]))
    jitter = np.deg2rad(JITTER_DEG)
    sigma_x = float(np.hypot(chief.sigma_x, jitter))
    sigma_y = float(np.hypot(chief.sigma_y, jitter))
    known = all(spot.area_msh for spot in members)
    correlation = chief.correlation * chief.sigma_x * chief.sigma_y / (sigma_x * sigma_y)
    return replace(
        chief,
        x=x,
        y=y,
        sigma_x=sigma_x,
        sigma_y=sigma_y,
        correlation=correlation,
        area_msh=float(area.sum()) if known else None,
    )

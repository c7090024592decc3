"""Latitude and hemisphere from the photos alone, under the distant sphere, beside the rule of thumb."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ...models.geometry import Array, SunView, resolve_values
from ...models.place import Instants
from ...models.registry import get_model
from ..rotation import rotation_law
from .data import OutingData
from .evidence import integrate
from .likelihood import Scene
from .problem import Axis, Problem, site_at

MODEL = "distant-sphere"
_GAP_DEG = 3.0
_LEAST_SHARE = 0.02
_LEAST_PER_DEG = 0.002


@dataclass(frozen=True)
class Interval:
    """One region of likely latitudes: median, central 95 % and its share of the probability."""

    fitted_deg: float
    low95_deg: float
    high95_deg: float
    share: float


@dataclass(frozen=True)
class Latitude:
    """Free latitude (prior uniform in its sine), longitude as given.

    Attributes
    ----------
    fitted_deg, low95_deg, high95_deg : float
        Median and central 95 % of the likeliest region; where that region holds less than 95 %, the
        interval is the one of all the probability.
    hemisphere : str
        ``"north"`` or ``"south"``.
    hemisphere_probability : float
    regions : tuple of Interval
        The likeliest first; more than one where the photos leave a choice.
    width_deg : float
        Of the 95 % interval; near that of the prior (143 deg) the photos say nothing.
    """

    fitted_deg: float
    low95_deg: float
    high95_deg: float
    hemisphere: str
    hemisphere_probability: float
    regions: tuple[Interval, ...] = field(default=())

    @property
    def width_deg(self) -> float:
        """Width of the 95 % interval."""
        return self.high95_deg - self.low95_deg

    @property
    def known(self) -> bool:
        """Whether the photos narrow the latitude down at all."""
        return self.width_deg < 90.0


def latitude_problem(data: OutingData, law: str) -> Problem:
    """The distant sphere with its latitude free."""
    model = get_model(MODEL)
    values = resolve_values(model)
    axis = Axis("latitude_deg", "deg", -90.0, 90.0, "sine-uniform")
    site = data.site
    data = replace(data, site_sigma_deg=(0.0, data.site_sigma_deg[1]))

    def view(instants: Instants, free: dict[str, Array]) -> SunView:
        return model.view(instants, site_at(site, free), values)

    return Problem(data, Scene.of(data, rotation_law(law)), view, (axis,), site)


def fit_latitude(data: OutingData, law: str, rng: np.random.Generator) -> Latitude:
    """Fit latitude and hemisphere to an outing."""
    problem = latitude_problem(data, law)
    evidence = integrate(problem, rng)
    degrees = problem.axes[0].value(evidence.u)
    return summarise(degrees, evidence.weight, _LEAST_PER_DEG if data.quantities else 0.0)


def summarise(degrees: Array, weight: Array, least: float = 0.0) -> Latitude:
    """Regions, intervals and hemisphere of weighted draws of the latitude.

    Degrees of latitude that hold less than a share `least` each are left out: the chance that a measured quantity
    is a blunder spreads thinly over all of them and would bridge the regions.
    """
    order = np.argsort(degrees)
    degrees, weight = degrees[order], weight[order] / weight.sum()
    held = np.bincount((degrees + 90).astype(int), weight)[(degrees + 90).astype(int)]
    degrees, weight = degrees[held >= least], weight[held >= least]
    # weightless draws between two regions would bridge them
    heavy = weight > 1e-3 * weight.max()
    degrees, weight = degrees[heavy], weight[heavy] / weight[heavy].sum()
    label = np.concatenate([[0], np.cumsum(np.diff(degrees) > _GAP_DEG)])
    regions = []
    for one in np.unique(label):
        inside = label == one
        share = float(weight[inside].sum())
        if share >= _LEAST_SHARE:
            low, middle, high = weighted_quantiles(degrees[inside], weight[inside], (0.025, 0.5, 0.975))
            regions.append(Interval(middle, low, high, share))
    regions.sort(key=lambda region: -region.share)
    best = regions[0]
    low, high = best.low95_deg, best.high95_deg
    if best.share < 0.95:
        low, high = weighted_quantiles(degrees, weight, (0.025, 0.975))
    north = float(weight[degrees > 0].sum())
    return Latitude(
        best.fitted_deg,
        low,
        high,
        "north" if north >= 0.5 else "south",
        max(north, 1 - north),
        tuple(regions),
    )


def weighted_quantiles(values: Array, weight: Array, at: tuple[float, ...]) -> list[float]:
    """Quantiles of weighted draws."""
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    middle = (total - 0.5 * weight[order]) / total[-1]
    return [float(np.interp(q, middle, values[order])) for q in at]

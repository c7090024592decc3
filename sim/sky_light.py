"""What the air does to a shot's light, and where its horizon stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from ..models.observables import semidiameter
from ..render.ground import Ground
from .atmosphere import horizon_dip_rad, transmission

if TYPE_CHECKING:
    from .forward import Observation
    from .scenario import Scenario

_LOWEST_RAD = np.deg2rad(-1.0)  # the air mass formula ends there; ground or night covers what lies lower
_RIDGE_WAVES = 5.0  # the widest wave of a ridge against its height (common practice, no source)
_AUREOLE = (
    4.0  # limb radii beyond the limb in which the sky's glow falls to half (common practice, no source)
)


def ground_of(scenario: Scenario, observation: Observation) -> Ground:
    """The ground before the sky of a shot; a plane has no dip of the horizon."""
    is_sphere = bool(np.all(np.isfinite(observation.view.celestial_north)))
    dip = float(horizon_dip_rad(scenario.site.height_m)) if is_sphere else 0.0
    radius = float(semidiameter(observation.view))
    look = scenario.ground
    ridge = float(np.deg2rad(look.ridge_deg)) / radius
    return Ground(
        (-dip - observation.apparent_altitude_rad) / radius,
        ridge,
        max(_RIDGE_WAVES * ridge, 1.0),
        look.seed,
        look.light,
    )


def through_air(light: npt.NDArray[np.float32], scenario: Scenario, observation: Observation) -> None:
    """Take from every pixel of `light` what the air does at its altitude, and add the sky's glow.

    The clearest channel at the Sun's centre keeps its light. The glow is light of the reddened Sun that the air
    scatters towards the camera, so it lies before the disc too: `air.glow` beside a Sun on the horizon, elsewhere
    as the share of green light that the air takes out of that line of sight, less away from the Sun.
    """
    frame, air = observation.frame, scenario.air
    corners = [(c, r) for c in (0, frame.width_px - 1) for r in (0, frame.height_px - 1)]
    _, ends = frame.to_disc(*np.array(corners, float).T)
    radius = float(semidiameter(observation.view))
    heights = np.linspace(float(ends.min()), float(ends.max()), 257)
    altitudes = np.maximum(observation.apparent_altitude_rad + heights * radius, _LOWEST_RAD)
    through = transmission(np.minimum(altitudes, np.pi / 2), air.pressure_hpa, haze=air.haze)
    high = max(observation.apparent_altitude_rad, _LOWEST_RAD)
    centre = transmission(high, air.pressure_hpa, haze=air.haze)
    level = transmission(0.0, air.pressure_hpa, haze=air.haze)
    glow = air.glow * (1 - through[:, 1]) / (1 - level[1])
    through, colour = through / centre.max(), (centre / centre.max()).astype(np.float32)
    columns = np.arange(frame.width_px)[None, :]
    for top in range(0, frame.height_px, 64):
        rows = slice(top, min(top + 64, frame.height_px))
        x, y = frame.to_disc(columns, np.arange(rows.start, rows.stop)[:, None])
        for channel in range(3):
            light[rows, :, channel] *= np.interp(y, heights, through[:, channel]).astype(np.float32)
        if air.glow:
            beyond = np.maximum(np.hypot(x, y) - 1, 0)
            veil = np.interp(y, heights, glow) / (1 + beyond / _AUREOLE)
            light[rows] += veil.astype(np.float32)[..., None] * colour

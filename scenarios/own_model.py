"""A worked example of a geometry of one's own: `--model scenarios/own_model.py:UprightSun`.

The idea to be tested: "the Sun's face never turns: whenever I look, it stands upright before me". The
Sun's place in the sky is taken from the distant sphere, so that nothing but the face differs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from whichsun.models.distant_sphere import DistantSphere
from whichsun.models.geometry import Parameter, SunView, Variant
from whichsun.models.observables import disc_axes
from whichsun.models.place import Instants, Site

TILT = Parameter(
    "tilt_deg",
    "deg",
    0.0,
    low=-180.0,
    high=180.0,
    prior="uniform",
    meaning="Vertex angle at which the Sun's north pole always stands, anticlockwise from the top.",
)


@dataclass(frozen=True)
class UprightSun:
    """Everyone sees the same face of the Sun at the same tilt, at any time."""

    name: str = "upright-sun"
    summary: str = "The Sun shows everyone the same face, always at the same tilt."
    parameters: tuple[Parameter, ...] = (TILT,)
    variants: tuple[Variant, ...] = (Variant(),)  # a common tilt moves no spot between two shots

    def view(self, instants: Instants, site: Site, values: Mapping[str, Any]) -> SunView:
        sky = DistantSphere().view(instants, site, {})
        right, up = disc_axes(sky.direction)
        tilt = np.deg2rad(np.asarray(values["tilt_deg"], dtype=float))[..., None]
        pole = np.cos(tilt) * up - np.sin(tilt) * right
        towards_me = np.broadcast_to(-sky.direction, pole.shape)
        attitude = np.stack([towards_me, np.cross(pole, towards_me), pole], axis=-1)
        return replace(sky, attitude=attitude)

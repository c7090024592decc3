"""What one model shows at one site: the Sun's place, the disc's orientation, spots, and the turns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..models.geometry import GeometryModel, view_of
from ..models.observables import (
    altitude,
    azimuth,
    body_vector,
    north_vertex_angle,
    parallactic_angle,
    project,
    semidiameter,
    sub_observer_point,
)
from ..models.place import Instants, Site
from .atmosphere import STANDARD_C, STANDARD_HPA, apparent_altitude
from .rotation import RotationLaw, carry
from .turns import axis_turn, celestial_north_turn, moment, pattern_turn, spot_turns, unwrapped_turn


def predict(
    model: GeometryModel,
    instants: Instants,
    site: Site,
    given: Mapping[str, Any] | None = None,
    *,
    spots_deg: Sequence[tuple[float, float]] = (),
    law: RotationLaw,
    pressure_hpa: float = STANDARD_HPA,
    temperature_c: float = STANDARD_C,
) -> dict[str, Any]:
    """Everything observable at each of `instants`, and the turns from the first to the last.

    Parameters
    ----------
    model : GeometryModel
    instants : Instants, shape (n,)
        In the order asked.
    site : Site
        One place.
    given : mapping, optional
        Parameters of the model.
    spots_deg : sequence of (latitude, Carrington longitude)
        Degrees; the longitude is that of the first instant, then carried by the law.
    law : RotationLaw
    pressure_hpa, temperature_c : float
        Air for the apparent altitude (null where refraction is not known, below -1.9 deg).

    Returns
    -------
    dict
        ``instants``: a list of dicts; ``turn``: a dict, None for a single instant. Angles in degrees by the
        project's conventions; nan where a model leaves a value open.
    """
    view = view_of(model, instants, site, given)
    days = instants.utc_days - instants.utc_days[0]
    places = np.deg2rad(np.asarray(spots_deg, dtype=float).reshape(-1, 2))
    points = body_vector(places[:, 0], places[:, 1])
    disc = project(view, carry(points, days, law))
    latitude, longitude = sub_observer_point(view)
    high = altitude(view)
    columns = {
        "azimuth_deg": np.rad2deg(azimuth(view)),
        "altitude_deg": np.rad2deg(high),
        "apparent_altitude_deg": np.rad2deg(apparent_altitude(high, pressure_hpa, temperature_c)),
        "distance_km": view.distance * view.sun_radius_km,
        "semidiameter_arcmin": np.rad2deg(semidiameter(view)) * 60,
        "north_vertex_angle_deg": np.rad2deg(north_vertex_angle(view)),
        "parallactic_angle_deg": np.rad2deg(parallactic_angle(view)),
        "sub_observer_latitude_deg": np.rad2deg(latitude),
        "sub_observer_longitude_deg": np.rad2deg(longitude),
    }
    rows = []
    for i, time in enumerate(instants.iso()):
        row: dict[str, Any] = {"at_utc": time}
        row.update({name: float(values[i]) for name, values in columns.items()})
        row["spots"] = [
            _spot(float(disc.x[i, k]), float(disc.y[i, k]), bool(disc.visible[i, k]))
            for k in range(len(points))
        ]
        rows.append(row)
    turn = _turns(model, instants, site, given, points, law) if len(rows) > 1 else None
    return {"instants": rows, "turn": turn}


def _spot(x: float, y: float, visible: bool) -> dict[str, Any]:
    known = bool(np.isfinite(x))
    return {
        "x": x,
        "y": y,
        "vertex_angle_deg": float(np.rad2deg(np.arctan2(-x, y))),
        "radius": float(np.hypot(x, y)),
        "visible": visible if known else None,
    }


def _turns(
    model: GeometryModel,
    instants: Instants,
    site: Site,
    given: Mapping[str, Any] | None,
    points: np.ndarray,
    law: RotationLaw,
) -> dict[str, Any]:
    """Turns from the first to the last instant, in degrees."""
    ends = instants[np.array([0, -1])]
    view = view_of(model, ends, site, given)
    first, last = moment(view, 0), moment(view, 1)
    days = float(ends.utc_days[1] - ends.utc_days[0])
    pattern = pattern_turn(first, last, days, law)
    return {
        "axis_deg": float(np.rad2deg(axis_turn(first, last))),
        "celestial_north_deg": float(np.rad2deg(celestial_north_turn(first, last))),
        "pattern_deg": float(np.rad2deg(pattern.turn)),
        "pattern_visible_fraction": float(pattern.visible_fraction),
        "pattern_scatter": float(pattern.scatter),
        "spots_deg": [float(turn) for turn in np.rad2deg(spot_turns(first, last, points, days, law))],
        "unwrapped_axis_deg": float(np.rad2deg(unwrapped_turn(model, ends, site, given))),
    }

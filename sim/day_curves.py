"""The numbers behind the curves of a day."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from ..models.geometry import Array
from ..models.observables import wrap_angle
from ..render.day_curves import DayCurve, draw_day_curves
from .day import Day, DayCourse, continuous_azimuths
from .day_sheet import day_title
from .rotation import RotationLaw
from .turns import face_lattice, pattern_turn

_LATTICE = 1500


def turn_rate(course: DayCourse, law: RotationLaw) -> Array:
    """How fast the pattern turns in the picture between neighbouring instants, degrees an hour, shape (n - 1,).

    The turn of a pattern spread evenly over the face of the earlier instant, anticlockwise positive; by the
    same code for every model.
    """
    first, second = course.view[:-1], course.view[1:]
    days = np.diff(course.days)
    pattern = pattern_turn(first, second, days, law, face_lattice(first, _LATTICE))
    turn = wrap_angle(pattern.turn - np.diff(course.roll_rad))
    return np.rad2deg(turn) / (24 * days)


def day_curves(day: Day, law: RotationLaw) -> list[DayCurve]:
    """Curves of every model of the day."""
    hours = 24 * (day.instants.utc_days - np.floor(day.instants.utc_days[0] + 0.5) + 0.5)
    curves = []
    for course, around in zip(day.courses, continuous_azimuths(day), strict=True):
        curves.append(
            DayCurve(
                course.model,
                hours,
                np.rad2deg(course.altitude_rad),
                around,
                120 * np.rad2deg(course.semidiameter_rad),
                (hours[:-1] + hours[1:]) / 2,
                turn_rate(course, law),
            )
        )
    return curves


def day_curves_figure(day: Day, law: RotationLaw) -> Figure:
    """The figure of :func:`day_curves`."""
    mount = "an equatorial mount" if day.mount == "equatorial" else "a level tripod"
    artists = draw_day_curves(
        day_curves(day, law),
        title=day_title(day).replace("The Sun's disc", "The Sun"),
        subtitle=(
            "Calculated for each geometry at the same moments, sunrise to sunset, without refraction. The turn is "
            f"that in the picture of a camera on {mount}."
        ),
    )
    figure = artists[0].get_figure(root=True)
    assert figure is not None  # the artists were just drawn on one
    return figure

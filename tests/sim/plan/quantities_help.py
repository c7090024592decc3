"""A day whose measurements are foreseen, for the tests of observables, field sheet and outing template."""

import datetime as dt
import functools

from whichsun.models.place import Site
from whichsun.models.registry import get_model
from whichsun.sim.plan.observables import DayTimes, day_quantities
from whichsun.sim.plan.windows import sun_day_plan
from whichsun.sim.plan.zones import zone_named

SPHERE, PLANE = "distant-sphere", "nearby-plane"


@functools.cache
def the_day(latitude=60.0, longitude=11.0, date="2027-03-20", zone="Europe/Oslo", names=(SPHERE, PLANE)):
    """Site, zone, day's plan and quantities."""
    site, clock = Site(latitude, longitude), zone_named(zone)
    day = sun_day_plan(dt.date.fromisoformat(date), site, clock)
    middles = day.middles or (float("nan"), float("nan"))
    times = DayTimes(day.noon, day.rise, day.set, *middles)
    models = [(get_model(name), {}) for name in names]
    return site, clock, day, day_quantities(models, site, times, law="howard-1984")


def row(quantities, kind, number=0):
    """The row of a kind."""
    return [one for one in quantities.rows if one.kind == kind][number]

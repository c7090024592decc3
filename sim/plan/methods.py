"""Simple ways of measuring the Sun without spots: stick, watch, compass, camera; and how well each of them does.

All uncertainties here are common practice, no source: what a careful beginner reaches. Refraction and the clock come
on top of them, in the plan as in the score.
"""

from __future__ import annotations

from dataclasses import dataclass

NOON, MORNING, EVENING = "noon", "morning", "evening"


@dataclass(frozen=True)
class Method:
    """How one kind is measured.

    Parameters
    ----------
    kind : str
        One of ``outing_observables.KINDS``.
    at : tuple of str
        When: ``noon``, ``morning`` and ``evening`` (the windows' middles), ``rise``, ``set``.
    label : str
        What a person calls it.
    sigma : float
        In the unit of the outing file's sigma.
    how : str
        What to do, one or two sentences.
    why_sigma : str
        What the uncertainty consists of.
    """

    kind: str
    at: tuple[str, ...]
    label: str
    sigma: float
    how: str
    why_sigma: str

    @property
    def source(self) -> str:
        """Where the uncertainty comes from."""
        return f"{self.why_sigma}; common practice, no source"


_STICK = (
    "Stick upright by a plumb line, on ground levelled with the bubble. Altitude = arctan(stick / shadow), both "
    "measured from the ground; take the middle of the soft edge."
)
_COMPASS = (
    "Direction of the shadow, turned by 180 degrees. Add the magnetic declination of your place (east +); keep iron "
    "and phones away."
)
_EDGE = (
    "Note the second at which the upper limb comes or goes, from the camera's screen. A ridge of known height: "
    "horizon_deg."
)
_SIZE = "Width of the disc in the photo, left to right, in pixels, x pixel pitch / focal length, in degrees (x 57.3)."
_RATIO = (
    "Same lens, zoom and focus in both photos: width of the disc in the later one over that in the earlier."
)
_DRIFT = "On the level tripod let the Sun drift through the frame for two minutes, in both windows; turn of its path."

METHODS: tuple[Method, ...] = (
    Method(
        "noon-altitude",
        (NOON,),
        "Highest altitude",
        0.5,
        _STICK + " The shortest shadow counts: every 5 minutes for half an hour about local noon.",
        "0.4 deg of plumb and level, 5 mm of the tip of a 1 m stick's shadow (0.3 deg)",
    ),
    Method("rise", ("rise",), "Rise", 30.0, _EDGE, "20 s to see the edge, 20 s of haze on the horizon"),
    Method("set", ("set",), "Set", 30.0, _EDGE, "20 s to see the edge, 20 s of haze on the horizon"),
    Method(
        "day-length",
        (NOON,),
        "Day length",
        0.012,
        "Set minus rise, instead of the two times.",
        "the two times, 30 s each",
    ),
    Method("rise-azimuth", (NOON,), "Azimuth of rise", 2.0, _COMPASS, "reading and needle, 2 deg"),
    Method("set-azimuth", (NOON,), "Azimuth of set", 2.0, _COMPASS, "reading and needle, 2 deg"),
    Method(
        "altitude",
        (MORNING,),
        "Altitude, morning",
        0.5,
        _STICK + " A low Sun needs a short stick: 10 cm on a levelled board.",
        "0.5 deg of plumb and level",
    ),
    Method("azimuth", (MORNING,), "Azimuth, morning", 2.0, _COMPASS, "reading and needle, 2 deg"),
    Method(
        "altitude",
        (EVENING,),
        "Altitude, evening",
        0.5,
        _STICK + " A low Sun needs a short stick: 10 cm on a levelled board.",
        "0.5 deg of plumb and level",
    ),
    Method("azimuth", (EVENING,), "Azimuth, evening", 2.0, _COMPASS, "reading and needle, 2 deg"),
    Method(
        "angular-diameter",
        (NOON,),
        "Width of the Sun, noon",
        0.016,
        _SIZE,
        "3 % of the focal length as engraved",
    ),
    Method(
        "angular-diameter-ratio",
        (MORNING, NOON),
        "Width, noon / morning",
        0.006,
        _RATIO,
        "each edge to half a pixel on a disc of 200 px",
    ),
    Method(
        "angular-diameter-ratio",
        (MORNING, EVENING),
        "Width, evening / morning",
        0.006,
        _RATIO,
        "each edge to half a pixel on a disc of 200 px",
    ),
    Method(
        "drift-direction",
        (MORNING, EVENING),
        "Turn of the drift",
        1.4,
        _DRIFT,
        "two levels of 0.7 deg and two readings of 0.7 deg",
    ),
)

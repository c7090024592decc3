"""The cautions, one text for every place that sends someone outdoors: README, demo, plan, report, field sheet.

Sources: ISO 12312-2:2015 is for filters with which the bare eye looks at the Sun; filters for telescopes,
binoculars and cameras are outside its scope. The rest is common practice, no source.
"""

from __future__ import annotations

HEADING = "Before you photograph the Sun"

CAUTIONS: tuple[str, ...] = (
    "Put a solar filter certified for optics over the whole front of the lens, so that it cannot fall or blow off, "
    "before the camera points anywhere near the Sun. Hold it against the light each time: one with a scratch or a "
    "pinhole is not used.",
    "Frame on the screen only. Never look through an optical viewfinder, with or without the filter. The finder of a "
    "mirrorless camera is a small screen and spares the eye, but the camera needs its filter just the same.",
    "A low red Sun is not a safe Sun: it can be dim to the eye and still bright in infrared. The filter stays on.",
    "Viewers made to ISO 12312-2 are for the bare eye; the standard does not cover filters for cameras, binoculars or "
    "telescopes. Never use them with optics, in front or behind. Ordinary grey filters, smoked glass and exposed film "
    "are no solar filters.",
    "Without its filter a lens is a burning glass: heat inside the camera ruins it and can start a fire. Turn the lens "
    "away from the Sun before the filter comes off, and leave no camera unattended.",
    "To take the time or a direction, do not look at the Sun: use a shadow, or the camera's screen.",
    "Supervise children all the time, and keep uncovered optics out of their reach.",
    "Local rules, the filter's maker and an eye professional come first, before anything written here.",
    "After any doubt - a flash in the eye, a spot that stays, blurred sight - stop and see an eye professional.",
)


def caution_lines() -> list[str]:
    """The cautions as numbered lines of plain text, with a heading."""
    return [HEADING, *(f"  {n}. {text}" for n, text in enumerate(CAUTIONS, 1))]

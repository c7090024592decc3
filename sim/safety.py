"""The cautions, one text for every place that sends someone outdoors: README, demo, plan, report, page.

Sources: ISO 12312-2:2015 covers filters for looking at the Sun with the bare eye and excludes telescopes,
binoculars and cameras. The rest is common practice, no source.
"""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Put a solar filter certified for optics over the front of the lens, so that it cannot fall or blow off, "
    "before the camera points anywhere near the Sun.",
    "Frame on the screen only. Never look through an optical viewfinder, with or without the filter.",
    "A low red Sun is not a safe Sun: it can be dim to the eye and still bright in infrared.",
    "Viewers made to ISO 12312-2 are for the bare eye. Never use them with a camera, binoculars or a telescope, "
    "in front of the optics or behind.",
    "Supervise children all the time, and keep uncovered optics out of their reach.",
    "Follow the filter maker's instructions and the local rules; they come before anything written here.",
    "After any doubt - a flash in the eye, a spot that stays, blurred sight - stop and see an eye professional.",
)


def caution_lines() -> list[str]:
    """The cautions as numbered lines of plain text, with a heading."""
    return ["Before you photograph the Sun", *(f"  {n}. {text}" for n, text in enumerate(CAUTIONS, 1))]

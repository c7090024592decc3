"""A camera's numbers for a plan: JSON and the sentences that go with them."""

from __future__ import annotations

import math
from typing import Any

from .camera_numbers import (
    ADVISED_PX,
    FRAMED_SHARE,
    LIKELY_PX,
    REFUSED_PX,
    Aim,
    CameraNumbers,
    camera_numbers,
    expected_errors,
)
from .days import Plan
from .optics import Optics

_USELESS = 20.0  # degrees of latitude per degree of turn
_HAND_HELD = (
    "Held by hand the camera may be rolled by any angle, so no turn can be measured, only how the spots lie to one "
    "another: use a level tripod."
)


def camera_json(plan: Plan, optics: Optics, aim: Aim) -> dict[str, Any] | None:
    """Numbers of the first day that has both windows, at their middles; None where there is none."""
    for day in plan.days:
        instants = day.instants()
        if instants is not None:
            numbers = camera_numbers(optics, aim, plan.site, instants, plan.models)
            return {"date": day.date.isoformat(), **_json(numbers)}
    return None


def _json(numbers: CameraNumbers) -> dict[str, Any]:
    camera, aim = numbers.optics.camera, numbers.aim
    known, by_hand = numbers.optics.whole_picture, aim.mount == "hand-held"
    latitude = numbers.latitude_per_turn
    radius = min(numbers.diameter_px) / 2
    return {
        "focal_length_mm": camera.focal_length_mm,
        "pixel_pitch_um": camera.pixel_pitch_um,
        "as_35mm_equivalent": numbers.optics.equivalent,
        "picture_px": [camera.width_px, camera.height_px] if known else None,
        "pixel_scale_arcsec_per_px": numbers.optics.arcsec_per_px,
        "sun_diameter_arcmin": list(numbers.diameter_arcmin),
        "disc_diameter_px": list(numbers.diameter_px),
        "disc_share_of_picture": numbers.share_of_picture,
        "fits": None if numbers.share_of_picture is None else numbers.share_of_picture <= FRAMED_SHARE,
        "longest_exposure_s": numbers.longest_exposure_s,
        "seeing_arcsec": aim.seeing_arcsec,
        "frames": aim.frames,
        "frames_useful": numbers.useful_frames,
        "place_sigma_radii": expected_errors(radius, aim, numbers.optics.arcsec_per_px)[0],
        "smallest_spot_px": LIKELY_PX,
        "smallest_spot_msh": _msh(LIKELY_PX, radius),
        "mount": aim.mount,
        "level_sigma_deg": None if by_hand else aim.level_sigma_deg,
        "roll_sigma_deg": list(numbers.roll_sigma_deg),
        "turn_sigma_deg": {
            "one_spot": numbers.one_spot.sigma_deg,
            "five_spots": numbers.more_spots.sigma_deg,
            "one_spot_without_level_error": numbers.without_level.sigma_deg,
        },
        "latitude_deg_per_turn_deg": latitude,
        "latitude_sigma_deg": {
            "one_spot": latitude * (numbers.one_spot.sigma_deg or math.nan),
            "five_spots": latitude * (numbers.more_spots.sigma_deg or math.nan),
        },
        "latitude_deg_per_level_deg": None if by_hand else latitude * numbers.roll_per_level,
        "notes": _notes(numbers),
    }


def _msh(width_px: float, radius_px: float) -> float:
    """Area of a round spot of that width in the middle of the disc, millionths of the hemisphere (1 - cos r)."""
    sine = min(width_px / 2 / radius_px, 1.0)
    return 1e6 * (1 - math.sqrt(1 - sine**2))


def _notes(numbers: CameraNumbers) -> list[str]:
    """What to know about this camera, in sentences."""
    disc, share = min(numbers.diameter_px), numbers.share_of_picture
    notes = []
    if disc < REFUSED_PX:
        notes.append(
            f"The disc is {disc:.0f} px wide: `measure` finds none below {REFUSED_PX:.0f} px. Use a longer lens or a "
            "telescope."
        )
    elif disc < ADVISED_PX:
        notes.append(
            f"The disc is {disc:.0f} px wide, less than the {ADVISED_PX:.0f} px advised: only large spots will be "
            "found."
        )
    if share is not None and share > FRAMED_SHARE:
        longest = numbers.optics.camera.focal_length_mm * FRAMED_SHARE / share
        words = "does not fit into the picture" if share > 1 else "leaves hardly any room in the picture"
        kind = " (35 mm equivalent)" if numbers.optics.equivalent else ""
        notes.append(
            f"The disc {words} ({100 * share:.0f} % of its shorter side): use at most {longest:.0f} mm{kind} with this "
            "sensor."
        )
    notes += [
        f"Expose for at most {_seconds(numbers.longest_exposure_s)}: by then the disc has moved through the picture by "
        "half a pixel.",
        *([_HAND_HELD] if numbers.aim.mount == "hand-held" else [_frames(numbers), _level(numbers)]),
    ]
    return notes


def _frames(numbers: CameraNumbers) -> str:
    useful = numbers.useful_frames
    if useful <= numbers.aim.frames:
        return (
            f"Averaging more than {_photos(numbers.aim.frames)} per window gains little: the level decides. "
            "Take a few more all the same, for clouds and shake."
        )
    return (
        f"Take {useful} photos per window, some seconds apart, and measure them all: that evens out the air."
    )


def _photos(count: int) -> str:
    return "one photo" if count == 1 else f"{count} photos"


def _level(numbers: CameraNumbers) -> str:
    latitude = numbers.latitude_per_turn
    if not latitude < _USELESS:
        return "The turn hardly depends on latitude at this place and time: it does not tell the latitude."
    turn, cost = numbers.roll_per_level, latitude * numbers.roll_per_level
    return (
        f"One degree of level error in one of the photos changes the turn by {turn:.2f} degrees and costs {cost:.2f} "
        "degrees of latitude under the distant sphere here (the equinox rule of thumb says 0.5)."
    )


def _seconds(value: float) -> str:
    return f"1/{1 / value:.0f} s" if value < 0.4 else f"{value:.1f} s"

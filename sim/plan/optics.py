"""What a person says of lens and sensor, turned into the camera that the rest of the program knows."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...models.errors import InputError
from ..camera import Camera

FULL_FRAME_MM = 36.0, 24.0
_DIAGONAL_MM = math.hypot(*FULL_FRAME_MM)
ARCSEC_PER_RAD = 180 * 3600 / math.pi


@dataclass(frozen=True)
class Optics:
    """Lens and sensor.

    Parameters
    ----------
    camera : Camera
        With the teleconverter in its focal length. Where a 35 mm equivalent was given it is the camera with a sensor
        of 36 x 24 mm's diagonal and the same pixels, which has the same angles.
    whole_picture : bool
        The picture's size was given, so that it can be said whether the disc fits.
    equivalent : bool
        Focal length and pitch are those of the 35 mm equivalent.
    """

    camera: Camera
    whole_picture: bool
    equivalent: bool = False

    @property
    def arcsec_per_px(self) -> float:
        """Pixel scale in the middle of the picture: 206.265 times pitch in micrometres over focal length in mm."""
        return ARCSEC_PER_RAD / self.camera.focal_length_px


def optics_of(
    *,
    focal_length_mm: float | None = None,
    focal_35mm: float | None = None,
    pixel_pitch_um: float | None = None,
    sensor_width_mm: float | None = None,
    crop_factor: float | None = None,
    picture_px: tuple[int, int] | None = None,
    teleconverter: float = 1.0,
) -> Optics | None:
    """Lens and sensor from what is known of them; None where nothing was given.

    Parameters
    ----------
    focal_length_mm, focal_35mm : float
        The lens's own, or its 35 mm equivalent (same angle over the picture's diagonal); one of the two. The
        equivalent needs `picture_px` alone.
    pixel_pitch_um : float
        Or, with `picture_px`, one of:
    sensor_width_mm : float
        The longer side.
    crop_factor : float
        Diagonal of 36 x 24 mm over the sensor's.
    picture_px : (int, int)
        Width and height of the full-size picture.
    teleconverter : float
        Factor by which it lengthens the focal length.

    Raises
    ------
    InputError
        Something is missing, said twice or out of range.
    """
    sensors = {
        "pixel-pitch-um": pixel_pitch_um,
        "sensor-width-mm": sensor_width_mm,
        "crop-factor": crop_factor,
    }
    told = {name: value for name, value in sensors.items() if value is not None}
    lenses = {"focal-length-mm": focal_length_mm, "focal-35mm": focal_35mm}
    lens = {name: value for name, value in lenses.items() if value is not None}
    if not told and not lens and picture_px is None and teleconverter == 1.0:
        return None
    if len(lens) != 1:
        raise InputError(
            "focal-length-mm", "must be given, or --focal-35mm instead of it", " and ".join(lens) or None
        )
    for name, value, low, high in (
        *((name, value, 1.0, 100_000.0) for name, value in lens.items()),
        *((name, value, 0.1, 100.0) for name, value in told.items()),
        ("teleconverter", teleconverter, 0.1, 20.0),
        *(("picture", side, 16, 20_000) for side in picture_px or ()),
    ):
        if not low <= value <= high:
            raise InputError(name, f"must be between {low:g} and {high:g}", value)
    focal = next(iter(lens.values())) * teleconverter
    width, height = picture_px or (Camera.width_px, Camera.height_px)
    if focal_35mm is not None:
        if told or picture_px is None:
            raise InputError(
                "focal-35mm",
                "must come with --picture WIDTHxHEIGHT and without anything of the sensor",
                ", ".join(f"--{name}" for name in told) or None,
            )
        pitch = 1000 * _DIAGONAL_MM / math.hypot(*picture_px)
        return Optics(Camera(width, height, focal, pitch), True, True)
    pitch = _pitch(told, picture_px)
    return Optics(Camera(width, height, focal, pitch), picture_px is not None)


def _pitch(told: dict[str, float], picture_px: tuple[int, int] | None) -> float:
    """Pixel pitch in micrometres from the one thing that is known of the sensor."""
    if len(told) != 1:
        raise InputError(
            "pixel-pitch-um",
            "must be given, or --sensor-width-mm or --crop-factor instead of it; one of the three",
            ", ".join(f"--{name}" for name in told) or None,
        )
    (name, value) = next(iter(told.items()))
    if name == "pixel-pitch-um":
        return value
    if picture_px is None:
        raise InputError(name, "must come with --picture WIDTHxHEIGHT", value)
    if name == "sensor-width-mm":
        return 1000 * value / max(picture_px)
    return 1000 * _DIAGONAL_MM / value / math.hypot(*picture_px)

"""Camera and mount: how large the disc is in the picture and how the picture's up stands to the vertical.

`roll` is the camera's anticlockwise rotation as seen from behind it: V_true = V_picture + roll, V the
vertex angle. A camera rolled anticlockwise shows the scene turned clockwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from ..models.errors import InputError, UnknownNameError
from ..models.geometry import Array, SunView
from ..models.observables import parallactic_angle, wrap_angle
from .outing import MOUNTS


@dataclass(frozen=True)
class Sensor:
    """What the sensor and the file format do to the light.

    Parameters
    ----------
    exposure : float
        Brightness of the disc's centre on a linear scale where 1 is white.
    tint_rgb : tuple of float
        Colour of the filter, each channel's share.
    blur_px : float
        Standard deviation of the image of a point.
    noise_dn : float
        Standard deviation of the noise in 8-bit steps.
    vignetting : float
        Loss of light in the corners, 0 to 1.
    jpeg_quality : int
        Pillow's JPEG quality, 1 to 95.
    """

    exposure: float = 0.6
    tint_rgb: tuple[float, float, float] = (1.0, 0.85, 0.6)
    blur_px: float = 1.0
    noise_dn: float = 2.0
    vignetting: float = 0.0
    jpeg_quality: int = 92

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("exposure", self.exposure, 0.0, 100.0),
            ("blur_px", self.blur_px, 0.0, 50.0),
            ("noise_dn", self.noise_dn, 0.0, 100.0),
            ("vignetting", self.vignetting, 0.0, 1.0),
            ("jpeg_quality", self.jpeg_quality, 1, 95),
            *(("tint_rgb", share, 0.0, 1.0) for share in self.tint_rgb),
        ):
            if not low <= value <= high:
                raise InputError(name, f"must be between {low:g} and {high:g}", value)


@dataclass(frozen=True)
class Camera:
    """A camera on its mount.

    Parameters
    ----------
    width_px, height_px : int
    focal_length_mm, pixel_pitch_um : float
        Together they give the disc's size in the picture.
    sensor : Sensor
    """

    width_px: int = 1600
    height_px: int = 1200
    focal_length_mm: float = 400.0
    pixel_pitch_um: float = 4.6
    sensor: Sensor = field(default_factory=Sensor)

    def __post_init__(self) -> None:
        for name in ("width_px", "height_px"):
            if not 16 <= getattr(self, name) <= 20000:
                raise InputError(name, "must be between 16 and 20000", getattr(self, name))
        for name in ("focal_length_mm", "pixel_pitch_um"):
            if not 0 < getattr(self, name) < math.inf:
                raise InputError(name, "must be above 0", getattr(self, name))

    @property
    def focal_length_px(self) -> float:
        """Focal length in pixels."""
        return self.focal_length_mm * 1000 / self.pixel_pitch_um

    @property
    def centre_px(self) -> tuple[float, float]:
        """Middle of the picture, [column, row], the top-left pixel's centre being (0, 0)."""
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2


def disc_radius_px(camera: Camera, semidiameter_rad: Array | float) -> Array:
    """Radius of an unrefracted disc in the middle of the picture: focal length times tan(semidiameter)."""
    return camera.focal_length_px * np.tan(np.asarray(semidiameter_rad, dtype=float))


def focal_length_for(camera: Camera, semidiameter_rad: float, radius_px: float) -> float:
    """Focal length in mm that makes a disc of `radius_px`."""
    return radius_px / math.tan(semidiameter_rad) * camera.pixel_pitch_um / 1000


def camera_roll(view: SunView, mount: str, roll_rad: Array | float = 0.0) -> Array:
    """Roll of the camera against the vertical in each shot of an outing.

    Parameters
    ----------
    view : SunView, leading shape (..., shots)
        The shots in the order taken along the last axis.
    mount : str
        ``"level-tripod"``: the picture's up is the vertical. ``"equatorial"``: it is fixed to the celestial
        north, and stands vertical in the first shot. ``"hand-held"``: any roll, as given.
    roll_rad : float or ndarray, shape (..., shots)
        Roll added to the mount's: a level's error, an equatorial camera's orientation, the hand's turn.

    Returns
    -------
    ndarray, shape (..., shots)
        Radians, anticlockwise seen from behind the camera, wrapped to (-pi, pi].

    Raises
    ------
    InputError
        An equatorial mount under a model that has no celestial north to follow.
    UnknownNameError
        No such mount.
    """
    if mount not in MOUNTS:
        raise UnknownNameError("mount", mount, MOUNTS)
    given = np.asarray(roll_rad, dtype=float)
    if mount != "equatorial":
        return wrap_angle(np.broadcast_to(given, np.broadcast_shapes(view.shape, given.shape)).copy())
    angle = -parallactic_angle(view)
    if not np.all(np.isfinite(angle)):
        raise InputError("mount", "cannot be equatorial where a model has no celestial north", "equatorial")
    first = angle[..., :1] if angle.ndim else angle
    return wrap_angle(angle - first + given)


def picture_angle(vertex_angle_rad: Array, roll_rad: Array | float) -> Array:
    """Angle from the picture's up, anticlockwise, of what stands at a true vertex angle: V - roll."""
    return wrap_angle(np.asarray(vertex_angle_rad, dtype=float) - roll_rad)

"""From a scenario to what a camera would have seen: true places of the spots, and photos with their EXIF."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from ..models.errors import OutputExistsError, WhichsunWarning
from ..models.geometry import Array, SunView, view_of
from ..models.observables import altitude, project, semidiameter
from ..models.place import Instants, parse_utc, utc_days_of
from ..render.disc import render_disc
from ..render.frame import PictureFrame, VerticalWarp
from ..render.ground import cover_by_ground
from ..render.picture import Optics, exposed_bands, to_picture
from ..render.texture import SurfaceTexture
from .atmosphere import apparent_altitude, axis_ratio, vertical_table
from .camera import camera_roll, disc_radius_px
from .files import write_whole
from .picture_file import coded_bytes, format_of, truth_text
from .predicting import predict
from .scenario import PlannedShot, Scenario
from .sky_light import ground_of, through_air
from .texture_file import blank_share
from .turns import pattern_turn

Table = tuple[Array, Array]


@dataclass(frozen=True)
class Observation:
    """What one shot of a scenario shows, exactly.

    Parameters
    ----------
    shot : PlannedShot
    view : SunView
        Of this one instant.
    frame : PictureFrame
        Place, size and roll of the disc in the picture (before any mirroring).
    vertical_table : (ndarray, ndarray) or None
        Refraction over the disc; None without.
    apparent_altitude_rad : float
        Of the Sun's centre.
    days : float
        From the scenario's first shot.
    x, y, mu : ndarray, shape (spots,)
        True disc places (limb radii, no refraction) and cosines of the foreshortening.
    visible : ndarray of bool, shape (spots,)
    pixels : ndarray, shape (spots, 2)
        Column and row in the picture, refracted, rolled and mirrored.
    """

    shot: PlannedShot
    view: SunView
    frame: PictureFrame
    vertical_table: Table | None
    apparent_altitude_rad: float
    days: float
    x: Array
    y: Array
    mu: Array
    visible: np.ndarray
    pixels: Array


def observe(scenario: Scenario) -> list[Observation]:
    """True appearance of every shot of `scenario`.

    Raises
    ------
    InputError
        The Sun stands lower than refraction is known, or an equatorial mount under a model without a
        celestial north.
    """
    instants = Instants.from_utc([shot.time_utc for shot in scenario.shots])
    views = view_of(scenario.model, instants, scenario.site, scenario.given)
    days = instants.utc_days - instants.utc_days[0]
    return [_observe_one(scenario, shot, views, i, float(days[i])) for i, shot in enumerate(scenario.shots)]


def _observe_one(
    scenario: Scenario, shot: PlannedShot, views: SunView, index: int, days: float
) -> Observation:
    view, air = views[index], scenario.air
    high = float(altitude(view))
    radius = float(semidiameter(view))
    table = None
    if air.refraction:
        table = vertical_table(high, radius, air.pressure_hpa, air.temperature_c)
        seen = float(apparent_altitude(high, air.pressure_hpa, air.temperature_c))
    else:
        seen = high
    roll = camera_roll(views, shot.mount, np.deg2rad(shot.roll_deg))[index]
    camera = scenario.camera
    frame = PictureFrame(
        camera.width_px,
        camera.height_px,
        shot.centre_px or camera.centre_px,
        float(disc_radius_px(camera, radius)),
        float(np.rad2deg(roll)),
    )
    disc = project(view, scenario.surface.points(days))
    column, row = frame.to_pixels(disc.x, VerticalWarp(table).apparent(disc.y))
    if shot.mirrored:
        column = camera.width_px - 1 - column
    pixels = np.stack([column, row], axis=-1)
    return Observation(shot, view, frame, table, seen, days, disc.x, disc.y, disc.mu, disc.visible, pixels)


def light_of(
    scenario: Scenario, observation: Observation, *, surface: str = "plain"
) -> npt.NDArray[np.float32]:
    """Light that reaches the camera in one shot, (rows, columns, 3), linear, near 1 at the disc's centre."""
    ground = ground_of(scenario, observation)
    x = np.linspace(-1, 1, 65)
    upper_limb = VerticalWarp(observation.vertical_table).apparent(np.sqrt(1 - x**2))
    if np.all(ground.skyline(x) > upper_limb):
        text = f"the Sun is below the horizon at {observation.shot.time_utc}: the picture shows the ground"
        warnings.warn(text, WhichsunWarning, stacklevel=3)
    granulation, faculae = scenario.surface.mottling(observation.days)
    light = render_disc(
        observation.view,
        observation.frame,
        scenario.surface.drawn(observation.days),
        vertical_table=observation.vertical_table,
        surface=surface,
        texture=_texture(scenario, observation),
        granulation=granulation,
        faculae=faculae,
    )
    through_air(light, scenario, observation)
    cover_by_ground(light, observation.frame, ground)
    return light


def _texture(scenario: Scenario, observation: Observation) -> SurfaceTexture | None:
    """The real picture's surface at the shot's instant."""
    picture = scenario.surface.picture
    if picture is None:
        return None
    now = utc_days_of(parse_utc(observation.shot.time_utc))
    epoch = now - observation.days
    if not picture.lives(epoch):
        text = (
            f"{picture.file} was taken {abs(epoch - picture.utc_days):.0f} days apart: its face is laid on as it was "
            "then, because no spot of it lives so long"
        )
        warnings.warn(text, WhichsunWarning, stacklevel=3)
    return picture.carried(now, scenario.surface.law, epoch)


def draw(
    scenario: Scenario,
    observation: Observation,
    rng: np.random.Generator | None = None,
    *,
    surface: str = "plain",
) -> npt.NDArray[np.uint8]:
    """The picture of one shot, (rows, columns, 3) sRGB; without `rng` no noise is added."""
    sensor = scenario.camera.sensor
    picture = to_picture(
        light_of(scenario, observation, surface=surface),
        exposure=sensor.exposure,
        tint_rgb=sensor.tint_rgb,
        blur_px=sensor.blur_px,
        vignetting=sensor.vignetting,
        noise_dn=sensor.noise_dn if rng is not None else 0.0,
        rng=rng,
    )
    return np.ascontiguousarray(picture[:, ::-1]) if observation.shot.mirrored else picture


def draw_linear(
    scenario: Scenario,
    observation: Observation,
    rng: np.random.Generator | None = None,
    *,
    surface: str = "plain",
) -> npt.NDArray[np.float32]:
    """The green light of one shot on the sensor, (rows, columns), 1 at full scale, neither coded nor clipped.

    The filter's tint is left out; with `rng` the noise is `noise_dn` 255ths of full scale everywhere.
    """
    sensor = scenario.camera.sensor
    light = light_of(scenario, observation, surface=surface)
    green = np.empty(light.shape[:2], np.float32)
    optics = Optics(sensor.exposure, blur_px=sensor.blur_px, vignetting=sensor.vignetting)
    for rows, band in exposed_bands(light, optics):
        green[rows] = band[..., 1]
    if rng is not None:
        green += np.float32(sensor.noise_dn / 255) * rng.standard_normal(green.shape, np.float32)
    return np.ascontiguousarray(green[:, ::-1]) if observation.shot.mirrored else green


def picture_bytes(
    kind: str,
    scenario: Scenario,
    observation: Observation,
    rng: np.random.Generator | None = None,
    *,
    surface: str = "plain",
) -> bytes:
    """One shot drawn and coded as a file of the format ``"PNG"``, ``"JPEG"`` or ``"FITS"``."""
    if kind == "FITS":
        from .fits_picture import fits_bytes

        return fits_bytes(scenario, observation, draw_linear(scenario, observation, rng, surface=surface))
    return coded_bytes(kind, scenario, observation, draw(scenario, observation, rng, surface=surface))


def photograph(
    scenario: Scenario,
    folder: Path | str,
    rng: np.random.Generator,
    overwrite: bool = False,
    *,
    seed: int | None = None,
) -> list[Path]:
    """Write the photos of a scenario and, beside them, ``truth.json`` with what is true in them.

    Parameters
    ----------
    scenario : Scenario
    folder : path
    rng : numpy.random.Generator
        For the noise.
    overwrite : bool
        Without it an existing photo or truth is refused before anything is written.
    seed : int, optional
        Noted in the truth.

    Returns
    -------
    list of Path
        The photos, in the order of the shots.
    """
    folder = Path(folder)
    paths = [folder / shot.file for shot in scenario.shots]
    for path in (*paths, folder / "truth.json"):
        if path.exists() and not overwrite:
            raise OutputExistsError(path)
    observations = observe(scenario)
    for path, observation in zip(paths, observations, strict=True):
        write_whole(path, picture_bytes(format_of(path), scenario, observation, rng))
    record = {**truth(scenario, observations), "seed": seed}
    write_whole(folder / "truth.json", truth_text(record))
    return paths


def truth(scenario: Scenario, observations: list[Observation]) -> dict[str, Any]:
    """What is true in a scenario, ready for JSON; angles in degrees, disc places in limb radii."""
    site = scenario.site
    places = [(spot.latitude_deg, spot.longitude_deg) for spot in scenario.surface.spots]
    predicted = predict(
        scenario.model,
        Instants.from_utc([shot.time_utc for shot in scenario.shots]),
        site,
        scenario.given,
        spots_deg=places,
        law=scenario.surface.law,
    )
    return {
        "schema": "whichsun/truth/1",
        "program": f"whichsun {version('whichsun')}",
        "scenario": scenario.name,
        "scenario_sha256": scenario.sha256,
        "invented": True,
        "model": scenario.model.name,
        "set": dict(scenario.given),
        "rotation": scenario.surface.law.name,
        "drawn_with": {
            "granulation": scenario.surface.granulation,
            "faculae": scenario.surface.faculae,
            "outlines_seed": scenario.surface.seed,
            "sky_glow": scenario.air.glow,
            "ridge_deg": scenario.ground.ridge_deg,
            "ridge_seed": scenario.ground.seed,
        },
        "site": {
            "latitude_deg": float(site.latitude_deg),
            "longitude_deg": float(site.longitude_deg),
            "height_m": float(site.height_m),
        },
        "shots": [_shot_truth(scenario, observation) for observation in observations],
        "turn": predicted["turn"],
        "turn_of_these_spots": _turn_of_spots(scenario, observations),
    }


def _turn_of_spots(scenario: Scenario, observations: list[Observation]) -> dict[str, Any] | None:
    """Pattern turn from the first to the last shot of the scenario's own spots, which a measurement sees."""
    if len(observations) < 2 or not scenario.surface.spots:
        return None
    first, last = observations[0], observations[-1]
    pattern = pattern_turn(first.view, last.view, last.days, scenario.surface.law, scenario.surface.points())
    return {
        "pattern_deg": float(np.rad2deg(pattern.turn)),
        "spots_visible_in_both": int(np.sum(first.visible & last.visible)),
        "scatter": float(pattern.scatter),
    }


def _shot_truth(scenario: Scenario, observation: Observation) -> Mapping[str, Any]:
    view, frame, shot, air = observation.view, observation.frame, observation.shot, scenario.air
    ratio = 1.0
    if air.refraction:
        heights = float(altitude(view)), float(semidiameter(view))
        ratio = float(axis_ratio(*heights, air.pressure_hpa, air.temperature_c))
    spots = [
        {
            "spot": k + 1,
            "x": float(observation.x[k]),
            "y": float(observation.y[k]),
            "vertex_angle_deg": float(np.rad2deg(np.arctan2(-observation.x[k], observation.y[k]))),
            "radius": float(np.hypot(observation.x[k], observation.y[k])),
            "visible": bool(observation.visible[k]),
            "pixel": observation.pixels[k].tolist(),
            "area_msh": spot.area_msh,
        }
        for k, spot in enumerate(scenario.surface.spots)
    ]
    column, row = frame.centre_px
    if shot.mirrored:
        column = frame.width_px - 1 - column
    return {
        "file": shot.file,
        "time_utc": shot.time_utc,
        "mount": shot.mount,
        "mirrored": shot.mirrored,
        "roll_deg": frame.roll_deg,
        "sun_centre_px": [column, row],
        "radius_px": frame.radius_px,
        "axis_ratio": ratio,
        "altitude_deg": float(np.rad2deg(altitude(view))),
        "apparent_altitude_deg": float(np.rad2deg(observation.apparent_altitude_rad)),
        "horizon_radii": ground_of(scenario, observation).horizon,
        **_picture_truth(scenario, observation),
        "spots": spots,
    }


def _picture_truth(scenario: Scenario, observation: Observation) -> dict[str, Any]:
    """Which real picture the surface was taken from, and how much of the disc it left blank."""
    picture, texture = scenario.surface.picture, _texture(scenario, observation)
    if picture is None or texture is None:
        return {}
    known = {
        "file": picture.file,
        "sha256": picture.sha256,
        "time_utc": picture.time_utc,
        "north_deg": picture.north_deg,
        "blank_share": blank_share(observation.view, texture),
    }
    return {"texture": known}

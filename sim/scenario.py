"""Scenario files: an invented outing and the model that is true in it, TOML, checked key by key."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..models.errors import InputError, TomlError, WhichsunError
from ..models.geometry import GeometryModel, resolve_values
from ..models.place import Site
from ..models.registry import get_model
from .atmosphere import STANDARD_C, STANDARD_HPA, check_air
from .camera import Camera, Sensor
from .outing import MOUNTS
from .outing_file import SITE_KEYS
from .picture_file import FORMATS
from .rotation import DEFAULT_LAW, rotation_law
from .spot_groups import spot_group
from .surface import LARGEST_MSH, SunSpot, Surface, random_spots
from .telling import SIMULATED_CAMERA
from .toml_check import Key, TomlPath, TomlText, check_table, read_toml

if TYPE_CHECKING:
    from .texture_file import RealSurface

SCHEMA = "whichsun/scenario/1"

SPOT_KEYS = {
    "latitude_deg": Key("number", required=True, low=-90, high=90),
    "longitude_deg": Key("number", required=True, low=-360, high=360),
    "area_msh": Key("number", low=0.1, high=LARGEST_MSH),
    "umbra_fraction": Key("number", low=0, high=1),
    "darkness": Key("number", low=0, high=1),
    "irregularity": Key("number", low=0, high=0.3),
}
GROUP_KEYS = {
    "latitude_deg": Key("number", required=True, low=-60, high=60),
    "longitude_deg": Key("number", required=True, low=-360, high=360),
    "area_msh": Key("number", required=True, low=10, high=LARGEST_MSH),
    "spots": Key("integer", low=2, high=40),
    "length_deg": Key("number", low=1, high=20),
}
SUN_KEYS = {
    "rotation": Key("text"),
    "seed": Key("integer", low=0),
    "random_groups": Key("integer", low=0, high=200),
    "spot": Key("tables", table=SPOT_KEYS),
    "group": Key("tables", table=GROUP_KEYS),
    "granulation": Key("number", low=0, high=0.3),
    "faculae": Key("number", low=0, high=0.5),
    "texture": Key("text"),
    "texture_time_utc": Key("time"),
    "texture_north_deg": Key("number", low=-360, high=360),
}
CAMERA_KEYS = {
    "name": Key("text"),
    "width_px": Key("integer", low=16, high=20000),
    "height_px": Key("integer", low=16, high=20000),
    "focal_length_mm": Key("number", above=0),
    "pixel_pitch_um": Key("number", above=0),
    "exposure": Key("number", low=0, high=100),
    "tint_rgb": Key("numbers", low=0, high=1),
    "blur_px": Key("number", low=0, high=50),
    "noise_dn": Key("number", low=0, high=100),
    "vignetting": Key("number", low=0, high=1),
    "jpeg_quality": Key("integer", low=1, high=95),
}
AIR_KEYS = {
    "refraction": Key("truth"),
    "pressure_hpa": Key("number", low=0, high=1100),
    "temperature_c": Key("number", low=-90, high=60),
    "haze": Key("number", low=0, high=2),
    "glow": Key("number", low=0, high=0.5),
}
GROUND_KEYS = {
    "ridge_deg": Key("number", low=0, high=10),
    "seed": Key("integer", low=0),
    "light": Key("number", low=0, high=1),
}
SHOT_KEYS = {
    "file": Key("text", required=True),
    "time_utc": Key("time", required=True),
    "mount": Key("text", choices=MOUNTS),
    "roll_deg": Key("number", low=-360, high=360),
    "mirrored": Key("truth"),
    "utc_offset_h": Key("number", low=-12, high=14),
    "centre_px": Key("pair"),
}
SCENARIO_KEYS = {
    "schema": Key("text", required=True, choices=(SCHEMA,)),
    "name": Key("text", required=True),
    "note": Key("text"),
    "invented": Key("truth", required=True),
    "site": Key("table", required=True, table=SITE_KEYS),
    "model": Key("table", required=True, table={"name": Key("text", required=True), "set": Key("values")}),
    "sun": Key("table", table=SUN_KEYS),
    "camera": Key("table", table=CAMERA_KEYS),
    "air": Key("table", table=AIR_KEYS),
    "ground": Key("table", table=GROUND_KEYS),
    "shot": Key("tables", required=True, table=SHOT_KEYS),
}


@dataclass(frozen=True)
class Air:
    """The air of an outing.

    Without `refraction` the disc is neither lifted nor squashed. `glow` is the sky's light beside a Sun on the
    horizon as a share of its disc's, 0 behind a dense filter; see :func:`whichsun.sim.sky_light.through_air`.
    """

    refraction: bool = True
    pressure_hpa: float = STANDARD_HPA
    temperature_c: float = STANDARD_C
    haze: float = 0.05
    glow: float = 0.0

    def __post_init__(self) -> None:
        check_air(self.pressure_hpa, self.temperature_c)
        if not 0 <= self.glow <= 0.5:
            raise InputError("glow", "must be between 0 and 0.5", self.glow)


@dataclass(frozen=True)
class GroundLook:
    """The ground before the sky: a level horizon, or a ridge up to `ridge_deg` above it that `seed` chooses."""

    ridge_deg: float = 0.0
    seed: int = 0
    light: float = 0.004

    def __post_init__(self) -> None:
        if not 0 <= self.ridge_deg <= 10:
            raise InputError("ridge-deg", "must be between 0 and 10", self.ridge_deg)


@dataclass(frozen=True)
class PlannedShot:
    """One photo to simulate; `roll_deg` is the camera's true roll, which the photo does not tell.

    `utc_offset_h` is that of the camera's clock in the photo's EXIF; `centre_px` the disc's place in the
    picture, its middle by default.
    """

    file: str
    time_utc: str
    mount: str = "level-tripod"
    roll_deg: float = 0.0
    mirrored: bool = False
    utc_offset_h: float = 0.0
    centre_px: tuple[float, float] | None = None


@dataclass(frozen=True)
class Scenario:
    """An invented outing under a true model."""

    name: str
    site: Site
    model: GeometryModel
    given: Mapping[str, Any]
    shots: tuple[PlannedShot, ...]
    surface: Surface
    camera: Camera = field(default_factory=Camera)
    camera_name: str = SIMULATED_CAMERA
    air: Air = field(default_factory=Air)
    ground: GroundLook = field(default_factory=GroundLook)
    note: str = ""
    sha256: str = ""


def read_scenario(path: Path | str) -> Scenario:
    """Read and check a scenario file.

    Raises
    ------
    InputError
        There is no such file.
    TomlError
        Syntax, unknown key, unknown model, parameter or law, wrong value; with the line where known.
    """
    toml = read_toml(path)
    data = check_table(toml, SCENARIO_KEYS)
    if not data["invented"]:
        raise toml.error(("invented",), "expected true: a scenario is invented, real photos are an outing")
    if not data["shot"]:
        raise toml.error(("shot",), "expected one shot or more")
    model, given = _model_of(toml, data["model"])
    camera = data.get("camera", {})
    return Scenario(
        name=data["name"],
        site=Site(**data["site"]),
        model=model,
        given=given,
        shots=_shots_of(toml, data["shot"]),
        surface=_surface_of(toml, data.get("sun", {}), Path(path).parent),
        camera=_camera_of(toml, camera),
        camera_name=camera.get("name", SIMULATED_CAMERA),
        air=Air(**data.get("air", {})),
        ground=GroundLook(**data.get("ground", {})),
        note=data.get("note", ""),
        sha256=hashlib.sha256(Path(path).read_bytes()).hexdigest(),
    )


def _relined(toml: TomlText, path: TomlPath, error: WhichsunError) -> TomlError:
    return toml.error(path, str(error))


def _model_of(toml: TomlText, table: Mapping[str, Any]) -> tuple[GeometryModel, dict[str, Any]]:
    try:
        model = get_model(table["name"])
    except WhichsunError as error:
        raise _relined(toml, ("model", "name"), error) from None
    given = dict(table.get("set", {}))
    for name, value in given.items():
        try:
            resolve_values(model, {name: value})
        except WhichsunError as error:
            raise _relined(toml, ("model", "set", name), error) from None
    return model, given


def _shots_of(toml: TomlText, tables: list[dict[str, Any]]) -> tuple[PlannedShot, ...]:
    shots: list[PlannedShot] = []
    for i, table in enumerate(tables):
        name = table["file"]
        if Path(name).name != name or Path(name).suffix.lower() not in FORMATS:
            text = f"expected a plain name ending in .jpg, .png or .fits, got '{name}'"
            raise toml.error(("shot", i, "file"), text)
        if name in {shot.file for shot in shots}:
            raise toml.error(("shot", i, "file"), f"expected a name used once, got '{name}' again")
        shots.append(PlannedShot(**table))
    return tuple(shots)


def _surface_of(toml: TomlText, table: Mapping[str, Any], folder: Path) -> Surface:
    try:
        law = rotation_law(table.get("rotation", DEFAULT_LAW))
    except WhichsunError as error:
        raise _relined(toml, ("sun", "rotation"), error) from None
    seed = table.get("seed", 0)
    spots = tuple(SunSpot(**spot) for spot in table.get("spot", []))
    spots += random_spots(np.random.default_rng(seed), table.get("random_groups", 0))
    for number, group in enumerate(table.get("group", [])):
        spots += spot_group(np.random.default_rng([seed, number]), **group)
    mottling = {name: table[name] for name in ("granulation", "faculae") if name in table}
    return Surface(spots, law, seed, _picture_of(toml, table, folder), **mottling)


def _picture_of(toml: TomlText, table: Mapping[str, Any], folder: Path) -> RealSurface | None:
    """The real picture that a scenario names, its path from the scenario's folder."""
    if "texture" not in table:
        if told := [key for key in ("texture_time_utc", "texture_north_deg") if key in table]:
            raise toml.error(("sun", told[0]), "expected 'texture' beside it, the picture it is meant for")
        return None
    from .texture_file import read_surface

    path = folder / table["texture"]
    try:
        return read_surface(path, table.get("texture_time_utc"), table.get("texture_north_deg", 0.0))
    except WhichsunError as error:
        raise _relined(toml, ("sun", "texture"), error) from None


def _camera_of(toml: TomlText, table: Mapping[str, Any]) -> Camera:
    sensor_names = ("exposure", "tint_rgb", "blur_px", "noise_dn", "vignetting", "jpeg_quality")
    if "tint_rgb" in table and len(table["tint_rgb"]) != 3:
        raise toml.error(("camera", "tint_rgb"), "expected a list of three numbers")
    sensor = Sensor(**{name: table[name] for name in sensor_names if name in table})
    rest = {name: value for name, value in table.items() if name not in (*sensor_names, "name")}
    return Camera(**rest, sensor=sensor)

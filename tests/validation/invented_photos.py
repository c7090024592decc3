"""Random invented photos with their truth: what the measurement's sigmas charge for is in them.

A camera's tone curve is not known to the measurement, nor is the weather; both are drawn here unless told
otherwise. Sizes of tone curves and weather are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from scipy import ndimage
from weather import Air, random_air, refraction_term, warped_heights
from whichsun.models.geometry import SunView
from whichsun.models.observables import unproject
from whichsun.render.disc import PictureFrame, SurfaceSpots, render_disc, to_picture
from whichsun.sim.atmosphere import air_mass

CLASSES = ("steady", "noisy", "ripple", "cut")
TINTS = {
    "white": (1, 1, 1),
    "orange": (0.95, 0.75, 0.45),
    "red": (1.0, 0.45, 0.12),
    "green": (0.5, 1.0, 0.55),
}
SEMIDIAMETER_RAD = np.deg2rad(16 / 60)
DEPTH = 0.08, 0.3  # optical depth of the vertical air: clear to hazy, in yellow to red light
GAMMA_SD, CONTRAST = 0.08, (-0.05, 0.25)
"""Spread of a tone curve's exponent about sRGB's, and range of its contrast: a picture style's."""


@dataclass(frozen=True)
class Truth:
    """What a photo was made of; places in the disc frame, lengths in pixels.

    `axes`: a, b and c of the limb across and along the vertical; `drawn` what else was drawn, for looking into it.
    """

    kind: str
    centre: np.ndarray
    axes: np.ndarray
    xy: np.ndarray
    sizes: np.ndarray
    visible: np.ndarray
    roll: float
    drawn: dict[str, float]


def view_at(altitude_rad: float) -> SunView:
    """A far Sun due east."""
    direction = np.array([np.cos(altitude_rad), 0, np.sin(altitude_rad)])
    return SunView(direction, np.array(214.9), np.eye(3), np.full(3, np.nan), np.array(695700.0))


def random_places(rng, count, least=0.015, most=0.055):
    """Spots apart from one another by more than their sizes: places (n, 2), heliographic radii (n,)."""
    places, sizes = [], []
    for _ in range(400):
        if len(places) == count:
            break
        r, angle = 0.93 * np.sqrt(rng.uniform()), rng.uniform(0, 2 * np.pi)
        size = np.exp(rng.uniform(np.log(least), np.log(most)))
        place = np.array([r * np.cos(angle), r * np.sin(angle)])
        if all(
            np.hypot(*(place - other)) > 2.5 * (size + s) + 0.03
            for other, s in zip(places, sizes, strict=True)
        ):
            places.append(place)
            sizes.append(size)
    return np.array(places), np.array(sizes)


def rippled(linear, rng, rms_px, radius_px):
    """The picture displaced along both axes by smooth random fields: fine ones, and a fifth of that wide ones.

    Widths of 1.2 % of the radius and about 15 %: assumed, as in the measurement's notes.
    """
    shape = linear.shape[:2]
    shifts = []
    for _ in range(2):
        noise = rng.standard_normal(shape).astype(np.float32)
        fine = ndimage.gaussian_filter(noise, 0.012 * radius_px, mode="wrap")
        coarse = rng.standard_normal((13, 13))
        wide = ndimage.zoom(coarse, np.array(shape) / 13, order=3, grid_mode=True, mode="nearest")
        shifts.append(rms_px * (fine / fine.std() + 0.2 * wide / wide.std()).astype(np.float32))
    rows, columns = np.indices(shape, dtype=np.float32)
    where = np.stack([rows + shifts[0], columns + shifts[1]])
    return np.stack(
        [ndimage.map_coordinates(linear[..., k], where, order=1, mode="nearest") for k in range(3)], -1
    )


def dimmed(linear, frame, altitude_rad, depth):
    """The picture with each height dimmed by its own path through the air, 1 where the disc is brightest.

    `depth`: optical depth of the vertical air, so that a Sun at 1 degree is a good deal darker below than above.
    """
    columns, rows = np.meshgrid(np.arange(frame.width_px), np.arange(frame.height_px))
    _, high = frame.to_disc(columns, rows)
    path = depth * air_mass(np.clip(altitude_rad + SEMIDIAMETER_RAD * high, np.deg2rad(0.01), np.pi / 2))
    top = depth * float(air_mass(altitude_rad + SEMIDIAMETER_RAD))
    return linear * np.exp(np.minimum(top - path, 0.0)).astype(np.float32)[..., None]


def picture_style(gamma: float, contrast: float):
    """Coded values through an exponent and an S-curve that is steeper by `contrast` in the middle."""

    def style(coded):
        bent = coded**gamma
        return bent - contrast * np.sin(2 * np.pi * bent) / (2 * np.pi)

    return style


def random_photo(
    rng, path: Path, *, known_tone: bool = False, known_air: bool = False, given: dict | None = None
) -> Truth:
    """Draw one photo, save it as JPEG, and tell its truth.

    `given`: what is not to be drawn: kind, radius and ripple (pixels), noise (steps), altitude_deg, horizon (radii),
    wide_px (least and most width of spots).
    """
    given = given or {}
    kind = given.get("kind", str(rng.choice(CLASSES)))
    radius = given.get("radius", 0.5 * np.exp(rng.uniform(np.log(300), np.log(900))))
    apparent_altitude = np.deg2rad(given.get("altitude_deg", np.exp(rng.uniform(np.log(1.0), np.log(60.0)))))
    air = random_air(rng)
    altitude, table = warped_heights(Air() if known_air else air, apparent_altitude, SEMIDIAMETER_RAD)
    roll = rng.uniform(-20, 20)
    side = int(2.3 * radius) + 24
    centre = (side - 1) / 2 + rng.uniform(-8, 8, 2)
    view = view_at(altitude)
    wide = [width / 2 / radius for width in given.get("wide_px", ())]
    xy, sizes = random_places(rng, int(rng.integers(1, 21)), *wide)
    spots = SurfaceSpots(unproject(view, xy[:, 0], xy[:, 1]), sizes, seed=int(rng.integers(1 << 30)))
    horizon = given.get("horizon", rng.uniform(-0.7, 0.0)) if kind == "cut" else None
    frame = PictureFrame(side, side, tuple(centre), radius, roll)
    sky = rng.uniform(0, 0.03)
    linear = render_disc(view, frame, spots, vertical_table=table, horizon=horizon, sky=sky)
    depth = rng.uniform(*DEPTH)
    linear = dimmed(linear, frame, apparent_altitude, depth)
    ripple = given.get("ripple", rng.uniform(0.1, 0.6) * radius / 250 if kind == "ripple" else 0.0)
    if ripple:
        linear = rippled(linear, rng, ripple, radius)
    noise = given.get("noise", rng.uniform(3, 6) if kind == "noisy" else rng.uniform(0.5, 3))
    tint = str(rng.choice(list(TINTS)))
    exposure, blur = rng.uniform(0.3, 0.92), rng.uniform(0.7, 2.0)
    haze, glow = rng.choice([0, rng.uniform(0, 0.1)]), rng.choice([0, rng.uniform(0, 0.06)])
    gamma, contrast = float(np.exp(rng.normal(0, GAMMA_SD))), rng.uniform(*CONTRAST)
    rgb = to_picture(
        linear,
        exposure=exposure,
        tint_rgb=TINTS[tint],
        blur_px=blur,
        haze=haze,
        glow=glow,
        noise_dn=noise,
        rng=rng,
        style=None if known_tone else picture_style(gamma, contrast),
    )
    Image.fromarray(rgb).save(path, quality=92)
    height, true = table
    axes = radius * np.array([1.0, *refraction_term(table)])
    visible = np.ones(len(xy), bool)
    if horizon is not None:
        visible = np.interp(xy[:, 1], true, height) > horizon + 0.05 + sizes
    drawn = {
        "altitude_deg": float(np.rad2deg(apparent_altitude)), "ripple_px": ripple, "noise": noise, "blur_px": blur,
        "exposure": exposure, "sky": sky, "haze": float(haze), "glow": float(glow), "gamma": gamma,
        "depth": depth,
        "contrast": contrast, "tint": float(list(TINTS).index(tint)), "horizon": horizon or 0.0,
    }  # fmt: skip
    return Truth(kind, centre, axes, xy, sizes, visible, roll, drawn)

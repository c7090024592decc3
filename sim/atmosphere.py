"""Refraction, dip of the horizon and extinction: published formulas, each with its limits.

Altitudes in radians here; the formulas themselves are in degrees and arcminutes as published.

Validity of the refraction. Saemundsson's formula (argument: true altitude) and Bennett's (argument:
apparent altitude) fit one standard atmosphere to about 0.1 arcmin above the horizon; another ray
integration (Hohenkerk & Sinclair) gives 2 % less near the horizon (0.7 arcmin at 0 deg), and real air of
another layering differs by several arcmin. The scaling by temperature is too weak at the horizon: between
-10 and 30 C the disc's axis ratio goes from 0.826 to 0.853, by ray integration from 0.817 to 0.862.
Below the horizon both are extrapolated: they stay smooth and the apparent altitude grows with the true one
down to `LOWEST_TRUE_DEG` and `LOWEST_APPARENT_DEG`; further down they turn round and are not used: the
result is nan. At the zenith they are 0.1 arcsec below zero.
Refraction also brings all points together along the horizontal by one part in 3600; it is left out.

References
----------
Saemundsson, T. 1986, Sky and Telescope 72, 70. Bennett, G. G. 1982, Journal of Navigation 35, 255. Both,
with the scaling by pressure and temperature, as given by Meeus, Astronomical Algorithms, chapter 16.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..models.errors import InputError
from ..models.geometry import Array

STANDARD_HPA, STANDARD_C = 1010.0, 10.0
LOWEST_TRUE_DEG = -1.9
LOWEST_APPARENT_DEG = -1.69
EARTH_RADIUS_M = 6371000.0
BEND_OF_LIGHT = 1 / 6
"""Curvature of a level ray over that of the Earth (common practice; gives the 1.76' of nautical tables)."""

Angle = Array | float


def check_air(pressure_hpa: float, temperature_c: float) -> None:
    """Refuse pressures outside 0 to 1100 hPa and temperatures outside -90 to 60 C."""
    if not 0 <= pressure_hpa <= 1100:
        raise InputError("pressure_hpa", "must be between 0 and 1100", pressure_hpa)
    if not -90 <= temperature_c <= 60:
        raise InputError("temperature_c", "must be between -90 and 60", temperature_c)


def air_factor(pressure_hpa: float = STANDARD_HPA, temperature_c: float = STANDARD_C) -> float:
    """Strength of refraction against standard air: P/1010 x 283/(273 + T)."""
    check_air(pressure_hpa, temperature_c)
    return pressure_hpa / 1010 * 283 / (273 + temperature_c)


def refraction_rad(
    true_altitude_rad: Angle, pressure_hpa: float = STANDARD_HPA, temperature_c: float = STANDARD_C
) -> Array:
    """Refraction by the true altitude (Saemundsson): R' = 1.02 cot(h + 10.3/(h + 5.11)).

    Parameters
    ----------
    true_altitude_rad : float or ndarray
    pressure_hpa, temperature_c : float

    Returns
    -------
    ndarray
        Radians; nan below `LOWEST_TRUE_DEG`.
    """
    h = np.rad2deg(np.asarray(true_altitude_rad, dtype=float))
    h = np.where(h >= LOWEST_TRUE_DEG, h, np.nan)
    minutes = 1.02 / np.tan(np.deg2rad(h + 10.3 / (h + 5.11)))
    return np.deg2rad(minutes / 60) * air_factor(pressure_hpa, temperature_c)


def refraction_of_apparent_rad(
    apparent_altitude_rad: Angle, pressure_hpa: float = STANDARD_HPA, temperature_c: float = STANDARD_C
) -> Array:
    """Refraction by the apparent altitude (Bennett): R' = cot(h + 7.31/(h + 4.4)).

    Parameters and result as for :func:`refraction_rad`; nan below `LOWEST_APPARENT_DEG`.
    """
    h = np.rad2deg(np.asarray(apparent_altitude_rad, dtype=float))
    h = np.where(h >= LOWEST_APPARENT_DEG, h, np.nan)
    minutes = 1 / np.tan(np.deg2rad(h + 7.31 / (h + 4.4)))
    return np.deg2rad(minutes / 60) * air_factor(pressure_hpa, temperature_c)


def apparent_altitude(
    true_altitude_rad: Angle, pressure_hpa: float = STANDARD_HPA, temperature_c: float = STANDARD_C
) -> Array:
    """Apparent altitude of a point at a true one (Saemundsson); nan where the formula ends."""
    return np.asarray(true_altitude_rad, dtype=float) + refraction_rad(
        true_altitude_rad, pressure_hpa, temperature_c
    )


def true_altitude(
    apparent_altitude_rad: Angle, pressure_hpa: float = STANDARD_HPA, temperature_c: float = STANDARD_C
) -> Array:
    """Inverse of :func:`apparent_altitude`, by iteration, to 1e-12 rad; nan below its range."""
    apparent = np.asarray(apparent_altitude_rad, dtype=float)
    lowest = np.deg2rad(LOWEST_TRUE_DEG)
    inside = apparent >= apparent_altitude(lowest, pressure_hpa, temperature_c)
    true = np.where(inside, np.maximum(apparent - np.deg2rad(0.5), lowest), np.nan)
    step = 1e-6
    for _ in range(30):
        here = apparent_altitude(true, pressure_hpa, temperature_c)
        slope = (apparent_altitude(true + step, pressure_hpa, temperature_c) - here) / step
        change = (apparent - here) / slope
        true = np.maximum(true + change, np.where(inside, lowest, np.nan))
        if not np.any(np.abs(change) > 1e-13):
            break
    return true


def vertical_table(
    true_altitude_of_centre_rad: float,
    semidiameter_rad: float,
    pressure_hpa: float = STANDARD_HPA,
    temperature_c: float = STANDARD_C,
    *,
    reach: float = 1.25,
    count: int = 401,
) -> tuple[Array, Array]:
    """Apparent against true height on the disc, for drawing every point where refraction puts it.

    Parameters
    ----------
    true_altitude_of_centre_rad, semidiameter_rad : float
    pressure_hpa, temperature_c : float
    reach : float
        The table spans -reach to +reach limb radii of true height, cut at the formula's lower end.
    count : int
        Number of rows.

    Returns
    -------
    y_apparent, y_true : ndarray, shape (count,)
        Growing; in limb radii (the unrefracted limb), from the centre's apparent and true place.

    Raises
    ------
    InputError
        The lower limb lies below the reach of the formula.
    """
    lowest = np.deg2rad(LOWEST_TRUE_DEG)
    y_lowest = (lowest - true_altitude_of_centre_rad) / semidiameter_rad
    if not y_lowest <= -1:
        altitude_deg = float(np.rad2deg(true_altitude_of_centre_rad))
        rule = f"of the Sun's lower limb must be above {LOWEST_TRUE_DEG:g} where refraction is known"
        raise InputError(
            "altitude", f"{rule}; the centre's is {altitude_deg:.2f} deg", hint="take another time"
        )
    y_true = np.linspace(max(-reach, y_lowest), reach, count)
    altitudes = true_altitude_of_centre_rad + y_true * semidiameter_rad
    centre = apparent_altitude(true_altitude_of_centre_rad, pressure_hpa, temperature_c)
    y_apparent = (apparent_altitude(altitudes, pressure_hpa, temperature_c) - centre) / semidiameter_rad
    return y_apparent, y_true


def axis_ratio(
    true_altitude_of_centre_rad: Angle,
    semidiameter_rad: Angle,
    pressure_hpa: float = STANDARD_HPA,
    temperature_c: float = STANDARD_C,
) -> Array:
    """Vertical over horizontal diameter of the refracted disc; nan where the formula ends."""
    centre, radius = np.asarray(true_altitude_of_centre_rad, float), np.asarray(semidiameter_rad, float)
    upper = apparent_altitude(centre + radius, pressure_hpa, temperature_c)
    lower = apparent_altitude(centre - radius, pressure_hpa, temperature_c)
    return (upper - lower) / (2 * radius)


def horizon_dip_rad(height_m: Any, *, refracted: bool = True) -> Array:
    """Dip of the sea horizon below the level, acos(R/(R + h)), times sqrt(1 - 1/6) with refraction."""
    height = np.asarray(height_m, dtype=float)
    if np.any(~(height >= 0)):
        raise InputError("height_m", "must be 0 or more", float(height[~(height >= 0)].flat[0]))
    geometric = np.arctan2(np.sqrt(height * (2 * EARTH_RADIUS_M + height)), EARTH_RADIUS_M)
    return geometric * np.sqrt(1 - BEND_OF_LIGHT) if refracted else geometric


def air_mass(apparent_altitude_rad: Angle) -> Array:
    """Relative air mass of Kasten & Young 1989, 1 at the zenith, 37.9 at the horizon.

    1/(sin h + 0.50572 (h + 6.07995)^-1.6364), h the apparent altitude in degrees (Applied Optics 28, 4735;
    coefficients from memory and second-hand code). Fitted above the horizon; extrapolated to -1.5 deg, nan
    below.
    """
    altitude = np.asarray(apparent_altitude_rad, dtype=float)
    altitude = np.where(np.rad2deg(altitude) >= -1.5, altitude, np.nan)
    return 1 / (np.sin(altitude) + 0.50572 * (np.rad2deg(altitude) + 6.07995) ** -1.6364)


CHANNEL_UM = (0.61, 0.54, 0.46)
"""Effective wavelengths of a camera's red, green and blue (common practice, no source)."""


def transmission(
    apparent_altitude_rad: Angle, pressure_hpa: float = STANDARD_HPA, *, haze: float = 0.05
) -> Array:
    """Share of light that comes through the air in red, green and blue, shape (..., 3).

    exp(-m tau), m the air mass, tau = 0.008735 w^-4.08 P/1013.25 + haze w^-1.3 at w micrometres: Rayleigh
    scattering after Leckner 1978 and haze after Angstrom (coefficients from memory and second-hand code);
    0.05 is clear country air (common practice, no source).
    """
    check_air(pressure_hpa, STANDARD_C)
    if not 0 <= haze <= 2:
        raise InputError("haze", "must be between 0 and 2", haze)
    wavelength = np.array(CHANNEL_UM)
    depth = 0.008735 * wavelength**-4.08 * pressure_hpa / 1013.25 + haze * wavelength**-1.3
    return np.exp(-air_mass(apparent_altitude_rad)[..., None] * depth)

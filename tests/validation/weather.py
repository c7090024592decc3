"""Refraction by integrating rays through random atmospheres, for drawing low Suns that the air really shapes.

The temperatures and their changes with height are invented about the standard atmosphere: common practice, no
source. The integral is -dR = tan z dn/n along the ray, n r sin z being constant in spherical layers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

EARTH_RADIUS_M = 6371000.0
_TOP_M = 80000.0
_STEPS = 1500
_GAS_OVER_WEIGHT = 287.05 / 9.80665  # m/K: of dry air
_REFRACTIVITY = 2.77e-4 * 288.15 / 1013.25  # of dry air in yellow light, per K and hPa


@dataclass(frozen=True)
class Air:
    """Temperature at the ground, change per km in the troposphere, and a layer that is warmer above or below.

    Parameters
    ----------
    ground_k, pressure_hpa : float
    lapse_k_km : float
        Fall of the temperature, up to 11 km.
    inversion_k, inversion_m : float
        Degrees gained (lost, if negative) in the lowest metres against the lapse.
    """

    ground_k: float = 288.15
    pressure_hpa: float = 1013.25
    lapse_k_km: float = 6.5
    inversion_k: float = 0.0
    inversion_m: float = 200.0

    def temperature(self, height_m):
        """Kelvin."""
        fall = self.lapse_k_km * np.minimum(height_m, 11000.0) / 1000
        return self.ground_k - fall + self.inversion_k * np.tanh(height_m / self.inversion_m)


def random_air(rng) -> Air:
    """Ordinary weather."""
    return Air(
        rng.normal(285, 10),
        rng.normal(1005, 15),
        rng.normal(6.5, 0.7),
        rng.normal(0, 1.5),
        float(np.exp(rng.uniform(np.log(60), np.log(600)))),
    )


def refraction_rad(air: Air, apparent_rad):
    """Refraction at apparent altitudes of 0 and above, shape (n,)."""
    root = np.linspace(0, np.sqrt(_TOP_M), _STEPS)  # of the height: a level ray's tan z goes as 1 / root
    height = root**2
    kelvin = air.temperature(height)
    layers = (1 / kelvin[1:] + 1 / kelvin[:-1]) / 2 * np.diff(height) / _GAS_OVER_WEIGHT
    pressure = air.pressure_hpa * np.exp(-np.concatenate([[0], np.cumsum(layers)]))
    index = 1 + _REFRACTIVITY * pressure / kelvin
    slope = -np.gradient(np.log(index), height, edge_order=2)
    start = np.asarray(apparent_rad, float)[:, None]
    shrink = index[0] / index / (1 + height / EARTH_RADIUS_M)
    # cos^2 z = 1 - (shrink cos h)^2, written so that it keeps its digits for level rays.
    sine = shrink * np.cos(start)
    cosine = np.sqrt(np.sin(start) ** 2 + (1 - shrink) * (1 + shrink) * np.cos(start) ** 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        integrand = slope * sine / cosine * 2 * root
    integrand[:, 0] = np.where(start[:, 0] > 1e-4, 0.0, 2 * integrand[:, 1] - integrand[:, 2])
    return np.trapezoid(integrand, root, axis=1)


def warped_heights(air: Air, apparent_rad: float, semidiameter_rad: float, reach: float = 1.25):
    """True altitude of a Sun at an apparent one, and its table (apparent, true) as of ``vertical_table``."""
    low = max(apparent_rad - reach * semidiameter_rad, 0.0)
    apparent = np.linspace(low, apparent_rad + reach * semidiameter_rad, 121)
    true = apparent - refraction_rad(air, apparent)
    centre = apparent_rad - float(refraction_rad(air, np.array([apparent_rad]))[0])
    return centre, ((apparent - apparent_rad) / semidiameter_rad, (true - centre) / semidiameter_rad)


def refraction_term(table) -> tuple[float, float]:
    """Axis ratio and refraction term (limb radii) of a table of apparent and true heights."""
    apparent, true = table
    low, middle, high = np.interp([-1, 0, 1], true, apparent)
    return (high - low) / 2, (high + low) / 2 - middle


def main() -> None:
    """Print the term k = c / (1 - q)^1.5 of the standard atmosphere and the spread of c that weather brings."""
    from whichsun.sim.photo.limb_fit import prior_c

    semidiameter = np.deg2rad(16 / 60)
    rng = np.random.default_rng(1)
    print("| apparent altitude, deg | q | k | prior's k | c over prior, mean | robust sd | prior's sd |")
    print("|---" * 7 + "|")
    for altitude_deg in (0.4, 0.6, 0.8, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0, 15.0, 30.0):
        altitude = np.deg2rad(altitude_deg)
        q, c = refraction_term(warped_heights(Air(), altitude, semidiameter)[1])
        expected, spread = prior_c(1.0, q)
        ratios = []
        for _ in range(200):
            drawn = refraction_term(warped_heights(random_air(rng), altitude, semidiameter)[1])
            ratios.append(drawn[1] / prior_c(1.0, drawn[0])[0])
        sd = 1.4826 * np.median(np.abs(ratios - np.median(ratios)))
        scale = (1 - q) ** 1.5
        print(
            f"| {altitude_deg:g} | {q:.4f} | {c / scale:.3f} | {expected / scale:.3f} | {np.mean(ratios):.2f} | "
            f"{sd:.3f} | {spread / expected:.3f} |"
        )


if __name__ == "__main__":
    main()

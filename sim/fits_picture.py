"""A drawn disc as a FITS file with a truthful world coordinate system.

Under a model with a sky (a celestial north) the coordinates are helioprojective-cartesian, gnomonic about the
Sun's centre: CTYPE HPLN-TAN and HPLT-TAN, W. T. Thompson, "Coordinate systems for solar image data", A&A 449
(2006) 791. Under a model without one they are linear, in limb radii of the disc with y to the zenith, and
nothing is said of the Sun's axis. The renderer's perspective is gnomonic, so without refraction the mapping
is exact; with it the best straight one stands in PC, if it is good enough. The low Sun, which the air squashes
more below than above, has CTYPE HPLN-TPV and HPLT-TPV: a polynomial of the seventh degree, PVi_m, between the
straight mapping and the projection (registry of FITS conventions, "The TPV World Coordinate System"; read by
astropy and by sunpy.map, which drops SIP). CSYER1, CSYER2 hold the greatest error on the disc in every case.
"""

from __future__ import annotations

import io
import math
from importlib.metadata import version
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..models.ephemeris import earth_fixed_sun
from ..models.geometry import Array
from ..models.observables import dot, north_vertex_angle, semidiameter, sub_observer_point, wrap_angle
from ..models.place import J2000_JD, Instants, parse_utc, utc_days_of
from ..render.frame import VerticalWarp
from ..render.limb_darkening import RGB_NM

if TYPE_CHECKING:
    from .forward import Observation
    from .scenario import Scenario

_ARCSEC = 3600.0
_STRAIGHT_RADII = 1e-5  # greatest error of the heights at which no polynomial is written
_DEGREE = 7  # the highest that TPV has
# Number m of the first PVi_m of each degree; between them stand those of r, r^3, r^5, which are not used.
_FIRST_PV = {1: 1, 2: 4, 3: 7, 4: 12, 5: 17, 6: 24, 7: 31}


def fits_bytes(scenario: Scenario, observation: Observation, light: npt.NDArray[np.float32]) -> bytes:
    """The FITS file of a shot.

    Parameters
    ----------
    light : ndarray of float32, shape (rows, columns)
        As :func:`whichsun.sim.forward.draw_linear` gives it, the highest row first.
    """
    from astropy.io import fits

    hdu = fits.PrimaryHDU(np.ascontiguousarray(light[::-1]), fits_header(scenario, observation))
    stream = io.BytesIO()
    hdu.writeto(stream)
    return stream.getvalue()


def fits_header(scenario: Scenario, observation: Observation) -> Any:
    """The header, an ``astropy.io.fits.Header``; the first row of the data is the lowest of the picture."""
    from astropy.io import fits

    header = fits.Header()
    for key, value, comment in (*_facts(scenario, observation), *_world(scenario, observation)):
        header[key] = (value, comment)
    return header


Card = tuple[str, Any, str]


def _facts(scenario: Scenario, observation: Observation) -> list[Card]:
    site, camera, shot = scenario.site, scenario.camera, observation.shot
    longitude = (float(site.longitude_deg) + 180) % 360 - 180
    return [
        ("ORIGIN", f"whichsun {version('whichsun')}", "program that drew this"),
        ("INVENTED", True, "a drawn Sun, not a photograph"),
        ("GEOMODEL", scenario.model.name, "geometry of Earth and Sun that is drawn"),
        ("OBJECT", "Sun", ""),
        ("DATE-OBS", shot.time_utc.rstrip("Z"), "instant of the picture"),
        ("MJD-OBS", J2000_JD - 2400000.5 + utc_days_of(parse_utc(shot.time_utc)), "the same"),
        ("TIMESYS", "UTC", ""),
        ("INSTRUME", scenario.camera_name, ""),
        ("FOCALLEN", camera.focal_length_mm, "[mm]"),
        ("XPIXSZ", camera.pixel_pitch_um, "[um]"),
        ("SITELAT", float(site.latitude_deg), "[deg] geodetic latitude of the site, WGS84"),
        ("SITELONG", longitude, "[deg] longitude of the site"),
        ("SITEELEV", float(site.height_m), "[m] height of the site"),
        ("WAVELNTH", RGB_NM[1], "wavelength of limb darkening and air"),
        ("WAVEUNIT", "nm", ""),
        ("BUNIT", "", "linear light, 1 = full scale of the sensor"),
        ("MIRRORED", shot.mirrored, "left and right exchanged (undone by the WCS)"),
    ]


def _world(scenario: Scenario, observation: Observation) -> list[Card]:
    view, frame = observation.view, observation.frame
    north = float(north_vertex_angle(view))
    has_sky = bool(np.all(np.isfinite(view.celestial_north))) and math.isfinite(north)
    warp = VerticalWarp(observation.vertical_table)
    slope, level, error = _straight(warp)
    powers = None
    if has_sky and error > _STRAIGHT_RADII:
        slope, level = 1.0, 0.0
        powers, error = _polynomial(warp)
    column, row = (float(value) for value in frame.to_pixels(0.0, level))
    if observation.shot.mirrored:
        column = frame.width_px - 1 - column
    roll = math.radians(frame.roll_deg)
    flip = np.diag([-1.0 if observation.shot.mirrored else 1.0, 1.0])
    matrix = np.diag([1.0, slope]) @ _rotation(roll) @ flip
    if has_sky:
        matrix = _rotation(-north) @ matrix
        kind = "TAN" if powers is None else "TPV"
        names, unit = (f"HPLN-{kind}", f"HPLT-{kind}"), "arcsec" if powers is None else "deg"
        degrees = math.degrees(math.tan(float(semidiameter(view))))
        scale = degrees * (_ARCSEC if powers is None else 1.0)  # the powers of TPV are those of degrees
        title = "Helioprojective-cartesian"
    else:
        names, unit, scale = ("XDISC", "YDISC"), "", 1.0
        title = "Limb radii, y to the zenith"
    step, words = scale / frame.radius_px, "per pixel across the vertical"
    if powers is not None:
        # Some apply the polynomial before CDELT, some after it.
        matrix, step, words = step * matrix, 1.0, "the scale stands in PC"
    cards: list[Card] = [("WCSAXES", 2, ""), ("WCSNAME", title, "")]
    reference = column + 1, frame.height_px - row
    for i in (0, 1):
        cards += [
            (f"CTYPE{i + 1}", names[i], ""),
            (f"CUNIT{i + 1}", unit, "limb radii" if not unit else ""),
            (f"CRPIX{i + 1}", reference[i], "the Sun's centre"),
            (f"CRVAL{i + 1}", 0.0, ""),
            (f"CDELT{i + 1}", step, words),
            (f"CSYER{i + 1}", error * scale, "greatest error by refraction on the disc"),
        ]
        cards += [(f"PC{i + 1}_{j + 1}", float(matrix[i, j]), "") for j in (0, 1)]
    if powers is not None:
        cards += _distortion(powers, north, scale)
    return cards + (_observer(observation) if has_sky else [])


def _distortion(powers: Array, north: float, scale_deg: float) -> list[Card]:
    """PVi_m of TPV, which add to the straight mapping what the air moves along the vertical.

    Parameters
    ----------
    powers : ndarray, shape (degree + 1,)
        True height against apparent height, limb radii, lowest power first, the first of them 0.
    north : float
        Vertex angle of the Sun's north.
    scale_deg : float
        Degrees in the plane of projection per limb radius.
    """
    vertical = _rotation(-north)[:, 1]
    cards: list[Card] = []
    for i in (0, 1):
        own, other = vertical[i], vertical[1 - i]  # TPV numbers the powers from the axis itself
        for degree in range(1, len(powers)):
            factor = vertical[i] * scale_deg ** (1 - degree) * (powers[degree] - (degree == 1))
            for k in range(degree + 1):
                value = factor * math.comb(degree, k) * own ** (degree - k) * other**k
                value += float(degree == 1 and k == 0)
                cards.append((f"PV{i + 1}_{_FIRST_PV[degree] + k}", float(value), ""))
    return cards


def _observer(observation: Observation) -> list[Card]:
    """Where the observer stands as seen from the Sun, and how large that model's Sun is."""
    view = observation.view
    latitude, longitude = (float(angle) for angle in sub_observer_point(view))
    sun = earth_fixed_sun(Instants.from_utc(observation.shot.time_utc))
    towards = -sun.attitude.T @ (sun.position / np.sqrt(dot(sun.position, sun.position)))
    central = math.atan2(towards[1], towards[0])
    radius_m = float(view.sun_radius_km) * 1000
    carrington = math.degrees(longitude), math.degrees(latitude)
    return [
        ("HGLN_OBS", math.degrees(float(wrap_angle(np.array(longitude - central)))), "[deg] Stonyhurst"),
        ("HGLT_OBS", carrington[1], "[deg]"),
        ("CRLN_OBS", carrington[0], "[deg] Carrington"),
        ("CRLT_OBS", carrington[1], "[deg]"),
        ("DSUN_OBS", float(view.distance) * radius_m, "[m] to the Sun's centre, of that model"),
        ("RSUN_REF", radius_m, "[m] radius of that model's Sun"),
        ("RSUN_OBS", math.degrees(float(semidiameter(view))) * _ARCSEC, "[arcsec] without refraction"),
    ]


def _rotation(angle: float) -> Array:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([[cos, -sin], [sin, cos]])


def _straight(warp: VerticalWarp) -> tuple[float, float, float]:
    """Straight line through true against apparent heights on the disc: slope, zero, greatest error (radii)."""
    if warp.is_identity:
        return 1.0, 0.0, 0.0
    true = np.linspace(-1, 1, 201)
    apparent = warp.apparent(true)
    slope, offset = np.polyfit(apparent, true, 1)
    return float(slope), float(-offset / slope), float(np.max(np.abs(slope * apparent + offset - true)))


def _polynomial(warp: VerticalWarp) -> tuple[Array, float]:
    """Coefficients (lowest power first, none of power 0) of true against apparent heights; greatest error (radii)."""
    true = np.cos(np.linspace(0, np.pi, 401))  # dense at the ends, where a polynomial strays
    apparent = warp.apparent(true)
    powers = apparent[:, None] ** np.arange(1, _DEGREE + 1)
    found = np.linalg.lstsq(powers, true, rcond=None)[0]
    return np.concatenate([[0.0], found]), float(np.max(np.abs(powers @ found - true)))

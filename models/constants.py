"""Constants, each with its unit and source."""

AU_KM = 149597870.7
"""Astronomical unit, IAU 2012 resolution B2."""

LIGHT_KM_S = 299792.458
"""Speed of light, SI definition."""

SUN_RADIUS_KM = 695700.0
"""Nominal solar radius, IAU 2015 resolution B3."""

EARTH_RADIUS_KM = 6378.137
"""Equatorial radius of the WGS84 ellipsoid."""

MAP_RADIUS_KM = 6371.0
"""Radius of the sphere that a plane's map is drawn from where its PROJ text names none (mean radius)."""

EARTH_SPIN_RAD_S = 7.292115e-5
"""Rate of the Earth's rotation, WGS84."""

SUN_POLE_RA_DEG, SUN_POLE_DEC_DEG = 286.13, 63.87
"""Sun's north pole of rotation, ICRS: IAU working group on cartographic coordinates, 2018."""

SUN_W0_DEG, SUN_W_DEG_PER_DAY = 84.176, 14.1844
"""Prime meridian of Carrington longitude, W = W0 + rate d, d in days from J2000.0 TDB: same source."""

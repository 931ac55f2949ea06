"""Local gravity from latitude and height.

Normal gravity on the WGS 84 ellipsoid (Somigliana's closed formula; NIMA TR8350.2, third
edition) less the free-air gradient. It varies by 0.5 percent from equator to pole: worth it for
newtons, irrelevant for an efficiency, where it cancels.
"""

from math import radians, sin, sqrt

from rigs.metrology.errors import NotOnEarth

STANDARD_GRAVITY = 9.80665
"""m/s2, exact (CGPM 1901): the gravity of a kilogram-force."""

COARSE_DECIMALS = 2
"""A hundredth of a m/s2 is one part in a thousand of a force, and a band of ten degrees or more of
latitude: figures computed with it don't disclose where a rig stands."""

U_COARSE = 10**-COARSE_DECIMALS / sqrt(12)
"""Standard uncertainty in m/s2 of a gravity rounded to it (GUM 4.3.7)."""

_AT_EQUATOR = 9.7803253359
_SOMIGLIANA = 0.00193185265241
_ECCENTRICITY_SQUARED = 0.00669437999014
_FREE_AIR_GRADIENT = 3.086e-6


def local_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """Gravity in m/s2 at a latitude in degrees and a height above the sea in metres.

    Raises NotOnEarth for a latitude beyond a pole or a height outside -500 to 9000 m.
    """
    if not -90 <= latitude_deg <= 90:
        raise NotOnEarth(f"latitude: found {latitude_deg} degrees, expected -90 to 90")
    if not -500 <= height_m <= 9000:
        raise NotOnEarth(f"height: found {height_m} m, expected -500 to 9000")
    sine_squared = sin(radians(latitude_deg)) ** 2
    on_ellipsoid = (
        _AT_EQUATOR
        * (1 + _SOMIGLIANA * sine_squared)
        / sqrt(1 - _ECCENTRICITY_SQUARED * sine_squared)
    )
    return on_ellipsoid - _FREE_AIR_GRADIENT * height_m


def coarse_gravity(latitude_deg: float, height_m: float = 0.0) -> float:
    """The same to a hundredth of a m/s2, from which no place can be found. Raises NotOnEarth."""
    return round(local_gravity(latitude_deg, height_m), COARSE_DECIMALS)

"""The pull of a check weight, with its uncertainty.

Force F = m g (1 - air density/weight density) (conventional mass, OIML R 111); uncertainties by
propagation (JCGM 100:2008, 5.1.2). Density of water: Tanaka et al. 2001, Metrologia 38:301.
"""

from dataclasses import dataclass
from math import hypot, isfinite, sqrt

from rigs.metrology.errors import NotFinite, NotPositive, OutsideTheFormula
from rigs.metrology.gravity import STANDARD_GRAVITY

AIR_DENSITY = 1.2
"""kg/m3, of the air in which conventional mass is defined (OIML R 111)."""

DENSITIES = {
    "steel": 8000.0,
    "cast iron": 7200.0,
    "lead": 11340.0,
    "concrete": 2300.0,
    "water": 998.2,
}
"""kg/m3 of what check weights are made of; handbook values, good enough for buoyancy."""

RELATIVE_U_STANDARD_GRAVITY = 0.0027 / sqrt(3)
"""If the place is unknown: gravity anywhere is within 0.27 percent of standard (WGS 84)."""


@dataclass(frozen=True)
class CheckWeightForce:
    """Force of a hanging check weight and its standard uncertainty, both in newtons."""

    newtons: float
    u_newtons: float


def tolerance_uncertainty(tolerance: float) -> float:
    """Standard uncertainty of a value known to lie within +- tolerance (GUM 4.3.7)."""
    return tolerance / sqrt(3)


def check_weight_force(
    mass_kg: float,
    u_mass_kg: float = 0.0,
    gravity: float | None = None,
    density: float = DENSITIES["steel"],
    u_gravity: float = 0.0,
) -> CheckWeightForce:
    """Force of a mass in kg hanging in air, at a local gravity in m/s2 with its uncertainty.

    Without a local gravity the standard one is taken, with the uncertainty of not knowing the
    place. The density in kg/m3 is that of the weight. Raises NotFinite and NotPositive.
    """
    local = STANDARD_GRAVITY if gravity is None else gravity
    for name, value in (("mass", mass_kg), ("density", density), ("gravity", local)):
        if not isfinite(value):
            raise NotFinite(f"{name}: found {value}, expected a finite number")
        if value <= 0:
            raise NotPositive(f"{name}: found {value}, expected more than zero")
    relative_u_gravity = RELATIVE_U_STANDARD_GRAVITY if gravity is None else u_gravity / local
    newtons = mass_kg * local * (1 - AIR_DENSITY / density)
    return CheckWeightForce(newtons, newtons * hypot(u_mass_kg / mass_kg, relative_u_gravity))


def water_density(temperature_C: float) -> float:
    """Density of air-free water in kg/m3 at 0 to 40 degrees Celsius (Tanaka et al. 2001).

    Raises OutsideTheFormula.
    """
    if not 0 <= temperature_C <= 40:
        raise OutsideTheFormula(f"water: found {temperature_C} C, expected 0 to 40 C")
    t = temperature_C
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))

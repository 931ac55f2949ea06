"""What lies between the load and the line: turns round a bar, a pulley, a lever.

Capstan equation: Euler and Eytelwein, any mechanics handbook.
"""

from math import cos, exp, isfinite, pi, radians

from rigs.metrology.errors import NotFinite, NotPositive


def capstan_ratio(friction_coefficient: float, turns: float) -> float:
    """Largest ratio of the tensions on both sides of a line laid `turns` round a fixed bar.

    exp(mu x 2 pi turns). Half a turn is a line led back over a fixed bar. Coefficients are
    plausibility figures, never measured ones: wet and finish change them.
    Raises NotFinite and NotPositive.
    """
    if not (isfinite(friction_coefficient) and isfinite(turns)):
        raise NotFinite(f"found friction {friction_coefficient}, turns {turns}, expected numbers")
    if friction_coefficient < 0 or turns < 0:
        raise NotPositive(
            f"found friction {friction_coefficient}, turns {turns}, expected neither below zero"
        )
    return exp(friction_coefficient * 2 * pi * turns)


def lever_force(weight_N: float, arm_ratio: float, tilt_deg: float = 0.0) -> float:
    """Force on the line from a weight on a lever, arm of load over arm of line, tilted.

    Raises NotPositive for a ratio that is not above zero.
    """
    if not arm_ratio > 0:
        raise NotPositive(f"arm ratio: found {arm_ratio}, expected more than zero")
    return arm_ratio * weight_N * cos(radians(tilt_deg))

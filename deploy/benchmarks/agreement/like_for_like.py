"""What a baseline and a join must have alike, and what it costs where they have not.

Length: weakest link (Peirce 1926; Weibull 1939). Rate: Meredith 1953, in Morton and Hearle,
Physical Properties of Textile Fibres. Zero error: the ratio of two readings on one line.
"""

from math import exp, isfinite, log, log10

from rigs.metrology.errors import NotFinite, NotPositive

RATE_COEFFICIENT = 0.08
"""Share of strength lost in a tenfold longer time to break, nylon and rayons: 0.06 to 0.10."""


def length_ratio(cv: float, length: float, other_length: float) -> float:
    """Strength of a free length over that of another length, by the weakest link.

    Weibull of shape 1.2/cv: (length/other)^(-1/shape). Raises NotPositive and NotFinite.
    """
    _check_positive(cv=cv, length=length, other_length=other_length)
    return exp(cv / 1.2 * log(other_length / length))


def rate_ratio(seconds: float, other_seconds: float, k: float = RATE_COEFFICIENT) -> float:
    """Strength at one time to break over that at another: 1 - k log10(seconds/other).

    Raises NotPositive and NotFinite.
    """
    _check_positive(seconds=seconds, other_seconds=other_seconds)
    return 1 - k * log10(seconds / other_seconds)


def efficiency_as_read(joined_N: float, straight_N: float, zero_error_N: float) -> float:
    """Ratio of the readings where the scale shows `zero_error_N` too much, as a load.

    (J + o)/(B + o), o = offset/gain: a gain cancels, a zero error does not. Raises NotPositive.
    """
    _check_positive(
        joined=joined_N, straight=straight_N, straight_as_read=straight_N + zero_error_N
    )
    return (joined_N + zero_error_N) / (straight_N + zero_error_N)


def _check_positive(**quantities: float) -> None:
    for name, value in quantities.items():
        if not isfinite(value):
            raise NotFinite(f"{name}: found {value}, expected a finite number")
        if value <= 0:
            raise NotPositive(f"{name}: found {value}, expected more than zero")

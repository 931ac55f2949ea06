"""Quantities in public: only what reads as one, and no finer than gives nothing away."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

from rigs.metrology.units import (
    FORCE_UNITS,
    UnitError,
    parse_force,
    parse_length,
    parse_mass,
)

FIGURES = 2


@lru_cache(maxsize=10_000)
def is_quantity(written: str) -> bool:
    """Whether a text is nothing but a number, a unit of force, or a force, mass or length."""
    if not written or written in FORCE_UNITS:
        return True
    return any(
        _parsed(parse, written) for parse in (_number, parse_force, parse_mass, parse_length)
    )


def to_two_figures(value: float | None) -> float | None:
    """Rounded to two significant figures, as JCGM 100:2008, 7.2.6 has it of uncertainties."""
    if value is None or value == 0 or not math.isfinite(value):
        return value
    return round(value, FIGURES - 1 - math.floor(math.log10(abs(value))))


def _number(written: str) -> float:
    return float(written.replace(",", "."))


def _parsed(parse: Callable[[str], object], written: str) -> bool:
    try:
        parse(written)
    except (UnitError, ValueError, OverflowError):
        return False
    return True

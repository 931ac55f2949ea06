"""Forces, masses, lengths and volumes as people write them, in newtons, kilograms and metres.

A *reading* in kg, lb or oz is a force: a scale's kilogram is a kilogram-force at standard
gravity, 9.80665 m/s2 (CGPM 1901), and its pound the international avoirdupois pound of
0.45359237 kg (1959) at the same gravity. A *mass* in kg, lb or oz is a mass.

Factors come from Pint once, at import; converting a column of readings is one multiplication
by `FORCE_UNITS[force_unit(text)]`.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

import pint

from rigs.metrology.errors import MetrologyError

_registry: pint.UnitRegistry[float] = pint.UnitRegistry()


def _factors(names: Mapping[str, str], base: str) -> dict[str, float]:
    return {
        symbol: float(_registry.Quantity(1.0, name).to(base).magnitude)
        for symbol, name in names.items()
    }


FORCE_UNITS: dict[str, float] = _factors(
    {
        "N": "newton",
        "kN": "kilonewton",
        "lbf": "pound_force",
        "kgf": "kilogram_force",
        "gf": "gram_force",
        "ozf": "ounce_force",
    },
    "newton",
)
"""Newtons in one of each force unit, by the unit's symbol."""

MASS_UNITS: dict[str, float] = _factors(
    {"kg": "kilogram", "g": "gram", "lb": "pound", "oz": "ounce"}, "kilogram"
)
"""Kilograms in one of each mass unit, by the unit's symbol."""

LENGTH_UNITS: dict[str, float] = _factors(
    {"m": "metre", "cm": "centimetre", "mm": "millimetre", "in": "inch", "ft": "foot"}, "metre"
)
"""Metres in one of each length unit, by the unit's symbol."""

VOLUME_UNITS: dict[str, float] = _factors({"l": "litre", "ml": "millilitre"}, "metre ** 3")
"""Cubic metres in one of each volume unit, by the unit's symbol."""

_FORCE_SPELLINGS = {
    "lb": "lbf", "lbs": "lbf", "pound": "lbf", "pounds": "lbf",
    "kg": "kgf", "kgs": "kgf", "kilo": "kgf", "kilos": "kgf", "kp": "kgf",
    "g": "gf", "oz": "ozf", "newton": "N", "newtons": "N",
}  # fmt: skip
_MASS_SPELLINGS = {
    "kgs": "kg", "kilo": "kg", "kilos": "kg", "gram": "g", "grams": "g",
    "lbs": "lb", "pound": "lb", "pounds": "lb", "ounce": "oz", "ounces": "oz",
}  # fmt: skip
_LENGTH_SPELLINGS = {
    "metre": "m", "metres": "m", "foot": "ft", "feet": "ft",
    "inch": "in", "inches": "in", '"': "in", "'": "ft",
}  # fmt: skip
_VOLUME_SPELLINGS = {
    "litre": "l", "litres": "l", "liter": "l", "liters": "l",
    "millilitre": "ml", "millilitres": "ml", "milliliter": "ml", "milliliters": "ml",
}  # fmt: skip

LONGEST_WRITTEN = 60
"""Characters of a quantity as people write it; longer text is not looked into."""

# Possessive quantifiers never try a shorter run, so that a miss costs one pass.
_WRITTEN = re.compile(
    r"""(?P<number> [+-]? (?: \d++ (?:[.,]\d*+)? | [.,]\d++ ) (?:e[+-]?\d++)? )
        \s*+ (?P<unit> [a-z"']*+ ) \.? (?: \s++ (?: test | of \s++ water ) )?""",
    re.VERBOSE | re.IGNORECASE,
)
_FRACTION = re.compile(
    r"(?:(?P<whole>\d{1,4})[ -])? ?(?P<above>\d{1,2})/(?P<below>2|3|4|5|8|16|32|64)"
)
_FRACTION_ALONE = re.compile(r"(\d++)\s*+/\s*+(\d++)")
_SIGN_OF_A_FRACTION = re.compile("[\u00bc-\u00be\u2153-\u215e]")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")


class UnitError(MetrologyError):
    """A quantity that can't be read: says what was found and what is expected."""

    def __init__(self, found: object, expected: str) -> None:
        self.found, self.expected = found, expected
        super().__init__(f"found {found!r}, expected {expected}")


@dataclass(frozen=True)
class Force:
    """A force as written (`value` in `unit`) and in newtons."""

    value: float
    unit: str
    newtons: float


@dataclass(frozen=True)
class Mass:
    """A mass as written (`value` in `unit`) and in kilograms."""

    value: float
    unit: str
    kilograms: float


@dataclass(frozen=True)
class Length:
    """A length as written (`value` in `unit`) and in metres."""

    value: float
    unit: str
    metres: float


@dataclass(frozen=True)
class Volume:
    """A volume as written (`value` in `unit`) and in cubic metres."""

    value: float
    unit: str
    cubic_metres: float


def _symbol(text: str, units: Mapping[str, float], spellings: Mapping[str, str]) -> str:
    written = text.strip().rstrip(".").casefold()
    for symbol in units:
        if written == symbol.casefold():
            return symbol
    if written in spellings:
        return spellings[written]
    raise UnitError(text, "a unit: " + ", ".join([*units, *spellings]))


def force_unit(text: str) -> str:
    """The symbol, a key of `FORCE_UNITS`, of a force unit in any accepted spelling.

    `lb`, `lbs`, `kg`, `g` and `oz` of a reading mean lbf, kgf, gf and ozf.
    Raises UnitError.
    """
    return _symbol(text, FORCE_UNITS, _FORCE_SPELLINGS)


def force_newtons(value: float, unit: str) -> float:
    """A reading of `value` in `unit` (any accepted spelling), in newtons. Raises UnitError."""
    if not math.isfinite(value):
        raise UnitError(value, "a finite number")
    return value * FORCE_UNITS[force_unit(unit)]


def parse_force(text: str, default_unit: str | None = None) -> Force:
    """A reading such as `15 lbf`, `7kg` or `66,7 N`; `default_unit` stands where none is written.

    kg, lb, oz of a reading are kgf, lbf, ozf: a scale's kilogram is a kilogram-force at standard
    gravity. Raises UnitError, also for a fraction alone: 15/16 on a sheet of readings is more
    often 15 or 16 than 0.9375.
    """
    alone = _FRACTION_ALONE.match(text.strip()) if len(text) <= LONGEST_WRITTEN else None
    if alone is not None:
        above, below = alone.groups()
        raise UnitError(
            text,
            f"one number, as in 15.5, 15 1/2 or 0.5: {above}/{below} can be {above} or {below} too",
        )
    value, written = _number_and_unit(text, default_unit, "15 lbf, 7 kg or 66.7 N")
    unit = force_unit(written)
    return Force(value, unit, value * FORCE_UNITS[unit])


def parse_mass(text: str, default_unit: str | None = None) -> Mass:
    """A mass such as `5 kg` or `2,5 lb`. Raises UnitError."""
    value, written = _number_and_unit(text, default_unit, "5 kg, 500 g or 2.5 lb")
    unit = _symbol(written, MASS_UNITS, _MASS_SPELLINGS)
    return Mass(value, unit, value * MASS_UNITS[unit])


def parse_length(text: str, default_unit: str | None = None) -> Length:
    """A length such as `0.35 mm`, `0,014 in` or `2 ft`. Raises UnitError."""
    value, written = _number_and_unit(text, default_unit, "0.35 mm, 1.2 m or 0.014 in")
    unit = _symbol(written, LENGTH_UNITS, _LENGTH_SPELLINGS)
    return Length(value, unit, value * LENGTH_UNITS[unit])


def parse_volume(text: str, default_unit: str | None = None) -> Volume:
    """A volume such as `5 l` or `500 ml`. Raises UnitError."""
    value, written = _number_and_unit(text, default_unit, "5 l or 500 ml")
    unit = _symbol(written, VOLUME_UNITS, _VOLUME_SPELLINGS)
    return Volume(value, unit, value * VOLUME_UNITS[unit])


def _in_decimals(text: str) -> str:
    """The text with a fraction at its beginning, as in `20 1/2 lb` or `20\u00bd`, in decimals."""
    spelt = _SIGN_OF_A_FRACTION.sub(
        lambda sign: " " + unicodedata.normalize("NFKC", sign[0]).replace("\u2044", "/"), text
    ).strip()
    found = _FRACTION.match(spelt)
    if found is None or int(found["above"]) >= int(found["below"]):
        return text
    value = int(found["whole"] or 0) + int(found["above"]) / int(found["below"])
    return f"{value!r}{spelt[found.end() :]}"


def _number_and_unit(text: str, default_unit: str | None, example: str) -> tuple[float, str]:
    short = len(text) <= LONGEST_WRITTEN
    match = _WRITTEN.fullmatch(_in_decimals(text.strip())) if short else None
    if match is None:
        if default_unit is None:
            raise UnitError(text, f"a number and its unit, as in {example}")
        bare = example.split(maxsplit=1)[0]
        raise UnitError(text, f"a number, with or without a unit, as in {bare} or {example}")
    number, unit = match["number"], match["unit"] or default_unit
    if unit is None:
        raise UnitError(text, f"a unit after the number, as in {example}")
    if _THOUSANDS.fullmatch(number):
        plain, point = number.replace(",", ""), number.replace(",", ".")
        raise UnitError(text, f"{plain} or {point}: a comma before three digits can mean either")
    value = float(number.replace(",", "."))
    if not math.isfinite(value):
        raise UnitError(text, "a finite number")
    return value, unit

"""Ours beside theirs: every expected figure of a reference file, and how many digits agree."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

DIGITS = 5
DIGITS_OF_A_SEARCH = 4
MOST_DIGITS = 15


@dataclass(frozen=True)
class Figure:
    """One expected figure; `ours` is None where nothing of ours goes by its name."""

    name: str
    ours: float | None
    theirs: Decimal

    @property
    def digits(self) -> int:
        """Digits to which the two agree, by their relative difference (absolute where 0)."""
        if self.ours is None or not math.isfinite(self.ours):
            return 0
        theirs = float(self.theirs)
        distance = abs(self.ours - theirs) / (abs(theirs) or 1.0)
        if distance == 0:
            return MOST_DIGITS
        return max(0, min(MOST_DIGITS, math.floor(-math.log10(distance))))

    @property
    def as_printed(self) -> bool:
        """Whether ours, rounded or cut to the digits of theirs, is theirs."""
        if self.ours is None or not math.isfinite(self.ours):
            return False
        exponent = int(self.theirs.as_tuple().exponent)
        return abs(self.ours - float(self.theirs)) < 10.0**exponent

    @property
    def wanted(self) -> int:
        return DIGITS_OF_A_SEARCH if "profile" in self.name.lower() else DIGITS

    @property
    def agrees(self) -> bool:
        return self.as_printed or self.digits >= self.wanted


def read(path: Path) -> dict[str, Any]:
    """A reference file, its numbers as they are printed. Raises ValueError where it is none."""
    document = json.loads(path.read_text(encoding="utf-8"), parse_float=Decimal, parse_int=Decimal)
    if not isinstance(document, dict):
        raise ValueError("a reference file is one JSON object with kind, data and expected")
    return document


def plain(value: Any) -> Any:
    """The same with ordinary numbers, for computing."""
    if isinstance(value, Decimal):
        return (
            int(value)
            if value == value.to_integral_value() and "." not in str(value)
            else float(value)
        )
    if isinstance(value, dict):
        return {name: plain(item) for name, item in value.items()}
    if isinstance(value, list):
        return [plain(item) for item in value]
    return value


def figures(expected: Any, ours: Any, name: str = "") -> Iterator[Figure]:
    """Every number of `expected` with the one of the same name or place in `ours`."""
    if isinstance(expected, Decimal):
        known = isinstance(ours, int | float) and not isinstance(ours, bool)
        yield Figure(name, float(ours) if known else None, expected)
    elif isinstance(expected, dict):
        for key, item in expected.items():
            mine = ours.get(key) if isinstance(ours, dict) else None
            yield from figures(item, mine, f"{name}.{key}" if name else key)
    elif isinstance(expected, list):
        for place, item in enumerate(expected):
            fits = isinstance(ours, list | tuple) and place < len(ours)
            yield from figures(item, ours[place] if fits else None, f"{name}[{place}]")

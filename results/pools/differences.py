"""Differences between two trees of figures: beyond rounding, and where one lacks a figure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

ROUNDING = 1e-12
"""Relative difference up to which two figures are the same."""
NOT_KNOWN = "not known"
"""The value of a figure that one of the two trees lacks."""


@dataclass(frozen=True)
class Unlike:
    """A figure by its path, once stored and once computed; either may be ``NOT_KNOWN``.

    ``relative`` is the difference over the larger of the two, None where they are no numbers.
    """

    path: str
    stored: Any
    again: Any
    relative: float | None = None

    @property
    def was_not_known(self) -> bool:
        """Whether the version was computed before there was this figure."""
        return self.stored is NOT_KNOWN

    @property
    def is_rounding(self) -> bool:
        """Whether both are the same number but for rounding."""
        return self.relative is not None and self.relative <= ROUNDING


def unlike(stored: Any, again: Any, path: str = "") -> Iterator[Unlike]:
    """Each figure that is not the same to the last bit in both trees of dicts and lists."""
    if isinstance(stored, dict) and isinstance(again, dict):
        for key in sorted(stored.keys() | again.keys()):
            inner = f"{path}.{key}" if path else str(key)
            if key not in stored or key not in again:
                yield Unlike(inner, stored.get(key, NOT_KNOWN), again.get(key, NOT_KNOWN))
            else:
                yield from unlike(stored[key], again[key], inner)
    elif isinstance(stored, list) and isinstance(again, list) and len(stored) == len(again):
        for number, pair in enumerate(zip(stored, again, strict=True)):
            yield from unlike(*pair, f"{path}[{number}]")
    elif stored != again:
        yield Unlike(path, stored, again, _relative(stored, again))


def _relative(one: Any, other: Any) -> float | None:
    if not isinstance(one, int | float) or not isinstance(other, int | float):
        return None
    return float(abs(one - other) / max(abs(one), abs(other)))


def same(stored: Any, again: Any) -> bool:
    """Whether both hold the same figures, up to rounding."""
    return all(each.is_rounding for each in unlike(stored, again))

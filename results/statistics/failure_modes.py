"""How a pull ended, and what its load then says about the join, the assembly and the line.

A load is *exact* for a thing when that thing gave way at that load, and *at least* (right-censored)
when something else gave way first.  A break at a grip is never dropped: the stronger of two joins
outlasts the grip more often, so dropping such pulls makes every strength look low (ISO 2307, 9.7.2,
counts a break outside the marks as a lower bound).  That slip is a failure of its own, at the
highest load before it, follows Klust (1982); that knotted line parts where it enters the knot,
Pieranski et al. (2001), New Journal of Physics 3:10.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from results.statistics.errors import StatisticsError


class UnknownFailureMode(StatisticsError):
    """A pull ended in a way that the table of failure modes does not list."""


class FailureMode(StrEnum):
    """What parted, or that nothing did."""

    JOIN = "join"
    SLIP = "slip"
    LINE = "line"
    GRIP = "grip"
    TERMINAL = "terminal"
    NONE = "none"
    VOID = "void"


@dataclass(frozen=True)
class Meaning:
    """Whether the pull counts, and for which of the three its load is a strength.

    ``exact_for_line`` is the straight line pulled as a baseline; where a counted pull is not exact
    its load is a lower bound.
    """

    counted: bool
    exact_for_assembly: bool
    exact_for_join: bool
    exact_for_line: bool


MEANING: Mapping[FailureMode, Meaning] = MappingProxyType(
    {
        FailureMode.JOIN: Meaning(True, True, True, False),
        FailureMode.SLIP: Meaning(True, True, True, False),
        FailureMode.LINE: Meaning(True, True, False, True),
        FailureMode.GRIP: Meaning(True, False, False, False),
        FailureMode.TERMINAL: Meaning(True, True, False, False),
        FailureMode.NONE: Meaning(True, False, False, False),
        FailureMode.VOID: Meaning(False, False, False, False),
    }
)
EXACT = frozenset(mode.value for mode, meaning in MEANING.items() if meaning.exact_for_assembly)
"""Endings at which the load is a strength of the assembly."""


def meanings(modes: Iterable[str]) -> list[Meaning]:
    """The meaning of each mode, in order; raises `UnknownFailureMode`."""
    found = []
    for row, mode in enumerate(modes):
        try:
            found.append(MEANING[FailureMode(mode)])
        except ValueError as error:
            known = ", ".join(FailureMode)
            message = f"pull {row}: failure mode {mode!r} is not one of {known}"
            raise UnknownFailureMode(message) from error
    return found


def counted(modes: Iterable[str]) -> NDArray[np.bool_]:
    """(n,) True where the pull counts at all: every mode but void."""
    return np.array([meaning.counted for meaning in meanings(modes)], dtype=bool)


def exact_for_assembly(modes: Iterable[str]) -> NDArray[np.bool_]:
    """(n,) True where the load is the strength of line, join and terminal together."""
    return np.array([meaning.exact_for_assembly for meaning in meanings(modes)], dtype=bool)


def exact_for_join(modes: Iterable[str]) -> NDArray[np.bool_]:
    """(n,) True where the load is the strength of the join itself."""
    return np.array([meaning.exact_for_join for meaning in meanings(modes)], dtype=bool)


def exact_for_line(modes: Iterable[str]) -> NDArray[np.bool_]:
    """(n,) True where the load is the strength of the straight line of a baseline."""
    return np.array([meaning.exact_for_line for meaning in meanings(modes)], dtype=bool)

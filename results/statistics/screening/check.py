"""What a check returns, and how far it may go."""

from dataclasses import dataclass, replace
from enum import IntEnum


class Level(IntEnum):
    """Nothing, shown to the contributor, or out of the pool until a person has looked."""

    NONE = 0
    MARK = 1
    HOLD = 2


@dataclass(frozen=True)
class Check:
    """One check of one thing: ``figure`` against ``threshold``, in the same unit.

    ``p`` is None for a check that stands by itself; its ``level`` is then final. With a p value
    the level is NONE until all of a submission are judged together, ``at_most`` is as far as it
    may then go, and holding also takes ``p <= alpha``.
    """

    name: str
    applies_to: str
    figure: float
    threshold: float
    p: float | None
    level: Level
    sentence: str
    source: str
    at_most: Level = Level.HOLD
    alpha: float = 0.01
    adjusted_p: float | None = None
    meant_unit: str = ""

    def at(self, level: Level, adjusted_p: float | None) -> "Check":
        """The same check once it has been judged."""
        return replace(self, level=min(level, self.at_most), adjusted_p=adjusted_p)

"""A row of the benchmark's table."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

Rng = np.random.Generator
Measured = Iterator[tuple[str, float]]


@dataclass(frozen=True)
class Row:
    """A promise and the world it is tried in.

    ``once`` draws one world, tries it, and gives its measures: 1 or 0 for kept or not, or a number,
    to be averaged over repeats. ``aims`` says of measures what their average ought to be.
    ``whole`` rows go all the way from readings to pool, in a throwaway store.
    """

    name: str
    case: str
    once: Callable[[Rng], Measured]
    aims: dict[str, str]
    whole: bool = False

    @property
    def key(self) -> str:
        """What its seeds and kept results go by."""
        return f"{self.name}: {self.case}"

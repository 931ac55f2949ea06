"""Loads of several sets of pulls, which lie one after the other."""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from results.statistics.errors import ShapeMismatch

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Rows = NDArray[np.intp]

LEAST_FAILURES = 3
"""Below this many failures no location and scale are estimated; common practice, no source."""


class Sets:
    """Loads and flags (n,) of several sets, one after the other, ``sizes`` (g,) of each."""

    def __init__(self, load: FloatArray, failed: BoolArray, sizes: Rows) -> None:
        if load.ndim != 1 or load.shape != failed.shape or sizes.sum() != load.size:
            raise ShapeMismatch(
                f"{load.shape} loads come with {failed.shape} flags for {int(sizes.sum())} rows"
            )
        self.load, self.failed, self.sizes = load, failed, sizes
        self.starts = np.cumsum(sizes) - sizes

    def only(self, kept: BoolArray) -> "Sets":
        rows = np.repeat(kept, self.sizes)
        return Sets(self.load[rows], self.failed[rows], self.sizes[kept])

    def rows_of(self, place: int) -> tuple[FloatArray, BoolArray]:
        rows = slice(self.starts[place], self.starts[place] + self.sizes[place])
        return self.load[rows], self.failed[rows]

    def each(self, of_set: FloatArray) -> FloatArray:
        """A value of each set (g,) for all of its rows (n,)."""
        return np.repeat(of_set, self.sizes)

    @cached_property
    def failures(self) -> Rows:
        return self._counted(self.failed)

    @cached_property
    def whole(self) -> BoolArray:
        """Sets of two and more loads, all of them exact."""
        return np.asarray(self._sound & (self.failures == self.sizes))

    @cached_property
    def censored(self) -> BoolArray:
        """Sets with a load that is only 'at least' and enough exact ones."""
        some = (self.failures < self.sizes) & (self.failures >= LEAST_FAILURES)
        return np.asarray(self._sound & some)

    @cached_property
    def _sound(self) -> BoolArray:
        usable = self._counted(np.isfinite(self.load) & (self.load > 0))
        return np.asarray((usable == self.sizes) & (self.sizes >= 2))

    def _counted(self, flags: BoolArray) -> Rows:
        before = np.concatenate(([0], np.cumsum(flags)))
        counts: Rows = before[self.starts + self.sizes] - before[self.starts]
        return counts

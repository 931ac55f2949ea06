"""Values in groups (testers, sessions) of unequal size: sizes, means, mean squares."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from results.statistics.errors import NotFinite, ShapeMismatch, TooFewPulls, TooFewTesters

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Groups:
    """n values in p groups; ``index`` (n,) points into ``labels`` (p,), in order of first sight.

    ``sizes``, ``means`` and ``variances`` are (p,); a group of one value has variance 0.
    """

    labels: tuple[str, ...]
    index: NDArray[np.intp]
    values: FloatArray
    sizes: NDArray[np.intp]
    means: FloatArray
    variances: FloatArray

    @property
    def count(self) -> int:
        return len(self.labels)

    @property
    def total(self) -> int:
        return self.values.size

    @property
    def freedom_within(self) -> int:
        return self.total - self.count

    def mean_squares(self) -> tuple[float, float]:
        """Mean squares between and within; raises `TooFewTesters`, `TooFewPulls`."""
        if self.count < 2:
            raise TooFewTesters(f"{self.count} group: at least 2 are needed to see them differ")
        if self.freedom_within < 1:
            raise TooFewPulls("no group has two values, so the scatter within cannot be seen")
        deviations = self.means - self.values.mean()
        between = float((self.sizes * deviations**2).sum()) / (self.count - 1)
        within = float(((self.sizes - 1) * self.variances).sum()) / self.freedom_within
        return between, within

    def effective_size(self) -> float:
        """n of equal groups that carry the same weight, (n - sum n_i^2/n)/(p - 1) (ISO 5725-2)."""
        n = float(self.total)
        return (n - float((self.sizes**2).sum()) / n) / (self.count - 1)


def grouped(values: ArrayLike, group: ArrayLike) -> Groups:
    """Values (n,) by group labels (n,); raises `ShapeMismatch`, `NotFinite`, `TooFewPulls`."""
    value, label = np.asarray(values, dtype=float), np.asarray(group).astype(str)
    if value.ndim != 1 or value.shape != label.shape:
        raise ShapeMismatch(f"{value.shape} values come with {label.shape} group labels")
    if value.size == 0:
        raise TooFewPulls("no values are given")
    if not np.isfinite(value).all():
        row = int(np.flatnonzero(~np.isfinite(value))[0])
        raise NotFinite(f"value {row} is {value[row]}, not a finite number")
    found, first, index = np.unique(label, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty_like(order)
    rank[order] = np.arange(order.size)
    index = rank[index]
    sizes = np.bincount(index)
    means = np.bincount(index, weights=value) / sizes
    squares = np.bincount(index, weights=(value - means[index]) ** 2)
    variances = squares / np.maximum(sizes - 1, 1)
    return Groups(tuple(found[order].tolist()), index, value, sizes, means, variances)

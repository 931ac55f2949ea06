"""Readings that are spaced too evenly: chance makes gaps uneven, people make them alike.

Greenwood (1946), JRSS A 109:85: the sum of squared gaps between ordered values, here after the
normal distribution function, is small where gaps are alike. Mean and scatter are estimated, and
readings are rounded to the scale, so the null distribution is drawn: normal readings of the same
number on a grid of the same coarseness, with a fixed random state.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from results.statistics.screening.check import Check, Level
from results.statistics.screening.repeats import scatter_in_steps

LEAST_PULLS, MOST_PULLS = 8, 40
"""Beyond forty pulls the figure tells the normal law from that of honest loads."""

DRAWS = 20_000
ALPHA = 0.001
SOURCE = "Greenwood (1946), by simulation on the scale's own grid"


def greenwood(steps: ArrayLike) -> NDArray[np.float64]:
    """Sum of squared gaps of each row of readings (..., n), times n + 1: about 2, 1 when even."""
    values = np.sort(np.asarray(steps, dtype=float), axis=-1)
    sd = np.maximum(values.std(axis=-1, ddof=1, keepdims=True), 12**-0.5)
    uniform = ndtr((values - values.mean(axis=-1, keepdims=True)) / sd)
    gaps = np.diff(uniform, axis=-1, prepend=0.0, append=1.0)
    return np.asarray((gaps**2).sum(axis=-1) * (values.shape[-1] + 1))


@lru_cache(maxsize=64)
def _null(n: int, scatter: float) -> NDArray[np.float64]:
    rng = np.random.default_rng(n)
    readings = rng.normal(0, scatter, (DRAWS, n)) + rng.uniform(-0.5, 0.5, (DRAWS, 1))
    return np.sort(greenwood(np.rint(readings)))


def even_spacing(applies_to: str, steps: ArrayLike, alpha: float = ALPHA) -> Check | None:
    """Whether readings in steps of the scale are spaced too evenly; None below eight
    pulls or above forty."""
    values = np.asarray(steps, dtype=float)
    if not LEAST_PULLS <= values.size <= MOST_PULLS:
        return None
    figure = float(greenwood(values))
    # A grid finer than a thirtieth of the scatter is as good as none: one null serves them all.
    coarseness = min(30.0, float(f"{scatter_in_steps(values):.1g}"))
    null = _null(values.size, coarseness)
    below = int(np.searchsorted(null, figure, side="right"))
    return Check(
        "too even spacing",
        applies_to,
        figure,
        float(np.quantile(null, alpha)),
        (below + 1) / (null.size + 1),
        Level.NONE,
        f"Put in order, the {values.size} readings lie as evenly as chance puts them in "
        f"{100 * (below + 1) / (null.size + 1):.2g} of 100 cases.",
        SOURCE,
        alpha=alpha,
    )

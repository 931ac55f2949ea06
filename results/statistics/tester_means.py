"""What each tester's own sets say, before any of it is shrunken towards the pool.

The generalised least-squares mean of a tester's log efficiencies, given the scatter between
sessions and sets that the pool estimated (Harville 1977, J. American Statistical Association
72:320-338); the tester's own distance from the pool is left in.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

from results.statistics.pool_fit import nested_errors

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class MeansByTester:
    """One mean a tester on the log scale with its 95 percent interval, each array (T,)."""

    tester: NDArray[np.int64]
    mean: Floats
    low: Floats
    high: Floats


def means_by_tester(
    y: ArrayLike,
    own_variance: ArrayLike,
    shared_variance: ArrayLike,
    tester: ArrayLike,
    session: ArrayLike,
    baseline: ArrayLike,
    *,
    tau2_session: float,
    tau2_set: float,
    zero: ArrayLike = 0.0,
    scale: ArrayLike = 0,
) -> MeansByTester:
    """Mean log efficiency of each tester, from k sets as `pool` takes them, all arguments (k,).

    The interval takes the two variance components as known. Raises as `pool` does.
    """
    model, centre = nested_errors(
        y, own_variance, shared_variance, tester, session, baseline, zero=zero, scale=scale
    )
    cross = model.by_tester(np.array([0.0, tau2_session, tau2_set])).cross
    precision = cross[:, 0, 0]
    mean = centre + cross[:, 0, 1] / precision
    reach = norm.ppf(0.975) / np.sqrt(precision)
    return MeansByTester(model.nesting.testers, mean, mean - reach, mean + reach)

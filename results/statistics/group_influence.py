"""The pool without the sets of each of several groups, which need not be those of one tester."""

import numpy as np
from numpy.typing import NDArray

from results.statistics.components import likelihood_at
from results.statistics.errors import ShapeMismatch
from results.statistics.pool_fit import PoolFit

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]


def without_groups(fit: PoolFit, groups: Booleans) -> tuple[Floats, Floats]:
    """mu and its model standard error (n,) without the sets of each of n `groups` (n, k).

    At the variance components of the whole pool. Not a number where nothing is left. Raises
    ShapeMismatch.
    """
    if groups.ndim != 2 or groups.shape[1] != fit.model.sets:
        raise ShapeMismatch(f"groups of {groups.shape} do not divide {fit.model.sets} sets")
    mu, variance = np.full(groups.shape[0], np.nan), np.full(groups.shape[0], np.nan)
    for at, group in enumerate(groups):
        if group.all():
            continue
        (there,) = likelihood_at(fit.model.some(~group))(fit.best.theta[None])
        mu[at], variance[at] = fit.centre + there.beta[0], there.covariance[0, 0]
    return mu, np.sqrt(variance)

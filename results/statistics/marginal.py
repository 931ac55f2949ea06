"""Marginal covariance blocks of testers, those of equal size stacked."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import SESSION, SET, TESTER
from results.statistics.nested_errors import NestedErrors

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]


def rows_by_size(cluster: Rows) -> Iterator[Rows]:
    """Row numbers (c, n) of the c clusters of n rows, one stack for each n."""
    order = np.argsort(cluster, kind="stable")
    sizes = np.bincount(cluster)
    starts = np.cumsum(sizes) - sizes
    for size in np.unique(sizes):
        yield order[starts[sizes == size][:, None] + np.arange(size)]


def marginal_blocks(model: NestedErrors, theta: Floats) -> Iterator[tuple[Rows, Floats]]:
    """Rows (c, n) and M = V + s2_tester 11' + s2_session ZZ' + s2_set I (c, n, n) of testers."""
    baseline = model.nesting.baseline_of_set
    session = model.nesting.session_of_set
    for rows in rows_by_size(model.nesting.tester_of_set):
        same_baseline = baseline[rows][:, :, None] == baseline[rows][:, None, :]
        same_session = session[rows][:, :, None] == session[rows][:, None, :]
        shared = model.shared_variance[baseline[rows]][:, :, None]
        marginal = theta[TESTER] + theta[SESSION] * same_session + shared * same_baseline
        diagonal = np.arange(rows.shape[1])
        marginal[:, diagonal, diagonal] += model.own_variance[rows] + theta[SET]
        yield rows, marginal

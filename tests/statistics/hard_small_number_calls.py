"""How the functions for few testers, and of a round, are called with the hard inputs."""

from collections.abc import Callable

import numpy as np

from results.statistics import (
    grids,
    heavy_tails,
    joint_means,
    kurtosis,
    own_strengths,
    shrinking,
    weibull_pulls,
)
from tests.statistics.hard_arguments import (
    FITS,
    Calls,
    _correlation,
    _shrunken,
    _steadied,
    over,
)
from tests.statistics.hard_inputs import CVS, FREEDOM, LOADS, LOGS, POSITIVE, SHARES, VALUES
from tests.statistics.hard_round_calls import ROUND_CALLS


def _own_strengths(loads: tuple, cv: float, weibull: float) -> object:
    """All pulls of one set, beside straight line of their own scatter at 100 N."""
    load_N, at_least = (np.asarray(each) for each in loads)
    line = own_strengths.Straight(*(np.array([each]) for each in (100.0, cv, cv / 2, 4.0)))
    return own_strengths.own_strengths(
        load_N,
        ~at_least.astype(bool),
        np.zeros(load_N.size, dtype=int),
        line,
        own_strengths.Scatter(cv, 7, weibull),
    )


def _fall(step: float, width: float) -> tuple[np.ndarray, np.ndarray]:
    """A density that falls by a factor of e in so many points."""
    points = np.arange(5.0)[None]
    return step * points, np.exp(-points / width)


def _quantiles_of_a_fall(step: float, width: float) -> object:
    return grids.quantiles_on_grid(*_fall(step, width), (0.025, 0.975))


SMALL_NUMBER_CALLS: dict[str, Callable[[], Calls]] = {
    "joint_means.scores_by_tester": over(joint_means.scores_by_tester, FITS),
    "joint_means.correlation_of_means": over(_correlation, FITS, FITS[::3]),
    "joint_means.steadied": over(_steadied, CVS, CVS, FREEDOM),
    "grids.quantiles_on_grid": over(_quantiles_of_a_fall, POSITIVE, POSITIVE),
    "grids.where_dense": over(
        lambda step, width: grids.where_dense(*_fall(step, width)), POSITIVE, POSITIVE
    ),
    "heavy_tails.mean_by_heavy_tails": over(heavy_tails.mean_by_heavy_tails, FITS),
    "kurtosis.widening": over(kurtosis.widening, VALUES),
    "own_strengths.own_strengths": over(_own_strengths, LOADS[::3], CVS, (0.0, 0.4, 1.0)),
    "shrinking.likely_variances": over(shrinking.likely_variances, FITS),
    "shrinking.shrunken_value": over(_shrunken, FITS, LOGS[::2], CVS[::2]),
    "weibull_pulls.scale_of": over(weibull_pulls.scale_of, CVS),
    "weibull_pulls.weibull_quantile": over(
        lambda variance, cv, share: weibull_pulls.weibull_quantile(
            np.array([-0.2]), np.array([variance]), cv, share
        ),
        (0.0, *CVS), CVS, SHARES,
    ),
    **ROUND_CALLS,
}  # fmt: skip

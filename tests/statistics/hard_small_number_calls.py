"""How the functions for few testers are called with the hard inputs."""

from collections.abc import Callable

import numpy as np

from results.statistics import joint_means, shrinking, weibull_pulls
from tests.statistics.hard_arguments import (
    FITS,
    Calls,
    _correlation,
    _shrunken,
    _steadied,
    over,
)
from tests.statistics.hard_inputs import CVS, FREEDOM, LOGS, SHARES

SMALL_NUMBER_CALLS: dict[str, Callable[[], Calls]] = {
    "joint_means.scores_by_tester": over(joint_means.scores_by_tester, FITS),
    "joint_means.correlation_of_means": over(_correlation, FITS, FITS[::3]),
    "joint_means.steadied": over(_steadied, CVS, CVS, FREEDOM),
    "shrinking.likely_variances": over(shrinking.likely_variances, FITS),
    "shrinking.shrunken_value": over(_shrunken, FITS, LOGS[::2], CVS[::2]),
    "weibull_pulls.scale_of": over(weibull_pulls.scale_of, CVS),
    "weibull_pulls.weibull_quantile": over(
        lambda variance, cv, share: weibull_pulls.weibull_quantile(
            np.array([-0.2]), np.array([variance]), cv, share
        ),
        (0.0, *CVS), CVS, SHARES,
    ),
}  # fmt: skip

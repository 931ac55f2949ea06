"""How many pulls or sessions tell a difference of x, and what difference a number of pulls tells.

Power of Student's t by the noncentral t distribution (Cohen 1988, Statistical Power Analysis;
Harrison & Brady 2004, The Stata Journal 4:142 for unequal groups).  Differences are fractions of
the efficiency (0.05 for 5 percent), scatters are coefficients of variation, so that their quotient
is the standardised difference.  Two-sided tests.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr
from scipy.stats import nct
from scipy.stats import t as student

from results.statistics.errors import NotFinite, NotPositive, StatisticsError, TooFewTesters
from results.statistics.roots import root_beyond

ALPHA = 0.05
FAR = 6.0  # standard errors from which a significant result of the wrong sign is one in 1e9
MOST_PULLS = 100_000
MOST_SESSIONS = 10_000


class BeyondReach(StatisticsError):
    """No feasible number of pulls or sessions tells the difference asked for."""


def _need_positive(**figures: float) -> None:
    for name, value in figures.items():
        words = name.replace("_", " ")
        if not np.isfinite(value):
            raise NotFinite(f"{words} is missing or not a finite number")
        if value <= 0:
            raise NotPositive(f"{words} must be above zero, got {value:g}")


def _check_power(power: float) -> None:
    if not ALPHA < power < 1.0:
        raise NotPositive(f"power must lie between {ALPHA} and 1, got {power:g}")


def power_of_t(difference: float, standard_error: float, degrees_of_freedom: float) -> float:
    """Probability that a two-sided 5 percent t test finds ``difference`` at this standard error."""
    critical = float(student.ppf(1.0 - ALPHA / 2.0, degrees_of_freedom))
    shift = abs(difference) / standard_error
    found = 1.0 - _below(critical, degrees_of_freedom, shift)
    if shift > FAR:
        return found
    return found + _below(-critical, degrees_of_freedom, shift)


def _below(point: float, degrees_of_freedom: float, shift: float) -> float:
    """Noncentral t distribution; where its series gives out, the normal one that it nears.

    Abramowitz & Stegun (1964), Handbook of Mathematical Functions, 26.7.10.
    """
    found = float(nct.cdf(point, degrees_of_freedom, shift))
    if np.isfinite(found):
        return found
    spread = np.sqrt(1.0 + point**2 / (2.0 * degrees_of_freedom))
    return float(ndtr((point * (1.0 - 1.0 / (4.0 * degrees_of_freedom)) - shift) / spread))


def pulls_for_difference(difference: float, cv: float, power: float = 0.8) -> int:
    """Pulls of each of two joins that tell ``difference`` at scatter ``cv`` with ``power``.

    Raises `BeyondReach` above 100 000 pulls.
    """
    _need_positive(difference=difference, scatter=cv)
    _check_power(power)

    def enough(pulls: int) -> bool:
        return power_of_t(difference, cv * np.sqrt(2.0 / pulls), 2.0 * pulls - 2.0) >= power

    return _least(enough, 2, MOST_PULLS, "pulls")


def difference_detectable_by_pulls(pulls: int, cv: float, power: float = 0.8) -> float:
    """Least difference that ``pulls`` of each of two joins tell with ``power``."""
    _need_positive(scatter=cv, pulls_less_one=pulls - 1.0)
    _check_power(power)
    return _detectable_difference(cv * np.sqrt(2.0 / pulls), 2.0 * pulls - 2.0, power)


def _detectable_difference(standard_error: float, degrees_of_freedom: float, power: float) -> float:
    def short(shift: float) -> float:
        return power_of_t(shift, 1.0, degrees_of_freedom) - power

    return root_beyond(lambda shift: -short(shift), 0.0, 4.0) * standard_error


def _least(enough: Callable[[int], bool], low: int, most: int, of: str) -> int:
    """Smallest count that is enough: doubling, then bisection; ``enough`` is monotone."""
    high = low
    while not enough(high):
        if high >= most:
            raise BeyondReach(f"not even {most} {of} tell this difference at this scatter")
        low, high = high + 1, min(2 * high, most)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle + 1, high)
    return low


@dataclass(frozen=True)
class SessionPlan:
    """How a session of one's own is pulled, and the scatters it will meet (fractions).

    ``session_sd`` is the scatter of log ratios from session to session beyond the pulls'.
    """

    pulls: int
    baseline_pulls: int
    cv_join: float
    cv_baseline: float
    session_sd: float

    def __post_init__(self) -> None:
        _need_positive(
            pulls=self.pulls,
            baseline_pulls=self.baseline_pulls,
            join_scatter=self.cv_join,
            baseline_scatter=self.cv_baseline,
        )
        if not self.session_sd >= 0:
            raise NotPositive(f"session scatter must be zero or more, got {self.session_sd:g}")

    def variance(self, sessions: int) -> float:
        """Variance of the mean log ratio of so many sessions."""
        of_pulls = self.cv_join**2 / self.pulls + self.cv_baseline**2 / self.baseline_pulls
        return (self.session_sd**2 + of_pulls) / sessions


def power_against_pool(
    difference: float, plan: SessionPlan, sessions: int, pool_se: float, pool_freedom: float
) -> float:
    """Power to tell one's own efficiency from the pool's without oneself.

    The pool's standard error stays however many sessions one adds; degrees of freedom as in
    `comparison.compare`.
    """
    variance = plan.variance(sessions) + pool_se**2
    freedom = pool_freedom * (variance / pool_se**2) ** 2
    return power_of_t(difference, float(np.sqrt(variance)), freedom)


def sessions_for_difference(
    difference: float,
    plan: SessionPlan,
    pool_se: float,
    pool_freedom: float,
    power: float = 0.8,
) -> int:
    """Sessions of one's own, in all, that tell ``difference`` from the pool with ``power``.

    Raises `BeyondReach` where the pool itself is too uncertain, naming the difference that it lets
    anybody tell.
    """
    _need_positive(difference=difference, pool_standard_error=pool_se, pool_freedom=pool_freedom)
    _check_power(power)
    limit = _detectable_difference(pool_se, pool_freedom, power)
    if difference <= limit:
        raise BeyondReach(
            f"with the pool known to {pool_se:.3g} no number of own sessions tells a difference "
            f"below {limit:.3g}: other testers' sets are needed"
        )
    return _least(
        lambda sessions: (
            power_against_pool(difference, plan, sessions, pool_se, pool_freedom) >= power
        ),
        1,
        MOST_SESSIONS,
        "sessions",
    )


def difference_detectable_by_sessions(
    sessions: int, plan: SessionPlan, pool_se: float, pool_freedom: float, power: float = 0.8
) -> float:
    """Least difference from the pool that so many own sessions tell with ``power``."""
    _need_positive(sessions=sessions, pool_standard_error=pool_se, pool_freedom=pool_freedom)
    _check_power(power)
    variance = plan.variance(sessions) + pool_se**2
    freedom = pool_freedom * (variance / pool_se**2) ** 2
    return _detectable_difference(float(np.sqrt(variance)), freedom, power)


def pairs_for_difference(difference: float, sd: float, power: float = 0.8) -> int:
    """Paired differences of scatter ``sd`` that show a ``difference`` in their mean; at least 3.

    Power of the paired t test (Cohen 1988, Statistical Power Analysis, ch. 2). Raises `BeyondReach`
    above 10 000.
    """
    _need_positive(difference=difference, scatter=sd)
    _check_power(power)

    def enough(pairs: int) -> bool:
        return power_of_t(difference, sd / np.sqrt(pairs), pairs - 1.0) >= power

    return _least(enough, 3, MOST_SESSIONS, "pairs")


def narrowing_by_a_tester(testers: int) -> float:
    """The part by which one more tester is expected to narrow the interval of a pool's mean.

    The half-width of a mean of m testers goes with t(0.975, m - 1) / sqrt(m) (Student 1908).
    Raises TooFewTesters below two.
    """
    if testers < 2:
        raise TooFewTesters(f"{testers} testers have no interval; two are the least")
    now, then = (student.ppf(1 - ALPHA / 2, m - 1) / np.sqrt(m) for m in (testers, testers + 1))
    return float(1 - then / now)

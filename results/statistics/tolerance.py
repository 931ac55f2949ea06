"""Lower bounds for single pulls, and for shares of pulls.

One-sided tolerance factors are exact by the noncentral t distribution (ISO 16269-6; NIST/SEMATECH
e-Handbook 7.2.6.3).  The bound for testers with several pulls each is that of CMH-17-1G, 8.3.7 (Mee
& Owen 1983, JASA 78:901; Vangel 1992).  The bound of a share is Clopper & Pearson's (1934).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import beta, nct, norm

from results.statistics.errors import NoScatter, StatisticsError, TooFewPulls
from results.statistics.groups import grouped

NINE_IN_TEN, CONFIDENCE = 0.9, 0.95
"""The share of ties of which is said what they hold, of a set and of a pool, and how surely."""


class NotAProportion(StatisticsError):
    """A share, coverage or confidence lies outside what it can be."""


def _check_share(name: str, share: float) -> None:
    if not 0.0 < share < 1.0:
        raise NotAProportion(f"{name} must lie between 0 and 1, got {share:g}")


def one_sided_factor(n: float, coverage: float, confidence: float) -> float:
    """k such that mean - k sd of n normal values is below ``coverage`` of all with ``confidence``.

    k = t(confidence; n - 1, z_coverage sqrt n)/sqrt n.  Raises `TooFewPulls` below two values.
    """
    _check_share("coverage", coverage)
    _check_share("confidence", confidence)
    if n < 2:
        raise TooFewPulls(f"a tolerance factor needs at least 2 values, got {n:g}")
    noncentrality = float(norm.ppf(coverage)) * np.sqrt(n)
    return float(nct.ppf(confidence, n - 1, noncentrality) / np.sqrt(n))


@dataclass(frozen=True)
class NestedBound:
    """Lower bound for a new pull of a new group, with the handbook's intermediate figures."""

    bound: float
    mean: float
    mean_square_between: float
    mean_square_within: float
    n_prime: float
    sd: float
    factor: float


def nested_lower_bound(
    values: ArrayLike, group: ArrayLike, coverage: float, confidence: float
) -> NestedBound:
    """Bound below which at most 1 - ``coverage`` of new pulls fall, groups differing by chance.

    ``values`` (n,) and their ``group`` (n,), here the tester.  With S^2 = MSB/n' + MSE (n' - 1)/n',
    the factor lies between those for n values and for as many values as groups.  Raises
    `TooFewTesters` for one group, `TooFewPulls` where no group has two values, `NoScatter`.
    """
    cells = grouped(values, group)
    between, within = cells.mean_squares()
    if between + within <= 0:
        raise NoScatter("all values are the same, so no bound can be set below them")
    n, k = cells.total, cells.count
    n_prime = cells.effective_size()
    sd = np.sqrt(between / n_prime + (n_prime - 1.0) / n_prime * within)
    raised = max(between, within)
    between_share = raised / (raised + (n_prime - 1.0) * within)
    factor = _nested_factor(n, k, n_prime, between_share, coverage, confidence)
    mean = float(cells.values.mean())
    return NestedBound(
        bound=float(mean - factor * sd),
        mean=mean,
        mean_square_between=between,
        mean_square_within=within,
        n_prime=n_prime,
        sd=float(sd),
        factor=factor,
    )


def _nested_factor(
    n: int, k: int, n_prime: float, between_share: float, coverage: float, confidence: float
) -> float:
    """T of the handbook, ``between_share`` being MSB/(MSB + (n' - 1) MSE) with MSB at least MSE."""
    of_values = one_sided_factor(n, coverage, confidence)
    of_groups = one_sided_factor(k, coverage, confidence)
    root = np.sqrt(n_prime)
    spread = (of_groups - of_values) * np.sqrt(between_share)
    return float((of_values - of_groups / root + spread) / (1.0 - 1.0 / root))


def proportion_lower_bound(successes: int, trials: int, confidence: float) -> float:
    """One-sided lower bound of the share behind ``successes`` of ``trials`` (Clopper & Pearson)."""
    _check_share("confidence", confidence)
    if trials < 1 or not 0 <= successes <= trials:
        raise NotAProportion(f"{successes} of {trials} is not a share")
    if successes == 0:
        return 0.0
    return float(beta.ppf(1.0 - confidence, successes, trials - successes + 1))


def proportion_upper_bound(successes: int, trials: int, confidence: float) -> float:
    """Upper bound of a share, as `proportion_lower_bound`."""
    return 1.0 - proportion_lower_bound(trials - successes, trials, confidence)

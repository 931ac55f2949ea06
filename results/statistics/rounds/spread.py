"""What differs between rigs, between hands, between sets and between blind repeats, as scatters.

The variance between participants is that of their levels less what measurement leaves them, and
its interval is MOVER's (Zou & Donner 2008, Statistics in Medicine 27:1693-1702) from intervals of
both. That of measurement is chi-square's. People are not drawn from a normal, so that of the levels
is Bonett's, which rests on the kurtosis seen (2006, Computational Statistics & Data Analysis
50:775-782). Of five or fewer none can be seen: there chi-square's stands on the degrees of freedom
that a kurtosis of 3.5 leaves (Shoemaker 2003, The American Statistician 57:105-114). Blind repeats
are a sample handed out twice under two codes: half the mean squared difference is their variance
(as s_w in ISO 13528:2022, annex B), with its chi-square interval.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri
from scipy.stats import trim_mean

from results.statistics.errors import NotPositive, TooExtreme, TooFewPulls, TooFewTesters
from results.statistics.rounds.effects import CONFIDENCE, Levels, SetMeans
from results.statistics.rounds.observations import Floats
from results.statistics.scatter import Component, variance_interval

FEWEST_WITH_A_KURTOSIS = 6
KURTOSIS_OF_FEW = 3.5
"""Between a normal's 3 and a logistic's 4.2; taken so that three to five participants, normal or t
on 4 degrees of freedom, are covered in 93 to 97 of 100 rounds."""


@dataclass(frozen=True)
class Spread:
    """A scatter of ln load in percent with its 95 percent interval; 0 where none was seen."""

    percent: float
    low_percent: float
    high_percent: float


@dataclass(frozen=True)
class BlindRepeats:
    """Scatter of single sets from pairs of hidden duplicates, and what the pulls alone explain."""

    pairs: int
    seen: Spread
    by_pulls_percent: float


def between_participants(*signed: tuple[int, Levels]) -> Spread:
    """Scatter of true rigs, or hands, in a sum of +1 or -1 times levels; raises `NotPositive`."""
    people = sorted(set.intersection(*(set(one.participants) for _, one in signed)))
    value, measured = np.zeros(len(people)), []
    for sign, one in signed:
        pick = [one.participants.index(person) for person in people]
        value += sign * one.values[pick]
        measured.append((_mean_variance(one.covariance[np.ix_(pick, pick)]), float(one.freedom)))
    variance = sum(part for part, _ in measured)
    seen = float(value.var(ddof=1))
    if not (seen > 0 and variance > 0):
        raise NotPositive("all results agree to the last digit")
    freedom = variance**2 / sum(part**2 / df for part, df in measured)
    low, high = variance_interval_of(value)
    least, most = variance_interval(variance, freedom, CONFIDENCE)
    return _spread(
        Component(
            seen - variance,
            seen - variance - float(np.hypot(seen - low, most - variance)),
            seen - variance + float(np.hypot(high - seen, variance - least)),
        )
    )


def variance_interval_of(values: Floats) -> tuple[float, float]:
    """95 percent interval of the variance that values (n,) were drawn with, normal or not.

    Bonett's from six values on: with his kurtosis g about a trimmed mean and c = n/(n - z) it is
    c s^2 exp(-+ z c sqrt((g - (n - 3)/n)/(n - 1))). Raises `TooFewTesters` for fewer than two,
    `NotPositive` where they agree and `TooExtreme` where their squares can't be written down.
    """
    n = values.size
    if n < 2:
        raise TooFewTesters("a scatter takes two values or more")
    with np.errstate(over="ignore", invalid="ignore"):
        variance = float(values.var(ddof=1))
    if not np.isfinite(variance):
        raise TooExtreme("the values are too large to be squared")
    if variance <= 0:
        raise NotPositive("all values agree to the last digit")
    if n < FEWEST_WITH_A_KURTOSIS:
        freedom = 2.0 * n / (KURTOSIS_OF_FEW - (n - 3.0) / (n - 1.0))
        return variance_interval(variance, freedom, CONFIDENCE)
    z = float(ndtri(0.5 + CONFIDENCE / 2.0))
    centre = float(trim_mean(values, 0.5 / float(np.sqrt(n - 4.0))))
    # Scaled first, so that fourth powers of the smallest scatters don't vanish.
    away = (values - centre) / float(np.sqrt(variance))
    kurtosis = n * float((away**4).sum()) / (n - 1.0) ** 2
    c = n / (n - z)
    reach = z * c * float(np.sqrt(max(kurtosis - (n - 3.0) / n, 0.0) / (n - 1.0)))
    return c * variance * float(np.exp(-reach)), c * variance * float(np.exp(reach))


def _mean_variance(covariance: Floats) -> float:
    """What measurement adds to the variance of p levels: mean variance less mean covariance."""
    p = covariance.shape[0]
    return float((np.trace(covariance) - covariance.sum() / p) / (p - 1))


def _spread(component: Component) -> Spread:
    seen, low, high = (
        100.0 * float(np.sqrt(max(variance, 0.0)))
        for variance in (component.variance, component.low, component.high)
    )
    return Spread(seen, low, high)


def blind_repeats(first: SetMeans, second: SetMeans) -> BlindRepeats:
    """From sets (g,) and their hidden duplicates (g,), in the same order.

    Raises `TooFewPulls` for none, `NotPositive` where all pairs agree to the last digit.
    """
    difference = first.log_mean - second.log_mean
    if not difference.size:
        raise TooFewPulls("no participant pulled a sample and its hidden duplicate")
    variance = float((difference**2).mean()) / 2.0
    if variance <= 0:
        raise NotPositive("all hidden duplicates agree to the last digit")
    low, high = variance_interval(variance, difference.size, CONFIDENCE)
    by_pulls = float((first.variance + second.variance).mean()) / 2.0
    return BlindRepeats(
        difference.size,
        _spread(Component(variance, low, high)),
        100.0 * float(np.sqrt(by_pulls)),
    )

"""What differs between rigs, between hands, between sets and between blind repeats, as scatters.

The variance between participants is that of their levels less what measurement leaves them; its
interval is MOVER's from the chi-square intervals of both (`results.statistics.scatter`). It takes
effects as normal: where eight participants' come from t on 4 degrees of freedom it covers 90 in
100. Blind repeats are a sample handed out twice under two codes: half the mean squared difference
is their variance (as s_w in ISO 13528:2022, annex B), with its chi-square interval.
"""

from dataclasses import dataclass

import numpy as np

from results.statistics.errors import NotPositive, TooFewPulls
from results.statistics.rounds.effects import CONFIDENCE, Levels, SetMeans
from results.statistics.rounds.observations import Floats
from results.statistics.scatter import Component, Scatter, combine, variance_interval


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
    seen = float(value.std(ddof=1))
    if not (seen > 0 and variance > 0):
        raise NotPositive("all results agree to the last digit")
    freedom = variance**2 / sum(part**2 / df for part, df in measured)
    return _spread(
        combine(
            (1, Scatter(seen, len(people) - 1.0)),
            (-1, Scatter(float(np.sqrt(variance)), freedom)),
            confidence=CONFIDENCE,
        )
    )


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

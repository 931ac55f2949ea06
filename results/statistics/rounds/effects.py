"""How far each participant's rig, and hand, lie from the round's.

Centrally tied samples are alike for everybody, so what a participant reads differently of them is
the rig: y = sample + rig + error, y the mean ln load of one set of pulls. Own-tied samples are the
same with rig + hand in place of rig, and the hand is the difference of the two on one rig, from
which the rig cancels. Each layout is fitted by least squares with weights 1/(v + w2): v is what the
set's pulls leave, w2 what sets differ beyond it, by the moment equation Q = df (Paule & Mandel
1982, Journal of Research of the National Bureau of Standards 87:377-385). Errors rest on the
misfit between sets, with Student's t on its degrees of freedom (Hartung & Knapp 2001, Statistics in
Medicine 20:1771-1782); where there is one set each, on the scatter of pulls.

The round's value is Algorithm A's robust mean over participants, so that one rig far off doesn't
move everybody's figure. Two intervals follow. *In this round* has the errors of measurement alone:
it is about how far one is from these participants. The other takes in how well the round's value
stands for what any rigs, or hands, would give, by the variance of Huber's M-estimator (Huber &
Ronchetti 2009, Robust Statistics, chapter 6), and rests on nothing that all participants share
being wrong. Degrees of freedom are combined after Satterthwaite (1946). Effects are not shrunk.
"""

from dataclasses import dataclass

import numpy as np

from results.statistics.errors import (
    Disconnected,
    NoScatter,
    NotEstimable,
    TooFewPulls,
    TooFewTesters,
)
from results.statistics.linear import inverse
from results.statistics.quantiles import t_quantile
from results.statistics.robust import CLIP_AT_SDS, algorithm_a
from results.statistics.roots import root_beyond
from results.statistics.rounds.observations import Floats, Ids

LEAST_PARTICIPANTS = 3
CONFIDENCE = 0.95


@dataclass(frozen=True)
class SetMeans:
    """Mean ln load of k sets: who, which material, the mean, and the variance its pulls leave it.

    ``freedom`` are the degrees of freedom of that variance.
    """

    participant: Ids
    material: Ids
    log_mean: Floats
    variance: Floats
    freedom: int


@dataclass(frozen=True)
class Levels:
    """Participants' levels (p,), known up to one constant, and their covariance (p, p).

    ``own_variance`` (p,) is a level's if the samples were known; ``between_sets`` is w2.
    """

    participants: tuple[int, ...]
    values: Floats
    covariance: Floats
    own_variance: Floats
    freedom: int
    between_sets: float
    from_sets: bool


@dataclass(frozen=True)
class Effect:
    """One participant's distance from the round's value, in percent, with 95 percent intervals.

    ``low_percent`` to ``high_percent`` is about any rigs or hands, the other about this round's
    participants. ``clear`` is whether the former leaves zero out.
    """

    participant: int
    percent: float
    low_percent: float
    high_percent: float
    low_in_round_percent: float
    high_in_round_percent: float
    log_ratio: float
    standard_error: float
    degrees_of_freedom: float
    clear: bool


def levels(sets: SetMeans) -> Levels:
    """Each participant's level over the materials.

    Raises `TooFewTesters` below two participants, `Disconnected` where two share no chain of
    materials, `TooFewPulls` where no participant has two sets or two pulls of one, `NoScatter`
    where sets show no scatter at all, `NotEstimable`.
    """
    people, row = np.unique(sets.participant, return_inverse=True)
    materials, column = np.unique(sets.material, return_inverse=True)
    if people.size < 2:
        raise TooFewTesters(f"{people.size} participant: a comparison needs two")
    design = np.hstack((np.eye(people.size)[row], np.eye(materials.size)[column][:, 1:]))
    if np.linalg.matrix_rank(design) < design.shape[1]:
        raise Disconnected("two participants share no sample, not even by way of others")
    freedom = sets.log_mean.size - design.shape[1]
    if not freedom and not sets.freedom:
        raise TooFewPulls(
            "a single pull each says nothing of the error: two of a sample are needed"
        )
    between = _between_sets(sets, design, freedom) if freedom else 0.0
    weight = 1.0 / (sets.variance + between)
    beta, covariance, misfit = _fitted(sets.log_mean, design, weight)
    scale = misfit / freedom if freedom else 1.0
    if scale <= 0:
        raise NoScatter("sets of a sample agree to the last digit, so no error can be said")
    p = people.size
    return Levels(
        participants=tuple(people.tolist()),
        values=beta[:p],
        covariance=scale * covariance[:p, :p],
        own_variance=scale / np.bincount(row, weight),
        freedom=freedom or sets.freedom,
        between_sets=between,
        from_sets=freedom > 0,
    )


def _fitted(y: Floats, design: Floats, weight: Floats) -> tuple[Floats, Floats, float]:
    covariance = inverse(design.T @ (weight[:, None] * design))
    if not np.isfinite(covariance).all():
        raise NotEstimable("the sets' scatters are too unequal to compare participants")
    beta = covariance @ (design.T @ (weight * y))
    return beta, covariance, float(weight @ (y - design @ beta) ** 2)


def _between_sets(sets: SetMeans, design: Floats, freedom: int) -> float:
    def spare(between: float) -> float:
        return _fitted(sets.log_mean, design, 1.0 / (sets.variance + between))[2] - freedom

    if spare(0.0) <= 0:
        return 0.0
    return root_beyond(spare, 0.0, float(sets.variance.max()))


def effects(*signed: tuple[int, Levels]) -> tuple[Effect, ...]:
    """Each participant's distance from the round's value in a sum of +1 or -1 times levels.

    Over the participants that all of them have. Raises `TooFewTesters` below three.
    """
    people = sorted(set.intersection(*(set(one.participants) for _, one in signed)))
    if len(people) < LEAST_PARTICIPANTS:
        raise TooFewTesters(
            f"{len(people)} participants: fewer than three can't show whose rig or hand "
            "it is that differs"
        )
    picks = [[one.participants.index(person) for person in people] for _, one in signed]
    value = np.zeros(len(people))
    own = np.zeros(len(people))
    for (sign, one), pick in zip(signed, picks, strict=True):
        value += sign * one.values[pick]
        own += one.own_variance[pick]
    centre, share, variance_of_centre = _round_value(value)
    contrast = np.eye(len(people)) - share
    parts = [
        (np.einsum("ip,pq,iq->i", contrast, one.covariance[np.ix_(pick, pick)], contrast),
         float(one.freedom))
        for (_, one), pick in zip(signed, picks, strict=True)
    ]  # fmt: skip
    of_others = max(0.0, variance_of_centre - float(share**2 @ own))
    wide = [*parts, (np.full(len(people), of_others), len(people) - 1.0)]
    log_ratio = value - centre
    inner, _, _ = _half_widths(parts)
    outer, error, freedom = _half_widths(wide)
    return tuple(
        _effect(person, *row)
        for person, row in zip(
            people,
            np.stack((log_ratio, outer, inner, error, freedom)).T.tolist(),
            strict=True,
        )
    )


def _effect(
    person: int, log_ratio: float, outer: float, inner: float, error: float, freedom: float
) -> Effect:
    return Effect(
        participant=person,
        percent=percent(log_ratio),
        low_percent=percent(log_ratio - outer),
        high_percent=percent(log_ratio + outer),
        low_in_round_percent=percent(log_ratio - inner),
        high_in_round_percent=percent(log_ratio + inner),
        log_ratio=log_ratio,
        standard_error=error,
        degrees_of_freedom=freedom,
        clear=abs(log_ratio) > outer,
    )


def percent(log_ratio: float) -> float:
    """A log ratio as a difference in percent. Raises `NotEstimable` beyond all numbers."""
    with np.errstate(over="ignore"):
        found = 100.0 * float(np.expm1(log_ratio))
    if not np.isfinite(found):
        raise NotEstimable("the sets are so far apart that their ratio is beyond all numbers")
    return found


def _round_value(values: Floats) -> tuple[float, Floats, float]:
    """Robust mean of values (p,), each one's share in it (p,), and its variance."""
    p = values.size
    try:
        robust = algorithm_a(values)
    except NoScatter:
        return float(values.mean()), np.full(p, 1.0 / p), float(values.var(ddof=1)) / p
    reach = CLIP_AT_SDS * robust.sd
    inside = np.abs(values - robust.mean) < reach
    clipped = np.clip(values, robust.mean - reach, robust.mean + reach)
    inner_share = inside.mean()
    return (
        robust.mean,
        inside / inside.sum(),
        float(clipped.var(ddof=1)) / p / float(inner_share) ** 2,
    )


def _half_widths(parts: list[tuple[Floats, float]]) -> tuple[Floats, Floats, Floats]:
    """Half the interval of a sum of independent errors, its standard error and its freedom."""
    variance = sum(part for part, _ in parts)
    freedom = variance**2 / sum(part**2 / df for part, df in parts)
    error = np.sqrt(variance)
    return t_quantile(0.5 + CONFIDENCE / 2, freedom) * error, error, np.asarray(freedom)

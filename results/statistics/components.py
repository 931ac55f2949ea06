"""Maximum of the restricted likelihood over non-negative variance components.

Newton's method on the observed information where that is positive definite, otherwise on the
average information (Gilmour, Thompson & Cullis 1995), with step halving. A component whose
score at zero is not positive stays at zero while the others move: the maximum on the boundary,
not an interior point cut off.
"""

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import ErrorModel
from results.statistics.errors import NoConvergence, NotEstimable, StatisticsError
from results.statistics.linear import inverse_and_log_determinant, solve_positive
from results.statistics.restricted_likelihood import RestrictedLikelihood, restricted_likelihoods

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
Found = TypeVar("Found")
At: TypeAlias = Callable[[Floats], list[RestrictedLikelihood]]
"""The likelihood at each of several thetas (g, 3)."""
Search: TypeAlias = Generator[Floats, RestrictedLikelihood, Found]
"""Asks for the likelihood at one theta after another, and returns what it found."""

STEPS = 200
HALVINGS = 60
ROUNDING = 1e-8  # of a log-likelihood of up to 1e5; below it only the score can tell
CLOSE = 1e-9  # squared length of a Newton step in standard errors; the step taken then squares it
POLISHED = 1e-20  # the same, after which the next step would be rounding noise
POLISHINGS = 12
NEAR = 1e-4  # squared length in standard errors, where the likelihood's own rounding ends a climb


@dataclass(frozen=True)
class Maximum:
    """theta = (s2_tester, s2_session, s2_set) and the likelihood there."""

    theta: Floats
    likelihood: RestrictedLikelihood


def likelihood_at(model: ErrorModel) -> At:
    """The restricted likelihood of a model as a function of theta."""
    _, determinant = inverse_and_log_determinant(model.design.T @ model.design)
    sets = np.asarray(model.sets)
    return lambda theta: restricted_likelihoods(model.totals(theta), sets, determinant)


def given(found: Found | StatisticsError) -> Found:
    """What a search found; raises the error that it ended with instead."""
    if isinstance(found, StatisticsError):
        raise found
    return found


def search(at: At, *searches: Search[Found]) -> list[Found | StatisticsError]:
    """What each of the searches finds, all of them going on in step: one call of `at` a round.

    A search that ends with a StatisticsError finds that.
    """
    return search_each(lambda theta, _: at(theta), searches)


def search_each(
    at: Callable[[Floats, Sequence[int]], list[RestrictedLikelihood]],
    searches: Sequence[Search[Found]],
) -> list[Found | StatisticsError]:
    """As `search`, where `at` also gets the places of the searches that ask."""
    found: dict[int, Found | StatisticsError] = {}
    answers: dict[int, RestrictedLikelihood | None] = dict.fromkeys(range(len(searches)))
    while answers:
        asked: dict[int, Floats] = {}
        for place, answer in answers.items():
            try:
                going = searches[place]
                asked[place] = next(going) if answer is None else going.send(answer)
            except StopIteration as end:
                found[place] = end.value
            except StatisticsError as error:
                found[place] = error
        shown = at(np.stack([*asked.values()]), [*asked]) if asked else []
        answers = dict(zip(asked, shown, strict=True))
    return [found[place] for place in range(len(searches))]


def along(at: At, directions: Floats) -> At:
    """The likelihood over weights phi (g, q), theta = phi @ directions, directions (q, 3)."""

    def there(phi: Floats) -> list[RestrictedLikelihood]:
        return [
            replace(
                found,
                score=directions @ found.score,
                observed=directions @ found.observed @ directions.T,
                average=directions @ found.average @ directions.T,
                misfit_slope=directions @ found.misfit_slope,
            )
            for found in at(phi @ directions)
        ]

    return there


def maximise(at: At, start: Floats, fitted: Booleans) -> Maximum:
    """Climb from `start` over the `fitted` components, the others held where they are.

    Raises NoConvergence where no maximum is found, NotEstimable where the likelihood is not a
    number.
    """
    (found,) = search(at, to_the_top(start, fitted))
    return given(found)


def to_the_top(start: Floats, fitted: Booleans) -> Search[Maximum]:
    """The search of `maximise`: climbs, and then takes Newton steps until these are noise.

    So equal data give equal components whatever the machine adds up in which order.
    """
    found = yield from climbing(start, fitted)
    theta, here, before = found.theta, found.likelihood, np.inf
    for _ in range(POLISHINGS):
        step = _step(theta, here, fitted)
        gain = float(step @ here.score)
        if not 0 < gain < before / 4 or (theta + step < 0).any():
            break
        theta, before = theta + step, gain
        here = yield theta
        if gain < POLISHED:
            break
    return Maximum(theta, here)


def climbing(start: Floats, fitted: Booleans, near: float = 0.0) -> Search[Maximum]:
    """Climb until the value is that of the maximum; theta is then within 1e-9 standard errors.

    Where variances lie many powers of ten apart the value may have fewer digits than that. A climb
    that they end counts if what is left of it, squared in standard errors, is less than `near`.
    """
    theta = np.array(start, dtype=np.float64)
    here = yield theta
    if not np.isfinite(here.value):
        raise NotEstimable("the likelihood of these sets can't be computed to any digit")
    for _ in range(STEPS):
        step = _step(theta, here, fitted)
        gain = float(step @ here.score)
        if gain <= 0:
            return Maximum(theta, here)
        if gain < CLOSE:
            theta = np.maximum(theta + step, 0)
            return Maximum(theta, (yield theta))
        there, found = yield from _climb(theta, here, step)
        if (there == theta).all():
            if gain < near:
                return Maximum(theta, here)
            break
        theta, here = there, found
    raise NoConvergence("the search for a maximum of the restricted likelihood did not reach one")


def _step(theta: Floats, here: RestrictedLikelihood, fitted: Booleans) -> Floats:
    free = fitted & ((theta > 0) | (here.score > 0))
    step = np.zeros_like(theta)
    while free.any():
        step[:] = 0
        step[free] = _solve(here, free)
        leaving = free & (theta == 0) & (step < 0)
        if not leaving.any():
            break
        free = free & ~leaving
        step[leaving] = 0
    return step


def _solve(here: RestrictedLikelihood, free: Booleans) -> Floats:
    pick = np.ix_(free, free)
    score = here.score[free]
    for information in (here.observed[pick], here.average[pick], here.expected[pick]):
        step = solve_positive(information, score)
        if step is not None:
            return step
    information = np.diag(here.expected)[free]
    if not (information > 0).all():
        raise NotEstimable("the sets hold no information on a variance component")
    return np.asarray(score / information)


def _climb(
    theta: Floats, here: RestrictedLikelihood, step: Floats
) -> Search[tuple[Floats, RestrictedLikelihood]]:
    share = 1.0
    for _ in range(HALVINGS):
        there = np.maximum(theta + share * step, 0)
        if (there == theta).all():
            return theta, here
        found = yield there
        if found.value >= here.value - ROUNDING * max(1.0, 1e-5 * abs(here.value)):
            return there, found
        share /= 2
    raise NoConvergence("the restricted likelihood does not rise along its own score")

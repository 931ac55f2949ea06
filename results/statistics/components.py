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
from results.statistics.errors import NoConvergence
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
ROUNDING = 1e-8  # of a log-likelihood of some 1e5; below it only the score can tell
CLOSE = 1e-9  # squared length of a Newton step in standard errors; the step taken then squares it


@dataclass(frozen=True)
class Maximum:
    """theta = (s2_tester, s2_session, s2_set) and the likelihood there."""

    theta: Floats
    likelihood: RestrictedLikelihood


def likelihood_at(model: ErrorModel) -> At:
    """The restricted likelihood of a model as a function of theta."""
    determinant = np.linalg.slogdet(model.design.T @ model.design)[1]
    sets = np.asarray(model.sets)
    return lambda theta: restricted_likelihoods(model.totals(theta), sets, determinant)


def search(at: At, *searches: Search[Found]) -> list[Found]:
    """What each of the searches finds, all of them going on in step: one call of `at` a round."""
    return search_each(lambda theta, _: at(theta), searches)


def search_each(
    at: Callable[[Floats, Sequence[int]], list[RestrictedLikelihood]],
    searches: Sequence[Search[Found]],
) -> list[Found]:
    """As `search`, where `at` is also told which searches ask, by their places."""
    found: dict[int, Found] = {}
    answers: dict[int, RestrictedLikelihood | None] = dict.fromkeys(range(len(searches)))
    while answers:
        asked: dict[int, Floats] = {}
        for place, answer in answers.items():
            try:
                asked[place] = searches[place].send(answer)  # type: ignore[arg-type]
            except StopIteration as end:
                found[place] = end.value
        told = at(np.stack([*asked.values()]), [*asked]) if asked else []
        answers = dict(zip(asked, told, strict=True))
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

    Raises NoConvergence where no maximum is found.
    """
    (found,) = search(at, climbing(start, fitted))
    return found


def climbing(start: Floats, fitted: Booleans) -> Search[Maximum]:
    """The search of `maximise`."""
    theta = np.array(start, dtype=np.float64)
    here = yield theta
    for _ in range(STEPS):
        step = _step(theta, here, fitted)
        gain = float(step @ here.score)
        if gain <= 0:
            return Maximum(theta, here)
        if gain < CLOSE:
            theta = np.maximum(theta + step, 0)
            return Maximum(theta, (yield theta))
        theta, here = yield from _climb(theta, here, step)
    raise NoConvergence(f"no maximum of the restricted likelihood in {STEPS} steps")


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
        try:
            np.linalg.cholesky(information)
        except np.linalg.LinAlgError:
            continue
        return np.asarray(np.linalg.solve(information, score))
    return np.asarray(score / np.diag(here.expected)[free])


def _climb(
    theta: Floats, here: RestrictedLikelihood, step: Floats
) -> Search[tuple[Floats, RestrictedLikelihood]]:
    share = 1.0
    for _ in range(HALVINGS):
        there = np.maximum(theta + share * step, 0)
        found = yield there
        if found.value >= here.value - ROUNDING:
            return there, found
        share /= 2
    raise NoConvergence("the restricted likelihood does not rise along its own score")

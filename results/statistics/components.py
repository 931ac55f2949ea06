"""Maximum of the restricted likelihood over non-negative variance components.

Newton's method on the observed information where that is positive definite, otherwise on the
average information (Gilmour, Thompson & Cullis 1995), with step halving. A component whose
score at zero is not positive stays at zero while the others move: the maximum on the boundary,
not an interior point cut off.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from results.statistics.block_sums import ErrorModel
from results.statistics.errors import NoConvergence
from results.statistics.restricted_likelihood import RestrictedLikelihood, restricted_likelihood

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
At = Callable[[Floats], RestrictedLikelihood]

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
    determinant = float(np.linalg.slogdet(model.design.T @ model.design)[1])
    return lambda theta: restricted_likelihood(model.total(theta), model.sets, determinant)


def along(at: At, directions: Floats) -> At:
    """The likelihood over weights phi (q,), theta = phi @ directions, directions (q, 3)."""

    def there(phi: Floats) -> RestrictedLikelihood:
        found = at(phi @ directions)
        return replace(
            found,
            score=directions @ found.score,
            observed=directions @ found.observed @ directions.T,
            average=directions @ found.average @ directions.T,
        )

    return there


def maximise(at: At, start: Floats, fitted: Booleans) -> Maximum:
    """Climb from `start` over the `fitted` components, the others held where they are.

    Raises NoConvergence where no maximum is found.
    """
    theta = np.array(start, dtype=np.float64)
    here = at(theta)
    for _ in range(STEPS):
        step = _step(theta, here, fitted)
        gain = float(step @ here.score)
        if gain <= 0:
            return Maximum(theta, here)
        if gain < CLOSE:
            theta = np.maximum(theta + step, 0)
            return Maximum(theta, at(theta))
        theta, here = _climb(at, theta, here, step)
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
    at: At, theta: Floats, here: RestrictedLikelihood, step: Floats
) -> tuple[Floats, RestrictedLikelihood]:
    share = 1.0
    for _ in range(HALVINGS):
        there = np.maximum(theta + share * step, 0)
        found = at(there)
        if found.value >= here.value - ROUNDING:
            return there, found
        share /= 2
    raise NoConvergence("the restricted likelihood does not rise along its own score")

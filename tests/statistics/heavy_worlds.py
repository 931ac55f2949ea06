"""Worlds by other rules than the methods': heavy-tailed testers, uneven sessions, few pulls.

Loads are drawn, and sets worked out from them as elsewhere: mean, scatter pooled over the sets,
log ratio to the straight line of the session.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import gamma

from results.statistics.ratio import (
    corrected_log_ratio,
    pooled_coefficient_of_variation,
    relative_variance,
)

TAILS = 4.0
"""Degrees of freedom of testers' effects, which are scaled to their standard deviation."""
STEP = 0.002
"""Of a reading, as a fraction of straight line's load: 0.1 N of 50 N."""


@dataclass(frozen=True)
class World:
    """Standard deviations and coefficients of variation on the log scale.

    `tails` None is for normal testers. `shared` is the share of a tester's variance that all
    joins have in common, from 0 to 1. The first tester's effect can be set by `first`.
    """

    testers: int
    tails: float | None = TAILS
    join: str = "lognormal"
    tester_sd: float = 0.04
    session_sd: float = 0.02
    set_sd: float = 0.01
    cv_join: float = 0.07
    cv_line: float = 0.035
    sessions: tuple[int, int] = (1, 4)
    pulls: tuple[int, int] = (3, 8)
    efficiencies: tuple[float, ...] = (0.85,)
    shared: float = 1.0
    first: float | None = None


@dataclass(frozen=True)
class Drawn:
    """Columns of sets (k,), `join` by number; `effect` (T, J) is each tester's log efficiency."""

    y: np.ndarray
    own_variance: np.ndarray
    shared_variance: np.ndarray
    tester: np.ndarray
    session: np.ndarray
    join: np.ndarray
    cv_join: float
    effect: np.ndarray

    def columns(self, keep):
        """The arguments of `pool`, of the sets to keep."""
        every = (self.y, self.own_variance, self.shared_variance, self.tester, self.session)
        return tuple(column[keep] for column in (*every, self.session))


def effects(rng, world, size):
    """Effects of testers on the log scale."""
    if world.tails is None:
        return world.tester_sd * rng.normal(size=size)
    scale = world.tester_sd * np.sqrt((world.tails - 2) / world.tails)
    return scale * rng.standard_t(world.tails, size)


def unit_loads(rng, family, cv, size):
    """Lognormal or Weibull loads of mean one."""
    if family == "lognormal":
        sd = np.sqrt(np.log1p(cv**2))
        return np.exp(sd * rng.normal(size=size) - sd**2 / 2)
    shape = weibull_shape(cv)
    return rng.weibull(shape, size) / gamma(1 + 1 / shape)


def weibull_shape(cv):
    """The shape of a Weibull distribution with this coefficient of variation."""
    return brentq(
        lambda shape: gamma(1 + 2 / shape) / gamma(1 + 1 / shape) ** 2 - 1 - cv**2, 1, 200
    )


def draw(rng, world):
    """One pool, or the pools of several joins that every tester ties in every session."""
    joins = np.log(world.efficiencies)
    common = effects(rng, world, (world.testers, 1)) * np.sqrt(world.shared)
    apart = effects(rng, world, (world.testers, joins.size)) * np.sqrt(1 - world.shared)
    truth = joins + common + apart
    if world.first is not None:
        truth[0] = joins + world.first
    rows = []
    for tester in range(world.testers):
        for _ in range(rng.integers(world.sessions[0], world.sessions[1] + 1)):
            rows += _session(rng, world, truth[tester], (tester, len(rows)))
    codes, pulled, straight = (np.array(part) for part in zip(*rows, strict=True))
    cv_join = pooled_coefficient_of_variation(pulled[:, 1], pulled[:, 2] - 1)
    cv_line = pooled_coefficient_of_variation(straight[:, 1], straight[:, 2] - 1)
    ratio = corrected_log_ratio(
        pulled[:, 0],
        straight[:, 0],
        relative_variance(cv_join, pulled[:, 2]),
        relative_variance(cv_line, straight[:, 2]),
    )
    tester, session, join = codes.T
    return Drawn(
        ratio.y, ratio.own_variance, ratio.shared_variance, tester, session, join, cv_join, truth
    )


def _session(rng, world, truth, code):
    line = np.exp(0.02 * rng.normal())
    straight = _read(line * unit_loads(rng, "lognormal", world.cv_line, _pulls(rng, world)))
    of_session = world.session_sd * rng.normal()
    for join, level in enumerate(truth):
        mean = line * np.exp(level + of_session + world.set_sd * rng.normal())
        loads = _read(mean * unit_loads(rng, world.join, world.cv_join, _pulls(rng, world)))
        yield (*code, join), _summary(loads), _summary(straight)


def _pulls(rng, world):
    return rng.integers(world.pulls[0], world.pulls[1] + 1)


def _read(loads):
    return np.round(loads / STEP) * STEP


def _summary(loads):
    return loads.mean(), loads.std(ddof=1) / loads.mean(), loads.size

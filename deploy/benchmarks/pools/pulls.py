"""Pulls drawn one by one, for the model that sees them: honest work gives few that are like these.

Scatter from rounding noise to twice the load, loads of one value, joins a thousandth or twenty
times as strong as their line, or that hardly or never part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from time import perf_counter

import numpy as np
from numpy.typing import NDArray

from deploy.benchmarks.pools.trying import NotFiniteStored, Tally, step
from results.statistics.one_stage.one_stage import Loads, OneStage, one_stage

Floats = NDArray[np.float64]
Rng = np.random.Generator

LEAST_N, MOST_N = 0.01, 20_000.0
LONGEST_S = 20.0


class TooSlow(Exception):
    """A pool of some dozens of sets took longer than anyone waits for it."""


@dataclass
class _Pulled:
    """Loads in newtons by group, and whether each is exact."""

    load_N: list[float] = field(default_factory=list)
    exact: list[bool] = field(default_factory=list)
    group: list[int] = field(default_factory=list)

    def add(self, loads_N: Floats, exact: NDArray[np.bool_], group: int) -> None:
        self.load_N += np.clip(loads_N, LEAST_N, MOST_N).tolist()
        self.exact += exact.tolist()
        self.group += [group] * loads_N.size

    @property
    def loads(self) -> Loads:
        return Loads(self.load_N, self.exact, self.group)


@dataclass(frozen=True)
class Pulls:
    """A pool's sets by tester and session, (k,), and its pulls as `one_stage` takes them."""

    tester: list[int]
    session: list[int]
    straight: Loads
    combination: Loads
    join: Loads

    def fitted(self) -> OneStage:
        return one_stage(
            self.tester, self.session, self.session, self.straight, self.combination, self.join
        )


def draw_pulls(seed: int, number: int) -> Pulls:
    """The pool of this number, the same whatever was drawn before."""
    rng = np.random.default_rng((seed, 1, number))
    scatter = _scatter(rng, 0.005, 0.1), _scatter(rng, 0.01, 0.15)
    level_N, share = 10 ** rng.uniform(0, 4), rng.choice([1e-3, 0.5, 0.8, 1.0, 1.3, 20.0])
    outlasts = rng.choice([0.0, 0.1, 0.5, 0.9, 1.0, 1.0])
    straight, whole, join = _Pulled(), _Pulled(), _Pulled()
    tester: list[int] = []
    session: list[int] = []
    day = 0
    for who in range(int(rng.choice([3, 4, 5, 8]))):
        for _ in range(int(rng.integers(1, 4))):
            loads_N = level_N * np.exp(rng.normal(0, scatter[0], int(rng.integers(1, 8))))
            if rng.random() < 0.1:
                loads_N[:] = loads_N[0]
            straight.add(loads_N, rng.random(loads_N.size) > rng.choice([-1.0, 0.3]), day)
            for _ in range(int(rng.integers(1, 3))):
                noise = rng.normal(rng.normal(0, 0.05), scatter[1], int(rng.integers(1, 9)))
                loads_N = level_N * share * np.exp(noise)
                whole.add(loads_N, rng.random(noise.size) > rng.choice([-1.0, 0.2]), len(tester))
                join.add(loads_N, rng.random(noise.size) >= outlasts, len(tester))
                tester.append(who)
                session.append(day)
            day += 1
    return Pulls(tester, session, straight.loads, whole.loads, join.loads)


def _scatter(rng: Rng, low: float, high: float) -> float:
    return float(10 ** rng.uniform(-16, 0.3) if rng.random() < 0.5 else rng.uniform(low, high))


def try_pulls(seed: int, number: int, tally: Tally) -> None:
    """Both estimands of one pool; what is neither a figure nor a named error is a crash."""
    pulls = draw_pulls(seed, number)
    tally.pools += 1
    found = step(tally, "pulls", number, "one model", lambda: _finite(pulls))
    if found is None:
        return
    parts = {"combination": found.combination, "join": found.join, "bound": found.join_outlasts}
    named = " and ".join(name for name, part in parts.items() if part is not None)
    tally.came_to[f"pulls: {named or 'nothing'}"] += 1
    tally.figures += found.combination is not None or found.join is not None
    tally.not_estimable.update(f"one model: {part}" for part in found.not_estimable)


def _finite(pulls: Pulls) -> OneStage:
    began = perf_counter()
    found = pulls.fitted()
    if perf_counter() - began > LONGEST_S:
        raise TooSlow(f"{len(pulls.tester)} sets took {perf_counter() - began:.0f} s")
    for name, estimate in (("combination", found.combination), ("join", found.join)):
        if estimate is not None and not all(map(math.isfinite, vars(estimate).values())):
            raise NotFiniteStored(f"{name} is {estimate}")
    if found.join_outlasts is not None and not math.isfinite(found.join_outlasts):
        raise NotFiniteStored(f"the bound is {found.join_outlasts}")
    return found

"""Compute everything of one pool, and report the outcome."""

from __future__ import annotations

import math
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from deploy.benchmarks.pools.draws import KINDS, Draw
from results.pools.estimate import Outcome, fit_from, pooled_from
from results.pools.pool_data import Members
from results.pools.recompute import columns_of
from results.pools.tester_vs_pool import compare_in_members
from results.statistics.contrasts import within_baseline_contrasts
from results.statistics.errors import StatisticsError
from results.statistics.meta_regression import fit_meta_regression
from results.statistics.network import network
from results.statistics.ranking import rank
from results.statistics.tester_means import means_by_tester
from rigs.models import Contributor
from rigs.refusals import Refused

EVERY = 50


class NotFiniteStored(Exception):
    """A column to be stored is not a number, or infinite."""


@dataclass
class Tally:
    """Counts of pools and steps by outcome."""

    pools: int = 0
    figures: int = 0
    came_to: Counter[str] = field(default_factory=Counter)
    not_estimable: Counter[str] = field(default_factory=Counter)
    exceptions: Counter[str] = field(default_factory=Counter)

    def add(self, other: Tally) -> None:
        self.pools += other.pools
        self.figures += other.figures
        for name in ("came_to", "not_estimable", "exceptions"):
            getattr(self, name).update(getattr(other, name))


def try_pool(drawn: Draw, number: int, tally: Tally) -> None:
    """Compute the figures of one pool; an exception that is no refusal is counted as a crash.

    One pool in fifty is compared, regressed and ranked as well.
    """
    members = drawn.members
    tally.pools += 1
    outcome = step(tally, drawn.kind, number, "pool", lambda: _pool(members))
    if outcome is None:
        return
    if outcome.pooled is None:
        tally.came_to[f"{drawn.kind}: no figure"] += 1
        return
    tally.figures += 1
    tally.came_to[f"{drawn.kind}: figure"] += 1
    tally.not_estimable.update(list(outcome.pooled.not_estimable))
    if outcome.held_by_nine is None:
        tally.not_estimable["held by nine in ten"] += 1
    if number // len(KINDS) % EVERY:
        return
    steps: dict[str, Callable[[], object]] = {
        "screening's fit": lambda: fit_from(members),
        "comparison": lambda: _compared(members, number),
        "means of testers": lambda: _means(members, outcome),
        "meta-regression": lambda: _meta_regression(members, outcome, number),
        "network and ranks": lambda: _network(members, outcome, number),
    }
    for name, compute in steps.items():
        step(tally, drawn.kind, number, name, compute)


def step(tally: Tally, kind: str, number: int, name: str, compute: Callable[[], Any]) -> Any:
    """The result of a step; None if it is refused or crashes, which is counted."""
    try:
        return compute()
    except (StatisticsError, Refused) as error:
        tally.not_estimable[f"{name}: {type(error).__name__}"] += 1
    except Exception as error:
        where = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{where.filename.rpartition('/')[2]}:{where.lineno}"
        found = f"{type(error).__name__} in {name} at {place}: {error}"[:160]
        tally.exceptions[f"{found} (first in number {number}, {kind})"] += 1
    return None


def _pool(members: Members) -> Outcome:
    outcome = pooled_from(members)
    _need_storable(columns_of(outcome), "column")
    return outcome


def _need_storable(value: Any, name: str) -> None:
    if isinstance(value, dict):
        for key, item in value.items():
            _need_storable(item, str(key))
    elif isinstance(value, list):
        for item in value:
            _need_storable(item, name)
    elif isinstance(value, float) and not math.isfinite(value):
        raise NotFiniteStored(f"{name} is {value}")


def _compared(members: Members, number: int) -> None:
    testers = np.unique(members.tester)
    tester = Contributor(pk=int(testers[number % testers.size]))
    compare_in_members(members, tester)


def _means(members: Members, outcome: Outcome) -> None:
    assert outcome.ratios is not None
    assert outcome.pooled is not None
    found = means_by_tester(
        *_columns(members, outcome),
        tau2_session=outcome.pooled.tau2_session,
        tau2_set=outcome.pooled.tau2_set,
    )
    _need_storable([*found.mean.tolist(), *found.low.tolist(), *found.high.tolist()], "mean")


def _meta_regression(members: Members, outcome: Outcome, number: int) -> None:
    turns = np.random.default_rng(number).integers(4, 8, len(members))
    y, own, shared, tester, session, baseline = _columns(members, outcome)
    found = fit_meta_regression(y, own, shared, tester, session, baseline, {"turns": turns})
    for name in ("mu", "restricted_loglik", "QE", "tau2_tester"):
        _need_storable(getattr(found, name), name)
    for one in found.covariates:
        _need_storable(vars(one), one.name)


def _network(members: Members, outcome: Outcome, number: int) -> None:
    rng = np.random.default_rng(number)
    joins = np.array(["A", "B", "C", "D"])[rng.integers(4, size=len(members))]
    assert outcome.ratios is not None
    contrasts = within_baseline_contrasts(
        outcome.ratios.y, outcome.ratios.own_variance, joins, members.tester, members.baseline
    )
    found = network(contrasts, str(contrasts.base[0]))
    rank(found.estimate, found.robust_covariance)


def _columns(members: Members, outcome: Outcome) -> tuple[Any, ...]:
    ratios = outcome.ratios
    assert ratios is not None
    codes = (members.tester, members.session, members.baseline)
    return (ratios.y, ratios.own_variance, ratios.shared_variance, *codes)

"""Draws the members of pools: the demo league's with noise, and kinds that are hard on sums.

A draw depends on its seed and number alone, not on the draws before it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from results.pools.pool_data import Members
from results.statistics.censored import strengths
from results.statistics.errors import StatisticsError

Rng: TypeAlias = np.random.Generator
Floats = NDArray[np.float64]

NOISE = (0.0, 0.001, 0.005, 0.01, 0.02, 0.05)
FURTHEST_TESTERS = 200


@dataclass(frozen=True)
class Draw:
    """Members of one pool, and the kind they are of."""

    kind: str
    members: Members


def draw(seed: int, number: int, league: Sequence[Members]) -> Draw:
    """The pool of that number; kinds come in turn. `league` holds the demo's pools."""
    kind = tuple(KINDS)[number % len(KINDS)]
    rng = np.random.default_rng((crc32(f"{seed} {kind}".encode()), number))
    return Draw(kind, KINDS[kind](rng, league))


def noisy(rng: Rng, members: Members, noise: float) -> Members:
    """The same sets with so much noise on each mean, and on each baseline."""
    _, baseline = np.unique(members.baseline, return_inverse=True)
    of_baseline = rng.normal(0, noise, baseline.max(initial=0) + 1)
    return replace(
        members,
        mean_N=members.mean_N * np.exp(rng.normal(0, noise, len(members))),
        baseline_mean_N=members.baseline_mean_N * np.exp(of_baseline[baseline]),
    )


def _of_league(rng: Rng, league: Sequence[Members]) -> Members:
    members = league[int(rng.integers(len(league)))]
    return noisy(rng, members, float(rng.choice(NOISE)))


def _like_others(rng: Rng, _league: Sequence[Members]) -> Members:
    return _members(rng, _some(rng, 25))


def _of_many(rng: Rng, _league: Sequence[Members]) -> Members:
    return _members(rng, _some(rng, FURTHEST_TESTERS))


def _some(rng: Rng, most: int) -> int:
    """From two testers to the most, even in logarithms."""
    return round(float(np.exp(rng.uniform(np.log(2), np.log(most)))))


def _equal(rng: Rng, _league: Sequence[Members]) -> Members:
    """Equal values: of all sets, of each tester, of all testers but one, or but for rounding."""
    members = _members(rng, _some(rng, 12))
    means = np.full(len(members), 80.0)
    kind = rng.integers(4)
    if kind == 1:
        means = 80.0 + np.unique(members.tester, return_inverse=True)[1]
    elif kind == 2:
        means[members.tester == members.tester[0]] *= 1.1
    elif kind == 3:
        means *= 1 + rng.integers(-4, 5, means.size) * np.finfo(np.float64).eps
    straight = np.full(len(members), 100.0)
    return replace(members, mean_N=means, baseline_mean_N=straight)


def _without_scatter(rng: Rng, _league: Sequence[Members]) -> Members:
    """Sets without scatter, or with next to none: what a coarse resolution leaves, down to 1e-9."""
    members = _members(rng, _some(rng, 12))
    least = rng.choice([0.0, 1e-9, 1e-6, 1e-4])
    which = rng.random(len(members)) < rng.choice([0.5, 0.9, 1.0])
    return replace(
        members,
        cv=np.where(which, least, members.cv),
        baseline_cv=np.full(len(members), rng.choice([least, 0.02])),
    )


def _one_with_nearly_all(rng: Rng, _league: Sequence[Members]) -> Members:
    others = int(rng.integers(1, 8))
    sessions = [int(rng.integers(5, 60)), *[1] * others]
    return _members(rng, 1 + others, sessions=sessions, most_sets=1 if rng.random() < 0.5 else 4)


def _far_apart(rng: Rng, _league: Sequence[Members]) -> Members:
    """Variances up to 1e12 times one another, between sets or baselines or single testers."""
    members = _members(rng, _some(rng, 30))
    range_ = 10 ** rng.uniform(0, 12)
    n = np.exp(rng.uniform(0, np.log(range_), len(members)))
    if rng.random() < 0.3:
        n = np.where(members.tester == members.tester[0], range_, 1.0)
    _, baseline = np.unique(members.baseline, return_inverse=True)
    of_baseline = np.exp(rng.uniform(0, np.log(range_), baseline.max() + 1))
    if rng.random() < 0.5:
        of_baseline[:] = rng.choice([1.0, range_])
    return replace(members, n_effective=n, baseline_n_effective=of_baseline[baseline])


def _extreme(rng: Rng, _league: Sequence[Members]) -> Members:
    """Loads from a thousandth of a newton to a million of them, scatters from 1e-6 to 3."""
    members = _members(rng, _some(rng, 15))
    k = len(members)
    _, baseline = np.unique(members.baseline, return_inverse=True)
    return replace(
        members,
        mean_N=10 ** rng.uniform(-3, 6, k),
        cv=10 ** rng.uniform(-6, 0.5, k),
        baseline_mean_N=(10 ** rng.uniform(-3, 6, baseline.max() + 1))[baseline],
        baseline_cv=(10 ** rng.uniform(-6, 0.5, baseline.max() + 1))[baseline],
    )


def _censored(rng: Rng, _league: Sequence[Members]) -> Members:
    """Sets of pulls of which most are only 'at least', or all, or all but three alike."""
    members = _members(rng, _some(rng, 10))
    sizes = rng.integers(3, 15, len(members))
    loads = rng.lognormal(np.log(80), rng.choice([0.0, 0.01, 0.06]), int(sizes.sum()))
    at_least = rng.random(loads.size) < rng.choice([0.3, 0.6, 0.9, 1.0])
    found = strengths(loads, at_least, sizes, np.full(sizes.size, rng.choice([0.0, 0.5])))
    kept = np.array([not isinstance(one, StatisticsError) for one in found])
    of = [one for one in found if not isinstance(one, StatisticsError)]
    return replace(
        Members(**{name: column[kept] for name, column in vars(members).items()}),
        mean_N=np.array([one.mean_N for one in of]),
        cv=np.array([one.cv for one in of]),
        n_effective=np.array([one.n_effective for one in of]),
        degrees_of_freedom=np.array([one.degrees_of_freedom for one in of]),
    )


KINDS: dict[str, Callable[[Rng, Sequence[Members]], Members]] = {
    "the league's, with noise": _of_league,
    "equal values": _equal,
    "the league's, with noise again": _of_league,
    "no scatter": _without_scatter,
    "one tester with nearly all sets": _one_with_nearly_all,
    "variances to 1e12": _far_apart,
    "2 to 200 testers": _of_many,
    "ordinary": _like_others,
    "the league's, a third time": _of_league,
    "censored": _censored,
    "the league's, a fourth time": _of_league,
    "extreme loads and scatters": _extreme,
}


def _members(
    rng: Rng, testers: int, *, sessions: Sequence[int] | None = None, most_sets: int = 4
) -> Members:
    """Testers of one to three sessions, or so many, of one or two baselines with some sets each."""
    sds = rng.choice([0.0, 0.01, 0.05, 0.2], 3)
    rows: list[tuple[int, int, int, float, float]] = []
    session = baseline = 0
    for tester in range(testers):
        u = rng.normal(0, sds[0])
        for _ in range(sessions[tester] if sessions else int(rng.integers(1, 4))):
            v = rng.normal(0, sds[1])
            for _ in range(1 + int(rng.random() < 0.2)):
                straight_N = 100 * np.exp(rng.normal(0, 0.03))
                for _ in range(int(rng.integers(1, most_sets + 1))):
                    y = -0.25 + u + v + rng.normal(0, np.hypot(sds[2], 0.02))
                    rows.append((tester, session, baseline, straight_N, straight_N * np.exp(y)))
                baseline += 1
            session += 1
    columns = list(zip(*rows, strict=True))
    k, of_baseline = len(rows), np.array(columns[2])
    pulls = rng.integers(3, 12, k)
    straight = rng.integers(3, 12, baseline)
    return Members(
        pull_set=np.arange(1, k + 1),
        tester=np.array(columns[0]) + 1,
        session=np.array(columns[1]) + 1,
        baseline=of_baseline + 1,
        calibration=np.zeros(k, dtype=np.int64),
        pulls=pulls,
        mean_N=np.array(columns[4]),
        cv=0.06 * np.sqrt(rng.chisquare(pulls - 1) / (pulls - 1)),
        n_effective=pulls.astype(np.float64),
        degrees_of_freedom=(pulls - 1).astype(np.float64),
        baseline_mean_N=np.array(columns[3]),
        baseline_cv=np.full(k, 0.03),
        baseline_n_effective=straight[of_baseline].astype(np.float64),
        baseline_degrees_of_freedom=straight[of_baseline] - 1.0,
        resolution_N=np.full(k, np.nan),
        main_line=rng.integers(1, rng.choice([2, 3, 5, 9]), k),
        leader_line=np.zeros(k, dtype=np.int64),
        hand=np.where(rng.random(k) < rng.choice([0.0, 0.0, 0.2]), np.array(columns[0]) + 1, 0),
        revision=np.array(columns[0]) + 1,
        club_round=rng.integers(0, rng.choice([1, 1, 2, 5]), k),
        u_offset_N=np.full(k, np.nan),
        gain=np.full(k, np.nan),
        scale_resolution_N=np.full(k, 0.5),
        capacity_N=np.full(k, rng.choice([np.nan, 50.0, 500.0])),
        zero_of_pulls=np.zeros(k),
        missed_peak=np.zeros(k),
    )

"""Where the limit of influence lies: `deploy/bench influence [--worlds N] [--curve]`.

Draws pools of three to five honest testers and lets one more in: an honest newcomer, frauds of one
account up and down, and three linked accounts one after another. With ``--curve`` it prints what
waits and what accepted fraud moves for a grid of limits, on the worlds with even numbers; without,
the limit in use on those with odd ones. A world always draws the same numbers.
"""

from __future__ import annotations

import argparse
import math
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

from results.statistics.pool_fit import fit_pool
from results.statistics.screening.influence import (
    LEAST,
    MOST,
    NEAR,
    PART,
    half_width,
    influence_limit,
    lies_nearer,
)

Floats = NDArray[np.float64]

TESTER_SDS = (0.03, 0.045, 0.07)
"""Between testers on the log scale; the scenario has the middle one."""
SESSION_SD, CV_JOINED, CV_STRAIGHT, STRAIGHT_PULLS = 0.015, 0.05, 0.02, 5
"""As in the scenario."""

KINDS = {
    "honest": (0.0, 1),
    "three linked, honest": (0.0, 3),
    "favourite +20": (math.log(1.2), 1),
    "favourite +40": (math.log(1.4), 1),
    "straight line -10": (-math.log(0.9), 1),
    "straight line -20": (-math.log(0.8), 1),
    "rival -40": (math.log(0.6), 1),
    "rival -60": (math.log(0.4), 1),
    "kilograms for pounds": (math.log(0.4536), 1),
    "three linked +15": (math.log(1.15), 3),
    "three linked +30": (math.log(1.3), 3),
}
"""What is added to the log of the efficiency, in so many accounts."""

GRID = tuple(
    product((0.25, 0.35, 0.5), (0.01, 0.015), (0.02, 0.025, 0.03, 0.04), (0.0, 0.5, 1.0, 2.0))
)

Limit = tuple[float, float, float, float]


@dataclass(frozen=True)
class World:
    """Honest testers of one pool (m), four more to come, and what each would find."""

    others: int
    found: Floats
    own_variance: Floats
    shared_variance: Floats

    def fit(self, rows: list[int], added: float = 0.0) -> tuple[float, float]:
        """Mean and its standard error of some testers, those to come with so much added."""
        late = np.array(rows) >= self.others
        y = self.found[rows] + np.where(late, added, 0.0)
        fitted = fit_pool(y, self.own_variance[rows], self.shared_variance[rows], rows, rows, rows)
        likelihood = fitted.best.likelihood
        mu = fitted.centre + float(likelihood.beta[0])
        return mu, math.sqrt(float(likelihood.covariance[0, 0]))

    def apart(self, account: int, added: float) -> float:
        """Distance of one to come from the nearest of the others, in its standard errors."""
        variance, row = self.own_variance + self.shared_variance, self.others + account
        distance = abs(self.found[row] + added - self.found[: self.others])
        return float((distance / np.sqrt(variance[row] + variance[: self.others])).min())


@dataclass(frozen=True)
class Case:
    """One kind in one world: ``shift_of`` is what these of its accounts move together.

    ``apart`` is its distance from the nearest of the others in standard errors of their difference,
    ``confirmed`` whether an honest second tester then lies nearer to it.
    """

    kind: str
    reach: float
    shift_of: Callable[[frozenset[int]], float]
    apart: dict[int, float]
    confirmed: bool

    def accepted(self, limit: Limit) -> float | None:
        """What counts of it in the end moves the log of the figure so far; None where all waits."""
        part, least, most, near = limit
        largest = influence_limit(self.reach, 0, part, least, most)
        counting: frozenset[int] = frozenset()
        for account in sorted(self.apart):
            if abs(self.shift_of(counting | {account})) <= largest or self.apart[account] <= near:
                counting |= {account}
        return self.shift_of(counting) if counting else None


def draw(number: int) -> World:
    """The world of a number."""
    random = np.random.default_rng((17, number))
    others = int(random.integers(3, 6))
    size = others + 4
    sd = float(random.choice(TESTER_SDS))
    own = CV_JOINED**2 / random.integers(5, 11, size)
    shared = np.full(size, CV_STRAIGHT**2 / STRAIGHT_PULLS)
    noise = np.sqrt(own + shared + SESSION_SD**2) * random.normal(0, 1, size)
    return World(others, noise + random.normal(0, sd, size), own, shared)


def cases(world: World) -> Iterator[Case]:
    """The honest newcomer and every fraud."""
    base = list(range(world.others))
    mu, se = world.fit(base)
    reach, second = half_width(se, world.others), float(world.found[-1])
    for kind, (added, accounts) in KINDS.items():

        @cache
        def shift_of(group: frozenset[int], added: float = added) -> float:
            return world.fit([*base, *(world.others + one for one in sorted(group))], added)[0] - mu

        apart = {account: world.apart(account, added) for account in range(accounts)}
        near = lies_nearer(second, float(world.found[world.others]) + added, mu)
        yield Case(kind, reach, shift_of, apart, near)


def main() -> None:
    asked = _arguments()
    numbers = range(0 if asked.curve else 1, 2 * asked.worlds, 2)
    by_kind: dict[str, list[Case]] = defaultdict(list)
    for number in numbers:
        for case in cases(draw(number)):
            by_kind[case.kind].append(case)
    if asked.curve:
        _print_curve(by_kind)
    else:
        _print_kinds(by_kind)


def _print_curve(by_kind: dict[str, list[Case]]) -> None:
    print("| part | least | most | near | honest waiting, % | accepted: median, 95th, worst kind |")
    print("|---|---|---|---|---|---|")
    for limit in GRID:
        honest = [case.accepted(limit) is None for case in by_kind["honest"]]
        moved = {kind: _accepted(of, limit) for kind, of in by_kind.items() if "honest" not in kind}
        every = [shift for shifts in moved.values() for shift in shifts]
        worst = max(float(np.median(shifts)) for shifts in moved.values() if shifts)
        print(
            f"| {limit[0]:g} | {100 * limit[1]:g} | {100 * limit[2]:g} | {limit[3]:g} "
            f"| {100 * np.mean(honest):.1f} | {np.median(every):.2f}, "
            f"{np.percentile(every, 95):.2f}, {worst:.2f} |"
        )


def _print_kinds(by_kind: dict[str, list[Case]]) -> None:
    print("| kind | waits, % (95 percent limits) | accepted moves it by, median / 95th, % |")
    print("|---|---|---|")
    limit = (PART, LEAST, MOST, NEAR)
    for kind, of in by_kind.items():
        waiting = sum(case.accepted(limit) is None for case in of)
        moved = _accepted(of, limit)
        figures = (
            f"{np.median(moved):.2f} / {np.percentile(moved, 95):.2f}" if moved else "none accepted"
        )
        print(f"| {kind} | {_share(waiting, len(of))} | {figures} |")
    for kind, of in by_kind.items():
        left = [case for case in of if case.accepted(limit) is None]
        if left:
            confirmed = sum(case.confirmed for case in left)
            print(f"{kind}: an honest second tester confirms {_share(confirmed, len(left))}")


def _accepted(of: list[Case], limit: Limit) -> list[float]:
    found = (case.accepted(limit) for case in of)
    return [100 * abs(math.expm1(shift)) for shift in found if shift is not None]


def _share(hits: int, of: int) -> str:
    low = beta.ppf(0.025, hits, of - hits + 1) if hits else 0.0
    high = beta.ppf(0.975, hits + 1, of - hits) if hits < of else 1.0
    return f"{100 * hits / of:.1f} ({100 * low:.1f} to {100 * high:.1f})"


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--worlds", type=int, default=300)
    parser.add_argument("--curve", action="store_true")
    return parser.parse_args()


if __name__ == "__main__":
    main()

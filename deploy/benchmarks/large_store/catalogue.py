"""What the testers of the large store tie: joins, line pairs and terminals, and how often each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from deploy.demo.scenario import LINES, SCENARIO

Floats = NDArray[np.float64]

JOINS_A_SESSION = 5
VARIANTS = 2
"""Further joins invented beside each of the scenario's, so that a pair has a dozen rivals."""
BETWEEN_PAIRS_SD = 0.05
"""Of the log of an efficiency from line pair to line pair where the scenario gives none."""
TERMINALS = ("hook", "ring", "swivel")
LINE_IDS = tuple(LINES)


@dataclass(frozen=True)
class Join:
    """A join of the catalogue: id in the store, name, kind, scatter, and its usual efficiency."""

    pk: int
    name: str
    kind: str
    cv: float
    efficiency: float
    turns: int


@dataclass(frozen=True)
class Target:
    """What joins are tied in: ids of lines in the store (from 1), or one line and a terminal."""

    main: int
    leader: int | None
    terminal: str
    reference: int


def joins() -> list[Join]:
    """The scenario's joins and the invented ones beside them."""
    found: list[Join] = []
    for join in SCENARIO["joins"]:
        usual = float(np.mean(list(join["efficiency"].values())))
        for variant in range(VARIANTS + 1):
            found.append(
                Join(
                    pk=len(found) + 1,
                    name=f"{join['name']}, pattern {variant + 1}" if variant else join["name"],
                    kind=join["kind"],
                    cv=join["cv_join"],
                    efficiency=usual * (1 - 0.03 * variant),
                    turns=5 + variant,
                )
            )
    return found


def targets() -> list[Target]:
    """Line pairs, the scenario's first, then the others; after them lines to terminals."""
    named = [(pair["main"], pair["leader"]) for pair in SCENARIO["line_pairs"]]
    others = [
        (main, leader)
        for main in LINE_IDS
        for leader in LINE_IDS
        if (main, leader) not in named and main != leader and _weaker(main, leader) == main
    ]
    pairs = [
        Target(_pk(main), _pk(leader), "", _pk(_weaker(main, leader)))
        for main, leader in named + others
    ]
    ends = [
        Target(_pk(line), None, terminal, _pk(line)) for terminal in TERMINALS for line in LINE_IDS
    ]
    return pairs + ends


def shares(targets_: list[Target]) -> Floats:
    """How often each target is tied: the first ones far more often than the last."""
    of_pairs = sum(target.leader is not None for target in targets_)
    place = np.array([n if n < of_pairs else n - of_pairs + 4 for n in range(len(targets_))])
    weights: Floats = 1.0 / (place + 2.0)
    weights /= weights.sum()
    return weights


def _weaker(first: str, second: str) -> str:
    return min(first, second, key=lambda line: float(LINES[line]["true_strength_N"]))


def _pk(line: str) -> int:
    return LINE_IDS.index(line) + 1

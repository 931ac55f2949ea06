"""Honest worlds of the panel: a line, three joins, and the people who pull them.

How much testers differ is heavy-tailed (Student's t on four degrees of freedom), sessions are
uneven, pulls are Weibull, gamma, lognormal or skewed to the weak side, scales have many
resolutions and zero errors, and days differ. All numbers are ours; where a check assumes a normal
law or the league's own numbers, these worlds do not.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from scipy.special import gamma

from deploy.benchmarks.screening.sheets import (
    NEWTONS,
    Floats,
    Joined,
    Pulls,
    Rig,
    Sheet,
    Straight,
)

SCALES = (
    *(("lbf", step) for step in (0.01, 0.02, 0.05, 0.1, 0.1, 0.1, 0.2, 0.5)),
    *(("kgf", step) for step in (0.005, 0.01, 0.01, 0.02, 0.05, 0.1)),
    *(("N", step) for step in (0.1, 0.2, 0.5, 1.0)),
)
FIRST_TESTERS = 3
"""So many testers stand in a pool before a fourth comes, where a kind asks for it."""
COARSEST = 0.03
"""Of the weakest join: no wider is the step of a plain tester's scale."""
FAMILIES = ("weibull", "gamma", "lognormal", "weak tail")
PAIRS = (
    ("nylon monofilament", ""),
    ("fluorocarbon", ""),
    ("braided polyethylene", "fluorocarbon"),
    ("copolymer", "nylon monofilament"),
)


@dataclass(frozen=True)
class Law:
    """How pulls of one thing scatter around their mean."""

    family: str
    cv: float

    def draw(self, rng: np.random.Generator, n: int, factor: float = 1.0) -> Floats:
        """Pulls (n,) of mean one; their scatter is ``factor`` times the usual."""
        cv = self.cv * factor
        if self.family == "weibull":
            shape = cv**-1.086
            mean = float(gamma(1 + 1 / shape))
            found: Floats = rng.weibull(shape, n) / mean
            return found
        if self.family == "gamma":
            return rng.gamma(cv**-2, cv**2, n)
        sd = float(np.sqrt(np.log1p(cv**2)))
        if self.family == "lognormal":
            return rng.lognormal(-(sd**2) / 2, sd, n)
        return np.maximum(0.1, 2 - rng.lognormal(-(sd**2) / 2, sd, n)).astype(np.float64)


@dataclass(frozen=True)
class Person:
    """A tester: ``effect`` is of ln(efficiency), ``pulls`` how many a set has."""

    name: str
    rig: Rig
    effect: float
    pulls: int
    straight_pulls: int
    scatter: float = 1.0


@dataclass(frozen=True)
class World:
    """Lines with strengths in newtons, joins with efficiencies, and who pulled them before.

    The first line is the main line. The first join is the one that everybody ties.
    """

    seed: int
    materials: tuple[str, ...]
    strengths_N: tuple[float, ...]
    labels_N: tuple[float, ...]
    line_law: Law
    joins: tuple[str, ...]
    efficiencies: dict[str, float]
    laws: dict[str, Law]
    tester_sd: float
    session_sd: float
    people: list[Person] = field(default_factory=list)
    sheets: list[Sheet] = field(default_factory=list)

    @property
    def lines(self) -> tuple[str, ...]:
        """Names of the lines."""
        return tuple(f"panel line {number}" for number in range(1, len(self.materials) + 1))

    @property
    def favourite(self) -> str:
        """The join that everybody ties."""
        return self.joins[0]

    @property
    def weakest_N(self) -> float:
        """Mean of the weakest join."""
        return min(self.strengths_N) * min(self.efficiencies.values())


@lru_cache(maxsize=4)
def draw_world(seed: int) -> World:
    """The honest world of a seed, with four to six testers and their sessions."""
    rng = np.random.default_rng([17, seed])
    materials = tuple(name for name in PAIRS[rng.integers(len(PAIRS))] if name)
    main_N = float(np.exp(rng.uniform(np.log(60), np.log(350))))
    strengths = (main_N, main_N * float(rng.uniform(1.2, 2.0)))[: len(materials)]
    joins = tuple(f"panel join {number}" for number in (1, 2, 3))
    world = World(
        seed=seed,
        materials=materials,
        strengths_N=strengths,
        labels_N=tuple(one / float(rng.uniform(1.0, 1.5)) for one in strengths),
        line_law=Law(str(rng.choice(FAMILIES)), float(rng.uniform(0.012, 0.04))),
        joins=joins,
        efficiencies={join: float(rng.uniform(0.45, 0.95)) for join in joins},
        laws={
            join: Law(str(rng.choice(FAMILIES)), float(rng.uniform(0.02, 0.12))) for join in joins
        },
        tester_sd=float(rng.uniform(0.02, 0.06)),
        session_sd=float(rng.uniform(0.01, 0.03)),
    )
    for number in range(int(rng.integers(4, 7))):
        person = draw_person(world, rng, f"tester {number + 1}")
        world.people.append(person)
        days = np.sort(rng.choice(150, int(rng.choice([1, 1, 2, 2, 3, 4])), replace=False))
        world.sheets.extend(draw_sheet(world, rng, person, int(day)) for day in days)
    return world


def draw_person(world: World, rng: np.random.Generator, name: str) -> Person:
    """An honest tester with a rig of their own."""
    pulls = int(rng.integers(3, 9))
    return Person(
        name=name,
        rig=draw_rig(world, rng),
        effect=float(rng.standard_t(4)) * world.tester_sd / 2**0.5,
        pulls=pulls,
        straight_pulls=max(4, pulls + int(rng.integers(-1, 3))),
        scatter=float(np.exp(rng.normal(0.0, 0.15))),
    )


def draw_rig(world: World, rng: np.random.Generator) -> Rig:
    """A scale that is fine enough for the joins of the world, calibrated in half of the cases."""
    fine = [
        (unit, step) for unit, step in SCALES if step * NEWTONS[unit] <= COARSEST * world.weakest_N
    ]
    unit, step = fine[rng.integers(len(fine))]
    return Rig(
        unit=unit,
        step=step,
        gain=float(np.exp(rng.normal(0.0, 0.02))),
        offset=float(rng.integers(-3, 4)) * min(step, 0.004 * world.weakest_N / NEWTONS[unit]),
        noise=float(rng.uniform(0.1, 0.6)) * step,
        calibrated=bool(rng.random() < 0.5),
        load_path=f"over the bench, hook {int(rng.integers(10_000))}",
    )


def draw_sheet(
    world: World,
    rng: np.random.Generator,
    person: Person,
    day: int,
    *,
    joins: tuple[str, ...] | None = None,
    pulls: int | None = None,
    spool: float = 1.0,
    state: str = "dry",
) -> Sheet:
    """An honest session: straight line, then the favourite and perhaps the other joins.

    ``spool`` is the strength of the tester's spool over that of the product.
    """
    if joins is None:
        joins = (world.favourite, *(one for one in world.joins[1:] if rng.random() < 0.6))
    of_day = spool * np.exp(rng.normal(0.0, 0.02))
    rig = replace(person.rig, gain=person.rig.gain * float(np.exp(rng.normal(0.0, 0.003))))
    strengths_N = [one * of_day for one in world.strengths_N]
    own = person.effect + rng.normal(0.0, world.session_sd)
    return Sheet(
        person=person.name,
        rig=person.rig,
        day=day,
        straight=tuple(
            Straight(line, _straight(world, rng, rig, strength_N, pulls or person.straight_pulls))
            for line, strength_N in zip(world.lines, strengths_N, strict=True)
        ),
        joined=tuple(
            Joined(join, _joined(world, rng, rig, person, join, min(strengths_N), own, pulls))
            for join in joins
        ),
        spool=f"{person.name}'s",
        state=state,
    )


def _straight(world: World, rng: np.random.Generator, rig: Rig, strength_N: float, n: int) -> Pulls:
    """Straight line; some pulls part at the grip, lower, but three at least do not."""
    loads_N = strength_N * world.line_law.draw(rng, n)
    at_grip = rng.random(n) < 0.05
    at_grip[rng.choice(n, 3, replace=False)] = False
    loads_N = np.where(at_grip, loads_N * rng.uniform(0.85, 1.0, n), loads_N)
    return Pulls(rig.shown(rng, loads_N), tuple("grip" if grip else "line" for grip in at_grip))


def _joined(
    world: World,
    rng: np.random.Generator,
    rig: Rig,
    person: Person,
    join: str,
    line_N: float,
    effect: float,
    pulls: int | None,
) -> Pulls:
    """Joined line: the weaker of join and line parts; a few pulls slip."""
    n = pulls or max(3, person.pulls + int(rng.integers(-1, 2)))
    mean_N = line_N * world.efficiencies[join] * np.exp(effect + rng.normal(0.0, 0.01))
    join_N = mean_N * world.laws[join].draw(rng, n, person.scatter)
    straight_N = line_N * world.line_law.draw(rng, n)
    slipped = rng.random(n) < 0.03
    modes = np.where(straight_N < join_N, "line", np.where(slipped, "slip", "join"))
    return Pulls(rig.shown(rng, np.minimum(join_N, straight_N)), tuple(modes.tolist()))

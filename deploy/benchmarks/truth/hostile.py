"""Worlds by another person's rules, drawn as single readings.

Testers differ by Student's t; their sessions are uneven and their sets small; a rig reads with a
zero error and in steps, and has a share of weak grips of its own; joins scatter by the lognormal,
Weibull's law or a skewed one. Where a world says so, testers are on few line products or in clubs
that share a spool, and some have another tester tie for them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma

from results.statistics.roots import root_between

Floats = NDArray[np.float64]
Rng = np.random.Generator

LINE_N = 100.0
WEAK_GRIP = (0.85, 0.99)
"""Share of the line's strength at which a weak grip parts it."""
GAMMA_SHAPE = 4.0
"""Of the skewed law: a skewness of one, to the strong side."""


@dataclass(frozen=True)
class World:
    """Standard deviations are of ln(efficiency), coefficients of variation of single loads.

    ``tails`` are the degrees of freedom of testers' effects, None for normal ones; ``shared`` is
    the share of a tester's variance that all joins have in common. ``own`` says that the line
    parts first where it is the weaker. ``products`` and ``clubs`` are how many there are, 0 for
    no such effects. ``friends`` is the share of testers who have another tie for them.
    """

    testers: int
    efficiencies: tuple[float, ...] = (0.85,)
    tails: float | None = 4.0
    law: str = "lognormal"
    tester_sd: float = 0.04
    session_sd: float = 0.02
    set_sd: float = 0.01
    cv_join: float = 0.07
    cv_line: float = 0.035
    day_sd: float = 0.02
    shared: float = 1.0
    sessions: tuple[int, int] = (1, 4)
    pulls: tuple[int, int] = (3, 8)
    own: bool = False
    grip: float = 0.05
    zero_error_N: float = 0.3
    step_N: float = 0.5
    products: int = 0
    product_sd: float = 0.03
    clubs: int = 0
    club_sd: float = 0.01
    friends: float = 0.0


@dataclass
class Pulled:
    """Readings (n,) in newtons, where each pull parted, and the set or baseline it is of."""

    reading_N: list[float] = field(default_factory=list)
    parted: list[str] = field(default_factory=list)
    group: list[int] = field(default_factory=list)

    def add(self, readings_N: Floats, parted: NDArray[np.str_], group: int) -> None:
        self.reading_N += readings_N.tolist()
        self.parted += parted.tolist()
        self.group += [group] * readings_N.size


@dataclass(frozen=True)
class Drawn:
    """Sets (k,) by codes, and the pulls behind them; a session has one baseline.

    ``true`` is each set's own log efficiency, ``effect`` (T, J) each tester's, or that of the
    tester who ties for them.
    ``product`` and ``club`` are of each set; ``of_product`` are the products' effects, and
    ``zero_N`` the zero error of each tester's scale, of standard deviation ``u_zero_N``.
    """

    tester: NDArray[np.int64]
    session: NDArray[np.int64]
    join: NDArray[np.int64]
    product: NDArray[np.int64]
    club: NDArray[np.int64]
    tyer: NDArray[np.int64]
    true: Floats
    straight: Pulled
    joined: Pulled
    effect: Floats
    of_product: Floats
    zero_N: Floats
    u_zero_N: float


def tester_effects(rng: Rng, world: World, size: int | tuple[int, ...]) -> Floats:
    """Of the world's standard deviation, whatever their tails."""
    if world.tails is None:
        return world.tester_sd * rng.normal(size=size)
    scale = np.sqrt((world.tails - 2) / world.tails)
    return np.asarray(world.tester_sd * scale * rng.standard_t(world.tails, size))


def unit_loads(rng: Rng, law: str, cv: float, size: int) -> Floats:
    """Loads of mean one and this coefficient of variation."""
    if law == "lognormal":
        sd = np.sqrt(np.log1p(cv**2))
        return np.asarray(np.exp(sd * rng.normal(size=size) - sd**2 / 2))
    if law == "skewed":
        drawn = rng.gamma(GAMMA_SHAPE, size=size)
        return np.asarray(1 + cv * (drawn - GAMMA_SHAPE) / np.sqrt(GAMMA_SHAPE))
    shape = weibull_shape(cv)
    return np.asarray(rng.weibull(shape, size) / gamma(1 + 1 / shape))


@cache
def weibull_shape(cv: float) -> float:
    """Of Weibull loads with this coefficient of variation."""
    return root_between(
        lambda k: float(gamma(1 + 2 / k) / gamma(1 + 1 / k) ** 2 - 1 - cv**2), 1.0, 300.0
    )


def draw(rng: Rng, world: World, first: float | None = None) -> Drawn:
    """One line pair's sessions, each with straight line and a set of every join.

    ``first`` is the first tester's effect, where it is not drawn.
    """
    joins = len(world.efficiencies)
    common = tester_effects(rng, world, world.testers)[:, None] * np.sqrt(world.shared)
    apart = tester_effects(rng, world, (world.testers, joins)) * np.sqrt(1 - world.shared)
    effect = np.log(world.efficiencies) + common + apart
    if first is not None:
        effect[0] = np.log(world.efficiencies) + first
    tyer = np.arange(world.testers)
    helped = (rng.random(world.testers) < world.friends) & (tyer > 0)
    tyer = np.where(helped, tyer - 1, tyer)
    of_product = world.product_sd * rng.normal(size=max(world.products, 1))
    of_club = world.club_sd * rng.normal(size=max(world.clubs, 1))
    straight, joined = Pulled(), Pulled()
    zeros_N: list[float] = []
    of_sets: list[float] = []
    rows: list[tuple[int, ...]] = []
    session = 0
    for tester in range(world.testers):
        bench = _Bench(rng, world)
        zeros_N.append(bench.zero_N)
        club = tester % max(world.clubs, 1)
        for _ in range(rng.integers(world.sessions[0], world.sessions[1] + 1)):
            product = int(rng.integers(max(world.products, 1)))
            level = world.session_sd * rng.normal()
            level += of_product[product] if world.products else 0.0
            level += of_club[club] if world.clubs else 0.0
            line_N = LINE_N * np.exp(world.day_sd * rng.normal())
            straight.add(*bench.pulled(line_N, None), session)
            for join in range(joins):
                true = effect[tyer[tester], join] + level + world.set_sd * rng.normal()
                joined.add(*bench.pulled(line_N, float(np.exp(true))), len(rows))
                rows.append((tester, session, join, product, club, tyer[tester]))
                of_sets.append(true)
            session += 1
    of_set = (np.array(column, dtype=np.int64) for column in zip(*rows, strict=True))
    names = ("tester", "session", "join", "product", "club", "tyer")
    return Drawn(
        **dict(zip(names, of_set, strict=True)),
        true=np.array(of_sets),
        straight=straight,
        joined=joined,
        effect=effect[tyer],
        of_product=of_product,
        zero_N=np.array(zeros_N),
        u_zero_N=world.zero_error_N,
    )


class _Bench:
    """A rig with a zero error and a share of weak grips of its own."""

    def __init__(self, rng: Rng, world: World) -> None:
        self.rng, self.world = rng, world
        self.zero_N = world.zero_error_N * rng.normal()
        self.grip = min(0.5, world.grip * rng.gamma(1.0)) if world.grip else 0.0

    def pulled(self, line_N: float, efficiency: float | None) -> tuple[Floats, NDArray[np.str_]]:
        """A set, or straight line where ``efficiency`` is None, as read."""
        rng, world = self.rng, self.world
        n = int(rng.integers(world.pulls[0], world.pulls[1] + 1))
        line = line_N * unit_loads(rng, "lognormal", world.cv_line, n)
        loads, names = [line], ["line"]
        if efficiency is not None:
            own = line_N * efficiency * unit_loads(rng, world.law, world.cv_join, n)
            loads = [own, line] if world.own else [own]
            names = ["join", "line"]
        weak = rng.random(n) < self.grip
        held = rng.uniform(*WEAK_GRIP, n) * line_N
        whole = np.stack([*loads, np.where(weak, held, np.inf)])
        parted = np.array([*names[: len(loads)], "grip"])[whole.argmin(axis=0)]
        read = np.rint((whole.min(axis=0) + self.zero_N) / world.step_N) * world.step_N
        return np.maximum(read, world.step_N), parted

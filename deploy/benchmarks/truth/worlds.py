"""Worlds with a known truth for `deploy/bench truth`: sets of one join drawn from the scenario.

The join, its line and the scatter between testers and sessions are the scenario's; how many testers
there are, how much they differ and what goes wrong is the world's.  Drawn in arrays, one row a
session, because thousands of pools are needed.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from deploy.demo.scenario import LINES, MODEL, SCENARIO

Floats = NDArray[np.float64]

PAIR, JOIN = "estuary-leader", "Alberto"
LINE = LINES["ostrel-fluoro-40"]
LINE_N, CV_LINE = float(LINE["true_strength_N"]), float(LINE["cv_line"])
TESTER_SD, SESSION_SD = MODEL["tester_effect_sd_log"], MODEL["session_effect_sd_log"]
NOISE_N, RESOLUTION_N = 0.4, 0.5
GRIP_FACTOR = (0.80, 0.98)
WEAK_LOG, WEAK_SCATTER = -0.17, 1.8
LINE_BREAKING_EFFICIENCY = 0.97
"""At this efficiency about a third of the pulls of this join part in the line."""

_scenario_join = next(join for join in SCENARIO["joins"] if join["name"] == JOIN)
EFFICIENCY, CV_JOIN = _scenario_join["efficiency"][PAIR], _scenario_join["cv_join"]
LEAGUE_SESSIONS = [tester["sessions"] for tester in SCENARIO["testers"]]
LEAGUE_PULLS = [tester["pulls"] for tester in SCENARIO["testers"]]
EFFECTS, EFFECT_WEIGHTS = np.polynomial.hermite_e.hermegauss(31)


@dataclass(frozen=True)
class World:
    """One kind of pool; sds are of ln(efficiency), ``grip_rate`` of pulls that part at a grip."""

    name: str
    testers: int
    tester_sd: float = TESTER_SD
    session_sd: float = SESSION_SD
    uneven: bool = False
    line_breaks: bool = False
    grip_rate: float = 0.0
    drift: float = 0.0
    weak: bool = False

    @property
    def log_efficiency(self) -> float:
        return float(np.log(LINE_BREAKING_EFFICIENCY if self.line_breaks else EFFICIENCY))

    @property
    def total_sd(self) -> float:
        return float(np.hypot(self.tester_sd, self.session_sd))

    def seen(self, join_log: Floats) -> Floats:
        """True log efficiency that sets show, of joins whose own is ``join_log``."""
        return assembly(join_log) if self.line_breaks else join_log

    def mean(self) -> float:
        """Mean over testers and sessions of what sets show."""
        at = self.seen(self.log_efficiency + self.total_sd * EFFECTS)
        return float(EFFECT_WEIGHTS @ at / EFFECT_WEIGHTS.sum())

    def newcomers(self, random: np.random.Generator, n: int) -> Floats:
        """True values of the next set of n new testers."""
        return self.seen(random.normal(self.log_efficiency, self.total_sd, n))


def worlds() -> list[World]:
    """Every world the benchmark judges."""
    counts = (3, 5, 10, 30, 100)
    return [
        *(World("even", testers) for testers in counts),
        *(World("uneven", testers, uneven=True) for testers in counts),
        *(World("much alike", testers, tester_sd=0.01, session_sd=0.005) for testers in counts),
        *(World("line parts", testers, line_breaks=True) for testers in (5, 10, 30)),
        *(World("grip parts", testers, grip_rate=0.2) for testers in (5, 10)),
        *(World("drifting rigs", testers, drift=-0.035) for testers in (5, 10)),
        *(World("one weak tyer", testers, weak=True) for testers in (5, 10, 30)),
    ]


@dataclass(frozen=True)
class Drawn:
    """Loads (sessions, most pulls), NaN beyond a session's own number, and the truth behind them.

    ``join_at_grip`` and ``baseline_at_grip`` say which loads are only 'at least'.
    """

    tester: NDArray[np.int64]
    join_N: Floats
    join_at_grip: NDArray[np.bool_]
    baseline_N: Floats
    baseline_at_grip: NDArray[np.bool_]
    set_log: Floats
    tester_log: Floats


def draw(world: World, random: np.random.Generator) -> Drawn:
    """One pool's worth of sessions, each with a baseline and a set of the join."""
    sessions, pulls = _programme(world)
    tester = np.repeat(np.arange(world.testers), sessions)
    number = np.concatenate([np.arange(count) for count in sessions])
    effect = random.normal(0.0, world.tester_sd, world.testers)
    cv = np.full(tester.size, CV_JOIN)
    if world.weak:
        effect[0] = WEAK_LOG
        cv[tester == 0] *= WEAK_SCATTER
    own_log = world.log_efficiency + effect[tester]
    own_log = own_log + random.normal(0.0, world.session_sd, tester.size)
    shape = (tester.size, int(pulls.max()))
    day_N = LINE_N * np.exp(random.normal(0.0, MODEL["line_session_sd_log"], tester.size))
    join = lognormal(random, day_N * np.exp(own_log), cv, shape)
    if world.line_breaks:
        join = np.minimum(join, lognormal(random, day_N, CV_LINE, shape))
    straight = lognormal(random, day_N, CV_LINE, shape)
    join, join_at_grip = _at_grip(world, random, join, day_N)
    straight, straight_at_grip = _at_grip(world, random, straight, day_N)
    gain = np.exp(world.drift * number)[:, None]
    beyond = np.arange(shape[1]) >= pulls[tester][:, None]
    return Drawn(
        tester=tester,
        join_N=np.where(beyond, np.nan, _read(random, gain * join)),
        join_at_grip=join_at_grip,
        baseline_N=np.where(beyond, np.nan, _read(random, gain * straight)),
        baseline_at_grip=straight_at_grip,
        set_log=own_log,
        tester_log=world.log_efficiency + effect,
    )


def _programme(world: World) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Sessions and pulls of each tester: three of eight, or the league's own."""
    if not world.uneven:
        return np.full(world.testers, 3), np.full(world.testers, 8)
    return np.resize(LEAGUE_SESSIONS, world.testers), np.resize(LEAGUE_PULLS, world.testers)


def lognormal(
    random: np.random.Generator, mean: Floats | float, cv: Floats | float, shape: tuple[int, int]
) -> Floats:
    """Strengths of these means and coefficients of variation, one of each a row."""
    variance = np.log1p(np.square(cv))
    centre = np.log(mean) - variance / 2
    spread = np.sqrt(variance)
    return np.exp(
        np.reshape(centre, (-1, 1)) + np.reshape(spread, (-1, 1)) * random.normal(size=shape)
    )


def _at_grip(
    world: World, random: np.random.Generator, load: Floats, day_N: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    weak = random.random(load.shape) < world.grip_rate
    line = lognormal(random, day_N, CV_LINE, (load.shape[0], load.shape[1]))
    grip = np.where(weak, random.uniform(*GRIP_FACTOR, load.shape) * line, np.inf)
    return np.minimum(load, grip), grip < load


def _read(random: np.random.Generator, force: Floats) -> Floats:
    shown = force + random.normal(0.0, NOISE_N, force.shape)
    return np.rint(shown / RESOLUTION_N) * RESOLUTION_N


def assembly(join_log: Floats) -> Floats:
    """ln of the mean of the weaker of join and line over the line's mean, both lognormal."""
    spread = float(np.sqrt(np.log1p(CV_JOIN**2) + np.log1p(CV_LINE**2)))
    join_weaker = ndtr((-join_log - spread**2 / 2) / spread)
    line_weaker = ndtr((join_log - spread**2 / 2) / spread)
    return np.asarray(np.log(np.exp(join_log) * join_weaker + line_weaker))

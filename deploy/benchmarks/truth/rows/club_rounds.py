"""A club's round: do the intervals of rigs and hands cover what was drawn?

Rigs and hands come from t on 4 degrees of freedom or normal, joins are Weibull, sets differ beyond
their pulls, and some pulls are cut short at the grip.  Scales may show steps and a zero that is
off, and some of those who entered send nothing, or not all.  "In the round" is about the distance
from the robust mean of the rigs, or hands, that took part; the other interval about the rig itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from deploy.benchmarks.truth.hostile import unit_loads
from deploy.benchmarks.truth.row import Measured, Rng, Row
from results.statistics.robust import algorithm_a
from results.statistics.rounds.effects import Effect
from results.statistics.rounds.observations import Observations, Sample
from results.statistics.rounds.round_report import RoundReport, report
from results.statistics.rounds.spread import Spread

Floats = NDArray[np.float64]

SAMPLES = (
    Sample(1, tied_centrally=True),
    Sample(2, tied_centrally=True),
    Sample(3, tied_centrally=False),
    Sample(4, tied_centrally=False),
    Sample(5, tied_centrally=True, duplicate_of=1),
    Sample(6, tied_centrally=False, duplicate_of=3),
)
STRENGTH_N = {1: 80.0, 2: 70.0, 3: 80.0, 4: 70.0}
CV = {1: 0.06, 2: 0.08, 3: 0.06, 4: 0.08}
MIDDLE_N = 75.0
"""Where a zero error counts as so many percent of a rig's reading: it does as many more or less on
samples that hold less or more."""
WEAK_GRIP = (0.8, 1.1)
"""Where the grip parts, as a share of what the sample holds."""


@dataclass(frozen=True)
class World:
    """How rounds are drawn; scatters are of ln load."""

    participants: int = 8
    pulls: int = 6
    tails: float | None = 4.0
    rig_sd: float = 0.04
    hand_sd: float = 0.05
    set_sd: float = 0.01
    grip_breaks: float = 0.05
    step_N: float = 0.0
    zero_sd_N: float = 0.0
    sends_nothing: float = 0.0
    sample_missing: float = 0.0


@dataclass(frozen=True)
class DrawnRound:
    """What was seen, and the rigs and hands (p,) behind it as ln ratios to the truth."""

    observed: Observations
    rigs: Floats
    hands: Floats


def draw(world: World, rng: Rng) -> DrawnRound:
    """One round of eight, or as many, who pull every sample under each of its codes."""
    rigs, hands = _effects(world, world.rig_sd, rng), _effects(world, world.hand_sd, rng)
    zeros_N = np.zeros(world.participants)
    if world.zero_sd_N:
        zeros_N = world.zero_sd_N * rng.normal(size=world.participants)
    loads, at_least, who, what = [], [], [], []
    for person in range(world.participants):
        if world.sends_nothing and rng.random() < world.sends_nothing:
            continue
        for sample in SAMPLES:
            if world.sample_missing and rng.random() < world.sample_missing:
                continue
            effect = rigs[person] + (0.0 if sample.tied_centrally else hands[person])
            held = STRENGTH_N[sample.material] * np.exp(effect + world.set_sd * rng.normal())
            own = held * unit_loads(rng, "weibull", CV[sample.material], world.pulls)
            grip = held * rng.uniform(*WEAK_GRIP, world.pulls)
            cut = (rng.random(world.pulls) < world.grip_breaks) & (grip < own)
            shown = np.where(cut, grip, own) + zeros_N[person]
            if world.step_N:
                shown = world.step_N * np.round(shown / world.step_N)
            loads += shown.tolist()
            at_least += cut.tolist()
            who += [person] * world.pulls
            what += [sample.id] * world.pulls
    people = tuple(range(world.participants))
    observed = Observations(SAMPLES, people, who, what, loads, at_least)
    return DrawnRound(observed, rigs + np.log1p(zeros_N / MIDDLE_N), hands)


def _effects(world: World, sd: float, rng: Rng) -> Floats:
    if world.tails is None:
        return np.asarray(sd * rng.normal(size=world.participants))
    of_unit = np.sqrt((world.tails - 2) / world.tails)
    return np.asarray(sd * of_unit * rng.standard_t(world.tails, world.participants))


def once(world: World, rng: Rng) -> Measured:
    """Draw a round, report it, and hold its intervals against what was drawn."""
    drawn = draw(world, rng)
    yield from judge(world, drawn, report(drawn.observed))


def judge(world: World, drawn: DrawnRound, found: RoundReport) -> Measured:
    """1 or 0 for each interval, participant by participant, of those who sent."""
    apart = found.hands_and_rigs
    for name, kind, true, sd in (
        ("rig", apart.rigs, drawn.rigs, world.rig_sd),
        ("hand", apart.hands, drawn.hands, world.hand_sd),
    ):
        there = [effect.participant for effect in kind.effects]
        if not there:
            continue
        centre = algorithm_a(true[there]).mean
        for effect in kind.effects:
            yield name, _covers(effect, true[effect.participant], _whole)
            yield f"{name} in the round", _covers(effect, true[effect.participant] - centre, _here)
        if kind.spread is not None:
            yield f"scatter of {name}s", _holds(kind.spread, sd)


def _whole(effect: Effect) -> tuple[float, float]:
    return effect.low_percent, effect.high_percent


def _here(effect: Effect) -> tuple[float, float]:
    return effect.low_in_round_percent, effect.high_in_round_percent


def _covers(effect: Effect, true: float, ends: Callable[[Effect], tuple[float, float]]) -> float:
    low, high = ends(effect)
    return float(low <= 100 * np.expm1(true) <= high)


def _holds(spread: Spread, sd: float) -> float:
    return float(spread.low_percent <= 100 * sd <= spread.high_percent)


EFFECTS = ("rig", "rig in the round", "hand", "hand in the round")
SCATTERS = ("scatter of rigs", "scatter of hands")
AIMS = dict.fromkeys((*EFFECTS, *SCATTERS), "95")
CASES = {
    "eight, t4": World(),
    "eight, normal": World(tails=None),
    "eight, t4, weak grips": World(grip_breaks=0.3),
    "twelve, t4, small effects": World(participants=12, pulls=10, rig_sd=0.01, hand_sd=0.01),
    "four, t4": World(participants=4),
    "three, t4, four pulls": World(participants=3, pulls=4),
    "eight, t4, large effects": World(rig_sd=0.08, hand_sd=0.1),
    "eight, t4, dial scales": World(step_N=2.0, zero_sd_N=0.5),
    "ten, t4, some missing": World(participants=10, sends_nothing=0.15, sample_missing=0.05),
    "ten, t4, all at once": World(
        participants=10,
        grip_breaks=0.1,
        step_N=1.0,
        zero_sd_N=0.5,
        sends_nothing=0.15,
        sample_missing=0.05,
    ),
}
ROWS = tuple(Row("club round", case, partial(once, world), AIMS) for case, world in CASES.items())

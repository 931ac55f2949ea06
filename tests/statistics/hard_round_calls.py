"""How the functions of a round are called with the hard inputs."""

from collections.abc import Callable, Iterator

import numpy as np

from results.statistics import precision
from results.statistics.errors import StatisticsError
from results.statistics.rounds import (
    cells,
    consistency,
    effects,
    flags,
    hands_and_rigs,
    homogeneity,
    observations,
    round_report,
    scores,
    scoring,
    spools,
    spread,
)
from tests.statistics.hard_arguments import Calls, over
from tests.statistics.hard_inputs import LOADS, LOGS, POSITIVE, VALUES

SAMPLES = tuple(
    observations.Sample(*row)
    for row in ((1, True), (2, True), (3, False), (4, False), (5, True, 1), (6, False, 3))
)


def _observed(loads: tuple, people: int) -> observations.Observations:
    """Loads dealt out to participants and samples in turn."""
    load, at_least = (np.asarray(each) for each in loads)
    row = np.arange(load.size)
    return observations.Observations(
        samples=SAMPLES,
        participants=tuple(range(1, people + 1)),
        participant=1 + row % people,
        sample=1 + row // people % 6,
        load_N=load,
        at_least=at_least,
        reading_uncertainty={1: 0.01},
        spools=(observations.SpoolPulls(1, ((90.0, 91.0), (92.0, 90.5)), (90.0,)),),
    )


def _cells(loads: tuple, people: int = 8) -> cells.CellsOfSample:
    return cells.cells_of(observations.pulls_of(_observed(loads, people)), 1)


def _of_cells(function: Callable) -> Callable[[], Calls]:
    return over(lambda loads: function(_cells(loads).cells), LOADS)


def _scored(loads: tuple, sigma: float | None) -> object:
    found = _cells(loads)
    assigned = scoring.assigned_value(found, sigma)
    return assigned if isinstance(assigned, str) else scoring.scores(found, assigned, {1: 0.01})


def _sets(y: float, variance: float, materials: int) -> effects.SetMeans:
    rng = np.random.default_rng(8)
    size = 4 * materials
    return effects.SetMeans(
        participant=np.arange(size) % 4,
        material=np.arange(size) // 4,
        log_mean=y * rng.normal(size=size),
        variance=variance * rng.lognormal(size=size),
        freedom=5,
    )


def _levels() -> Iterator[effects.Levels]:
    for y in LOGS:
        for variance in POSITIVE:
            for materials in (1, 3):
                try:
                    yield effects.levels(_sets(y, variance, materials))
                except StatisticsError:
                    continue


LEVELS = list(_levels())

ROUND_CALLS: dict[str, Callable[[], Calls]] = {
    "precision.precision_of_cells": over(
        lambda v: precision.precision_of_cells(
            tuple(map(str, range(v.size))), v, np.abs(v), np.full(v.size, 3)
        ),
        VALUES,
    ),
    "rounds.cells.cells_of": over(_cells, LOADS, (1, 3, 8)),
    "rounds.consistency.sample_precision": _of_cells(consistency.sample_precision),
    "rounds.effects.levels": over(
        lambda *args: effects.levels(_sets(*args)), LOGS, POSITIVE, (1, 3)
    ),
    "rounds.effects.effects": over(
        lambda one, other: effects.effects((1, one), (-1, other)), LEVELS[::5], LEVELS[::7]
    ),
    "rounds.effects.percent": over(effects.percent, (*LOGS, 1e6)),
    "rounds.flags.flags": _of_cells(flags.flags),
    "rounds.hands_and_rigs.hands_and_rigs": over(
        lambda loads: hands_and_rigs.hands_and_rigs(SAMPLES, (_cells(loads),)), LOADS
    ),
    "rounds.homogeneity.expanding_factors": over(
        homogeneity.expanding_factors, (1, 2, 10, 10**6), (1, 2, 50)
    ),
    "rounds.homogeneity.homogeneity": over(
        lambda v, sigma: homogeneity.homogeneity(v[: v.size // 2 * 2].reshape(-1, 2), sigma),
        VALUES, POSITIVE,
    ),
    "rounds.homogeneity.stability": over(homogeneity.stability, LOGS, LOGS, POSITIVE),
    "rounds.observations.pulls_of": over(
        lambda loads: observations.pulls_of(_observed(loads, 3)), LOADS
    ),
    "rounds.round_report.report": over(
        lambda loads, people: round_report.report(_observed(loads, people)), LOADS, (1, 3, 8)
    ),
    "rounds.scores.outcome": over(scores.outcome, (*LOGS, 2.0, 3.0)),
    "rounds.scores.scored": over(
        lambda value, u, sigma: scores.scored(1, value, 1.0, u, sigma, sigma),
        POSITIVE, (0.0, *POSITIVE), POSITIVE,
    ),
    "rounds.scoring.assigned_value": over(_scored, LOADS, (None, 0.05)),
    "rounds.scoring.scores": over(_scored, LOADS, (None, 1e-6, 10.0)),
    "rounds.spools.spool_report": over(
        lambda load, sigma: spools.spool_report(
            observations.SpoolPulls(1, ((load, load), (2 * load, load)), (load,)), sigma
        ),
        POSITIVE, (None, *POSITIVE),
    ),
    "rounds.spread.between_participants": over(
        lambda one, other: spread.between_participants((1, one), (-1, other)),
        LEVELS[::5], LEVELS[::7],
    ),
    "rounds.spread.variance_interval_of": over(spread.variance_interval_of, VALUES),
    "rounds.spread.blind_repeats": over(
        lambda y, variance: spread.blind_repeats(_sets(y, variance, 3), _sets(-y, variance, 3)),
        LOGS, POSITIVE,
    ),
}  # fmt: skip

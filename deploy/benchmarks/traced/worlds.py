"""Pools of testers with load cells, by rules that are not the methods'.

A hand winch whose pace pulses with its crank and whose line stiffens, joins and straight line
pulled at different paces, and cells whose zero wanders through a session. Each pull is sampled,
described and worked out as an upload is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from results.normalising.traced_errors import Shown, traced_errors
from results.pools.pool_data import Members
from results.statistics.censored import Strength, strength
from rigs.metrology.traces.pull import describe

Floats = NDArray[np.float64]
Rng = np.random.Generator

RATES_Hz = (5, 10, 80, 1000)
LINE_N, EFFICIENCY = 100.0, 0.80
STRAIGHT, JOINED = 6, 5
STEP_N, NOISE_N, IDLE_S = 0.1, 0.05, 1.0
U_OFFSET_N = 0.3
"""Standard deviation of the error of the calibrated zero, which the calibration states."""
TESTER_SD, SET_SD, CV_JOIN, CV_LINE = 0.03, 0.01, 0.05, 0.025
TARE_N, WANDER_N = 1.0, 0.5
"""Standard deviations of a session's zero, and of its change from straight line to joins."""
PACE_N_per_s, PACES, PACE_OF_JOINS = 30.0, 0.4, 0.5
"""Middle pace, and standard deviations of its logarithm: by tester, and of joins over line."""


@dataclass(frozen=True)
class World:
    """The sets of a pool, and by tester (T,) the true efficiency of their joins."""

    members: Members
    true: Floats


@dataclass(frozen=True)
class Row:
    """One set: the two strengths, and what its traces show of their log ratio."""

    tester: int
    session: int
    joined: Strength
    straight: Strength
    moved: tuple[float, float]


def drawn(rng: Rng, testers: int, samples_per_s: int | None) -> World:
    """A pool; without ``samples_per_s`` each tester has one of ``RATES_Hz``."""
    effect = TESTER_SD * rng.standard_t(4, testers) / np.sqrt(2)
    true = EFFICIENCY * np.exp(effect)
    rows: list[Row] = []
    for tester in range(testers):
        rate = samples_per_s or int(rng.choice(RATES_Hz))
        rows += _of_tester(rng, tester + 1, float(true[tester]), rate)
    return World(_members(rows), true)


def _of_tester(rng: Rng, tester: int, true: float, samples_per_s: int) -> Iterator[Row]:
    offset_N = U_OFFSET_N * rng.normal()
    pace = PACE_N_per_s * np.exp(PACES * rng.normal())
    of_joins = pace * np.exp(PACE_OF_JOINS * rng.normal())
    for session in range(int(rng.integers(1, 4))):
        tare_N = TARE_N * rng.normal()
        lines = LINE_N * (1 + CV_LINE * rng.normal(size=STRAIGHT))
        straight, of_line = _pulled(rng, lines, offset_N, tare_N, pace, samples_per_s)
        for _ in range(2):
            mean_N = LINE_N * true * np.exp(SET_SD * rng.normal())
            joins = mean_N * (1 + CV_JOIN * rng.normal(size=JOINED))
            zero_N = tare_N + WANDER_N * rng.normal()
            joined, of_join = _pulled(rng, joins, offset_N, zero_N, of_joins, samples_per_s)
            errors = traced_errors(of_join, of_line, (JOINED, STRAIGHT), 0.0, 1.0)
            assert errors is not None
            moved = errors.in_log_ratio(joined.mean_N, straight.mean_N)
            yield Row(tester, 10 * tester + session, joined, straight, moved)


def _pulled(
    rng: Rng, loads_N: Floats, offset_N: float, zero_N: float, pace: float, samples_per_s: int
) -> tuple[Strength, Shown]:
    """Strength by the highest samples, and what the traces show.

    What the calibration has wrong of the zero is in the idle reading too, and is not seen there:
    the cell is tared to it.
    """
    readings, shown = [], []
    for load_N in loads_N.tolist():
        time_s, force_N = _recorded(rng, load_N, pace, samples_per_s)
        found = describe(time_s, _as_printed(rng, force_N + zero_N))
        missed_N = hypot(found.missed_peak_N - found.noise_excess_N, found.u_missed_peak_N)
        readings.append(found.peak_N + offset_N)
        shown.append((found.zero_error_N, missed_N))
    return strength(readings, np.zeros(len(readings), dtype=bool), STEP_N), shown


def _recorded(rng: Rng, load_N: float, pace: float, samples_per_s: int) -> tuple[Floats, Floats]:
    """Force by the turns of a crank, from before the load to after the break."""
    power, pulse, turn = rng.uniform(1.0, 1.6), rng.uniform(0.0, 0.3), rng.uniform(0, 2 * np.pi)
    long_s = load_N / pace
    time_s = np.arange(rng.uniform(0, 1 / samples_per_s), long_s + 2 * IDLE_S, 1 / samples_per_s)
    wound = np.clip((time_s - IDLE_S) / long_s, 0.0, None)
    wave = 2 * np.pi * long_s
    wound = wound + pulse / wave * (np.sin(wave * wound + turn) - np.sin(turn)) * (wound > 0)
    whole = 1 + pulse / wave * (np.sin(wave + turn) - np.sin(turn))
    force_N = load_N * (np.clip(wound, 0.0, None) / whole) ** power
    return time_s, np.where(time_s - IDLE_S > long_s, 0.0, force_N)


def _as_printed(rng: Rng, force_N: Floats) -> Floats:
    noisy = force_N + NOISE_N * rng.normal(size=force_N.size)
    return np.asarray(np.round(noisy / STEP_N) * STEP_N)


def _members(rows: Sequence[Row]) -> Members:
    k = len(rows)
    whole, none = np.ones(k, dtype=np.int64), np.zeros(k, dtype=np.int64)
    tester = np.array([row.tester for row in rows])
    session = np.array([row.session for row in rows])
    zero_of_pulls, missed_peak = np.array([row.moved for row in rows]).T
    return Members(
        pull_set=np.arange(1, k + 1),
        tester=tester,
        session=session,
        baseline=session,
        calibration=tester,
        pulls=JOINED * whole,
        main_line=whole,
        leader_line=none,
        hand=none,
        revision=tester,
        club_round=none,
        mean_N=np.array([row.joined.mean_N for row in rows]),
        cv=np.array([row.joined.cv for row in rows]),
        n_effective=np.array([row.joined.n_effective for row in rows], dtype=float),
        degrees_of_freedom=np.array([row.joined.degrees_of_freedom for row in rows], dtype=float),
        baseline_mean_N=np.array([row.straight.mean_N for row in rows]),
        baseline_cv=np.array([row.straight.cv for row in rows]),
        baseline_n_effective=np.array([row.straight.n_effective for row in rows], dtype=float),
        baseline_degrees_of_freedom=np.array(
            [row.straight.degrees_of_freedom for row in rows], dtype=float
        ),
        resolution_N=np.full(k, STEP_N),
        u_offset_N=np.full(k, U_OFFSET_N),
        gain=np.ones(k),
        scale_resolution_N=np.full(k, STEP_N),
        capacity_N=np.full(k, np.nan),
        zero_of_pulls=zero_of_pulls,
        missed_peak=missed_peak,
    )

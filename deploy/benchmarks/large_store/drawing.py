"""Sessions, sets and pulls of the large store as columns, by the scenario's own model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from deploy.benchmarks.large_store.catalogue import (
    BETWEEN_PAIRS_SD,
    JOINS_A_SESSION,
    LINE_IDS,
    Join,
    Target,
    joins,
    shares,
    targets,
)
from deploy.demo.scenario import LINES, MODEL, SCENARIO, WET_NYLON, WET_NYLON_JOIN, is_nylon
from rigs.metrology.units import FORCE_UNITS

Floats = NDArray[np.float64]
Ids = NDArray[np.int64]
Modes = NDArray[np.str_]

SESSIONS_A_TESTER = 2
STRAIGHT_MORE = 4
"""Straight pulls of a session, beyond the pulls of each of its sets."""
U_GAIN, U_OFFSET_N = 0.002, 0.3
GRIP_HOLDS = (0.75, 1.0)
"""Where a grip breaks a line, as a share of its strength."""
DAYS = 700
DECIMALS = 3
"""Of a reading, as it is written."""


@dataclass(frozen=True)
class Testers:
    """One row a tester (t,): their likeness in the scenario and what their scale does."""

    like: Ids
    gain: Floats
    offset_N: Floats
    effect: Floats

    @property
    def units(self) -> NDArray[np.str_]:
        """The unit that each tester's scale shows."""
        return np.array([one["unit"] for one in SCENARIO["testers"]])[self.like]

    @property
    def newtons(self) -> Floats:
        """That unit in newtons."""
        return np.array([FORCE_UNITS[unit] for unit in self.units.tolist()])

    def of(self, field: str) -> Floats:
        """A field of the scenario's testers, for each tester."""
        return np.array([float(one.get(field, 0.0)) for one in SCENARIO["testers"]])[self.like]


@dataclass(frozen=True)
class Pulls:
    """One row a pull (n,): the row it belongs to, counted from 0, its reading and how it ended.

    ``shown`` is the reading in the tester's own unit, to three decimals.
    """

    owner: Ids
    number: Ids
    shown: Floats
    reading_N: Floats
    mode: Modes
    place: Modes


@dataclass(frozen=True)
class World:
    """Columns of the whole store; ids are places counted from 0."""

    joins: list[Join]
    targets: list[Target]
    testers: Testers
    session_tester: Ids
    session_day: Ids
    session_target: Ids
    set_session: Ids
    set_join: Ids
    set_turns: Ids
    straight: Pulls
    joined: Pulls


def draw(rng: np.random.Generator, testers: int) -> World:
    """A world of so many testers."""
    people = _testers(rng, testers)
    catalogue, tied = joins(), targets()
    session_tester = np.repeat(np.arange(testers), SESSIONS_A_TESTER)
    session_target = rng.choice(len(tied), session_tester.size, p=shares(tied))
    set_session = np.repeat(np.arange(session_tester.size), JOINS_A_SESSION)
    set_join = _chosen(rng, catalogue, tied, session_target).ravel()
    day_strength = _strengths(rng, people, session_tester)
    return World(
        joins=catalogue,
        targets=tied,
        testers=people,
        session_tester=session_tester,
        session_day=rng.integers(0, DAYS, session_tester.size),
        session_target=session_target,
        set_session=set_session,
        set_join=set_join,
        set_turns=np.array([join.turns for join in catalogue])[set_join]
        + rng.integers(0, 4, set_join.size),
        straight=_straight(rng, people, session_tester, tied, session_target, day_strength),
        joined=_joined(
            rng, people, session_tester, tied, session_target, day_strength, catalogue, set_join
        ),
    )


def _testers(rng: np.random.Generator, number: int) -> Testers:
    like = np.arange(number) % len(SCENARIO["testers"])
    gain = np.array([one["gain"] for one in SCENARIO["testers"]])[like]
    offset = np.array([one["offset_N"] for one in SCENARIO["testers"]])[like]
    return Testers(
        like=like,
        gain=gain * np.exp(rng.normal(0.0, 0.02, number)),
        offset_N=offset + rng.normal(0.0, 0.3, number),
        effect=rng.normal(0.0, MODEL["tester_effect_sd_log"], number),
    )


def _chosen(
    rng: np.random.Generator, catalogue: list[Join], tied: list[Target], session_target: Ids
) -> Ids:
    """Different joins for each session, (sessions, joins a session): the well-known more often.

    The largest of log weights with Gumbel noise are a draw without replacement.
    """
    to_line = np.array([join.kind == "line to line" for join in catalogue])
    of_kind = np.where(to_line, np.cumsum(to_line), np.cumsum(~to_line))
    weight = -np.log(of_kind + 0.5)
    wants_line = np.array([target.leader is not None for target in tied])[session_target]
    fits = wants_line[:, None] == to_line[None, :]
    noisy = weight + rng.gumbel(size=(session_target.size, len(catalogue)))
    order = np.argsort(np.where(fits, -noisy, np.inf), axis=1)
    return order[:, :JOINS_A_SESSION]


def _strengths(rng: np.random.Generator, people: Testers, session_tester: Ids) -> Floats:
    """True straight strength of each line on each session's day, (sessions, lines), newtons."""
    dry = np.array([LINES[line]["true_strength_N"] for line in LINE_IDS])
    softened = np.where([is_nylon(line) for line in LINE_IDS], WET_NYLON, 1.0)
    wet = people.of("wet")[session_tester] > 0
    shift = rng.normal(0.0, MODEL["line_session_sd_log"], (session_tester.size, dry.size))
    return dry * np.where(wet[:, None], softened, 1.0) * np.exp(shift)


def _straight(
    rng: np.random.Generator,
    people: Testers,
    session_tester: Ids,
    tied: list[Target],
    session_target: Ids,
    day_strength: Floats,
) -> Pulls:
    pulls = people.of("pulls").astype(int)[session_tester] + STRAIGHT_MORE
    session = np.repeat(np.arange(session_tester.size), pulls)
    line = np.array([target.reference - 1 for target in tied])[session_target][session]
    free = _lognormal(rng, day_strength[session, line], _cv_of(line))
    tester = session_tester[session]
    grip = _grip(rng, people, tester, day_strength[session, line])
    force, mode = np.minimum(free, grip), np.where(grip < free, "grip", "line")
    return _read(rng, people, tester, session, force, mode, np.full(mode.size, ""))


def _joined(
    rng: np.random.Generator,
    people: Testers,
    session_tester: Ids,
    tied: list[Target],
    session_target: Ids,
    day_strength: Floats,
    catalogue: list[Join],
    set_join: Ids,
) -> Pulls:
    """A pull parts at the weakest of the join, the free length of either line, and the grip."""
    set_session = np.repeat(np.arange(session_tester.size), JOINS_A_SESSION)
    set_tester, set_target = session_tester[set_session], session_target[set_session]
    pulls = people.of("pulls").astype(int)[set_tester]
    of_set = np.repeat(np.arange(set_session.size), pulls)
    session, target, tester = set_session[of_set], set_target[of_set], set_tester[of_set]
    main, leader, reference = (
        np.array([getattr(one, name) or one.main for one in tied]) - 1
        for name in ("main", "leader", "reference")
    )
    strength = _own_strength(rng, people, catalogue, tied, set_join, set_target, set_tester)
    cv = np.array([join.cv for join in catalogue])[set_join]
    own = _lognormal(rng, day_strength[session, reference[target]] * strength[of_set], cv[of_set])
    parts = np.stack(
        [
            own,
            _lognormal(rng, day_strength[session, main[target]], _cv_of(main[target])),
            _lognormal(rng, day_strength[session, leader[target]], _cv_of(leader[target])),
            _grip(rng, people, tester, day_strength[session, reference[target]]),
        ]
    )
    weakest = parts.argmin(axis=0)
    mode = np.array(["join", "line", "line", "grip"])[weakest]
    place = np.array(["", "main", "leader", ""])[weakest]
    place = np.where(
        np.array([one.leader is None for one in tied])[target] & (place == "leader"), "main", place
    )
    return _read(rng, people, tester, of_set, parts.min(axis=0), mode, place)


def _own_strength(
    rng: np.random.Generator,
    people: Testers,
    catalogue: list[Join],
    tied: list[Target],
    set_join: Ids,
    set_target: Ids,
    set_tester: Ids,
) -> Floats:
    """Of each set's join as a share of its reference line: catalogue, pair, tester, session."""
    usual = np.log([join.efficiency for join in catalogue])
    of_pair = usual[:, None] + rng.normal(0.0, BETWEEN_PAIRS_SD, (usual.size, len(tied)))
    of_session = rng.normal(0.0, MODEL["session_effect_sd_log"], set_join.size // JOINS_A_SESSION)
    nylon = np.array([is_nylon(LINE_IDS[target.reference - 1]) for target in tied])
    softened = nylon[set_target] & (people.of("wet")[set_tester] > 0)
    return np.exp(
        of_pair[set_join, set_target]
        + people.effect[set_tester]
        + np.repeat(of_session, JOINS_A_SESSION)
    ) * np.where(softened, WET_NYLON_JOIN, 1.0)


def _cv_of(line: Ids) -> Floats:
    return np.array([float(LINES[name]["cv_line"]) for name in LINE_IDS])[line]


def _lognormal(rng: np.random.Generator, median: Floats, cv: Floats) -> Floats:
    return median * np.exp(rng.normal(0.0, 1.0, median.size) * cv)


def _grip(rng: np.random.Generator, people: Testers, tester: Ids, line_N: Floats) -> Floats:
    """Load at which the grip breaks the line; out of reach where it doesn't."""
    breaks = rng.random(tester.size) < people.of("grip_break_rate")[tester]
    return np.where(breaks, line_N * rng.uniform(*GRIP_HOLDS, tester.size), np.inf)


def _read(
    rng: np.random.Generator,
    people: Testers,
    tester: Ids,
    owner: Ids,
    force_N: Floats,
    mode: Modes,
    place: Modes,
) -> Pulls:
    """What the tester's scale shows of the forces, in its own steps."""
    step = people.of("resolution_N")[tester]
    noise = rng.normal(0.0, 1.0, owner.size) * people.of("noise_N")[tester]
    shown = people.gain[tester] * force_N + people.offset_N[tester] + noise
    begins = np.flatnonzero(np.r_[True, owner[1:] != owner[:-1]])
    lengths = np.diff(np.r_[begins, owner.size])
    number = np.arange(owner.size) - np.repeat(begins, lengths) + 1
    in_steps_N = np.maximum(np.round(shown / step), 1) * step
    newtons = people.newtons[tester]
    written = np.round(in_steps_N / newtons, DECIMALS)
    return Pulls(owner, number, written, written * newtons, mode, place)

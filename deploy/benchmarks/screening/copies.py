"""Readings taken from somebody else, or from one's own earlier sessions. Eight pulls or more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from deploy.benchmarks.screening.kinds import Draw, Event, Group, Send, kind, newcomer, several
from deploy.benchmarks.screening.sheets import NEWTONS, Pulls, Sheet, Straight, times
from deploy.benchmarks.screening.worlds import World, draw_sheet


@dataclass(frozen=True)
class Theft:
    """A victim's session of eight to twelve pulls a set, and what a thief pulled instead."""

    victim: Sheet
    thief: Sheet

    @property
    def step(self) -> float:
        """The scale of both: the thief registers a rig like the victim's."""
        return self.victim.rig.step


def theft(world: World, rng: np.random.Generator) -> Theft:
    """The victim sends first; the thief's scale is like the victim's."""
    n = several(rng)
    owner = newcomer(world, rng, "victim")
    thief = replace(newcomer(world, rng, "thief"), rig=replace(owner.rig, name="thief's bench"))
    victim = draw_sheet(world, rng, owner, int(rng.integers(20, 90)), joins=world.joins, pulls=n)
    own = draw_sheet(world, rng, thief, int(rng.integers(100, 170)), joins=world.joins, pulls=n)
    return Theft(victim, own)


Change = Callable[[np.random.Generator, Theft, Pulls], Pulls]


def exact(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:  # noqa: ARG001
    """As it stands."""
    return pulls


def jittered(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:
    """Up to two steps of the scale up or down."""
    by = case.step * rng.integers(-2, 3, len(pulls))
    return pulls.change(lambda values: np.maximum(values + by, case.step))


def scaled(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:  # noqa: ARG001
    """Five percent more."""
    return pulls.change(times(case.victim.rig, 1.05))


def shuffled(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:  # noqa: ARG001
    """In another order."""
    return pulls.take(rng.permutation(len(pulls)))


def scaled_and_shuffled(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:
    """Five percent more, in another order."""
    return scaled(rng, case, shuffled(rng, case, pulls))


def shuffled_and_jittered(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:
    """Up to two steps up or down, in another order."""
    return jittered(rng, case, shuffled(rng, case, pulls))


def reversed_(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:  # noqa: ARG001
    """From the last pull to the first."""
    return pulls.take(np.arange(len(pulls))[::-1])


def with_one_more(rng: np.random.Generator, case: Theft, pulls: Pulls) -> Pulls:
    """With a pull of one's own in between."""
    at = int(rng.integers(1, len(pulls)))
    own = float(case.victim.rig.on_scale(np.array(pulls.values.mean() * rng.uniform(0.97, 1.03))))
    modes = (*pulls.modes[:at], "join", *pulls.modes[at:])
    return Pulls(np.insert(pulls.values, at, own), modes)


CHANGES: dict[str, Change] = {
    "as it stands": exact,
    "+-2 steps": jittered,
    "x 1.05": scaled,
    "shuffled": shuffled,
    "x 1.05, shuffled": scaled_and_shuffled,
    "+-2 steps, shuffled": shuffled_and_jittered,
    "from last to first": reversed_,
    "with one pull more": with_one_more,
}


def _copied(change: Change) -> Draw:
    """One set of the thief's session is the victim's."""

    def draw(world: World, rng: np.random.Generator) -> list[Event]:
        case = theft(world, rng)
        taken = change(rng, case, case.victim.of(world.favourite))
        return [
            Send(case.victim, judged=False),
            Send(case.thief.with_pulls(world.favourite, taken)),
        ]

    return draw


for _name, _change in CHANGES.items():
    kind(f"another's set, {_name}", Group.COPY)(_copied(_change))


@kind("another's set, in another unit", Group.COPY)
def in_another_unit(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    here = case.victim.rig
    unit = "kgf" if here.unit == "lbf" else "lbf"
    factor = NEWTONS[here.unit] / NEWTONS[unit]
    owner = replace(newcomer(world, rng, "thief", on=unit))
    rig = replace(owner.rig, step=0.01, noise=0.003)
    thief = draw_sheet(
        world, rng, replace(owner, rig=rig), case.thief.day, joins=world.joins, pulls=8
    )
    taken = case.victim.of(world.favourite).change(
        lambda values: np.maximum(np.round(values * factor, 2), 0.01)
    )
    return [Send(case.victim, judged=False), Send(thief.with_pulls(world.favourite, taken))]


@kind("another's set, as another join", Group.COPY)
def as_another_join(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    taken = case.victim.of(world.joins[1])
    return [Send(case.victim, judged=False), Send(case.thief.with_pulls(world.favourite, taken))]


@kind("another's set, as one's straight line", Group.COPY)
def as_straight_line(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    taken = case.victim.of(world.favourite)
    straight = _as_straight(case.thief, taken)
    return [Send(case.victim, judged=False), Send(straight)]


@kind("another's straight line", Group.COPY)
def anothers_straight_line(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    straight = replace(case.thief, straight=case.victim.straight)
    return [Send(case.victim, judged=False), Send(straight)]


@kind("another's whole session", Group.COPY)
def whole_session(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    stolen = replace(case.thief, straight=case.victim.straight, joined=case.victim.joined)
    return [Send(case.victim, judged=False), Send(stolen)]


@kind("another's whole session, x 1.05", Group.COPY)
def whole_session_scaled(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    stolen = replace(case.thief, straight=case.victim.straight, joined=case.victim.joined)
    more = stolen.change_all(times(case.victim.rig, 1.05))
    return [Send(case.victim, judged=False), Send(more)]


@kind("one's own earlier set, +-2 steps", Group.COPY)
def own_earlier_set(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    later = replace(case.thief, person="victim", rig=case.victim.rig)
    taken = jittered(rng, case, case.victim.of(world.favourite))
    return [Send(case.victim, judged=False), Send(later.with_pulls(world.favourite, taken))]


@kind("one's own earlier straight line", Group.COPY)
def own_earlier_straight_line(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    later = replace(case.thief, person="victim", rig=case.victim.rig)
    return [
        Send(case.victim, judged=False),
        Send(replace(later, straight=case.victim.straight)),
    ]


@kind("one set under every join, +-2 steps", Group.COPY)
def one_set_everywhere(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    sheet, first = case.thief, case.thief.of(world.favourite)
    for join in world.joins[1:]:
        sheet = sheet.with_pulls(join, jittered(rng, case, first))
    return [Send(sheet)]


def _as_straight(sheet: Sheet, pulls: Pulls) -> Sheet:
    """The main line's straight pulls are these."""
    modes = tuple("line" for _ in pulls.modes)
    first = Straight(sheet.straight[0].line, Pulls(pulls.values, modes))
    return replace(sheet, straight=(first, *sheet.straight[1:]))

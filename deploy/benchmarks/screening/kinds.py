"""What a kind of the panel is, and the list of them."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeAlias

import numpy as np

from deploy.benchmarks.screening.sheets import Sheet
from deploy.benchmarks.screening.worlds import Person, World, draw_person, draw_sheet


class Group(StrEnum):
    """What screening should do with a kind."""

    HONEST = "honest"
    UNITS = "unit slip"
    COPY = "copy"
    FRAUD = "fraud"
    VICTIM = "victim"
    VANDAL = "vandal"

    @property
    def is_honest(self) -> bool:
        """Whether nothing of what is judged may be held."""
        return self in (Group.HONEST, Group.VICTIM, Group.VANDAL)


@dataclass(frozen=True)
class Send:
    """A session is sent; whether it is held counts if it is ``judged``.

    With ``corrects`` it takes the place of the latest session of its tester.
    """

    sheet: Sheet
    judged: bool = True
    corrects: bool = False


@dataclass(frozen=True)
class Reject:
    """A moderator rejects everything that this person has sent."""

    person: str


@dataclass(frozen=True)
class Withdraw:
    """This person withdraws everything that they have sent."""

    person: str


@dataclass(frozen=True)
class Calibrate:
    """This person calibrates their rig, from before their first session on."""

    person: str


@dataclass(frozen=True)
class JudgePool:
    """Whatever is held by the end of those who were in the pool before counts as well.

    By rows every session is screened again, as they are where a pool comes to four testers.
    """


Event: TypeAlias = Send | Reject | Withdraw | Calibrate | JudgePool
Draw: TypeAlias = Callable[[World, np.random.Generator], list[Event]]


@dataclass(frozen=True)
class Kind:
    """One kind of the panel; with ``as_fourth`` three testers are in the pool, else all."""

    name: str
    group: Group
    draw: Draw
    as_fourth: bool = False

    def rng(self, seed: int) -> np.random.Generator:
        """The random state of one case, the same whichever other kinds are run."""
        return np.random.default_rng([zlib.crc32(self.name.encode()), seed])


ENTERED: dict[str, Kind] = {}


def kind(name: str, group: Group, *, as_fourth: bool = False) -> Callable[[Draw], Draw]:
    """Enter a function in the list of kinds."""

    def enter(draw: Draw) -> Draw:
        assert name not in ENTERED, name
        ENTERED[name] = Kind(name, group, draw, as_fourth)
        return draw

    return enter


def newcomer(
    world: World, rng: np.random.Generator, name: str = "newcomer", *, on: str = ""
) -> Person:
    """Somebody who has not pulled before, on a scale of their own or on one of unit ``on``."""
    person = draw_person(world, rng, name)
    while on and person.rig.unit != on:
        person = draw_person(world, rng, name)
    return person


def on_tenths_of_pounds(world: World, rng: np.random.Generator) -> Person:
    """A newcomer whose scale shows tenths of pounds."""
    person = newcomer(world, rng, on="lbf")
    return replace(person, rig=replace(person.rig, step=0.1, noise=0.03))


def some_day(rng: np.random.Generator) -> int:
    """A day after the first sessions of most of the others."""
    return int(rng.integers(60, 170))


def whole(world: World, rng: np.random.Generator, person: Person, *, pulls: int = 0) -> Sheet:
    """A session with every join, of the tester's usual number of pulls or of ``pulls``."""
    return draw_sheet(world, rng, person, some_day(rng), joins=world.joins, pulls=pulls or None)


def several(rng: np.random.Generator) -> int:
    """Eight to twelve pulls: enough to know a copy by."""
    return int(rng.integers(8, 13))

"""Slips of units: readings in one unit that are said to be in another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from deploy.benchmarks.screening.kinds import (
    Draw,
    Event,
    Group,
    Send,
    kind,
    newcomer,
    some_day,
    whole,
)
from deploy.benchmarks.screening.sheets import NEWTONS, Floats, Rig, Sheet
from deploy.benchmarks.screening.worlds import World, draw_sheet

WORDS = {"N": "newtons", "lbf": "pounds", "kgf": "kilograms", "ozf": "ounces"}
DECIMALS = {"N": 1, "lbf": 1, "kgf": 2, "ozf": 0}


def read_in(true: str, said: str) -> Callable[[Floats], Floats]:
    """Readings of unit ``said`` as a scale set to ``true`` shows them."""
    factor, decimals = NEWTONS[said] / NEWTONS[true], DECIMALS[true]
    return lambda values: np.maximum(np.round(values * factor, decimals), 10.0**-decimals)


def _rig_in(rig: Rig, unit: str) -> Rig:
    """The same scale in ounces, which no plain tester of the worlds has."""
    if unit == rig.unit:
        return rig
    return replace(rig, unit=unit, step=1.0, noise=0.3, offset=0.0)


def _one_set(true: str, said: str) -> Draw:
    def draw(world: World, rng: np.random.Generator) -> list[Event]:
        person = newcomer(world, rng, on="lbf" if said == "ozf" else said)
        person = replace(person, rig=_rig_in(person.rig, said))
        slip = read_in(true, said)
        return [Send(whole(world, rng, person).change_joined(slip, world.favourite))]

    return draw


def _straight(true: str, said: str) -> Draw:
    def draw(world: World, rng: np.random.Generator) -> list[Event]:
        sheet = whole(world, rng, newcomer(world, rng, on=said))
        return [Send(sheet.change_straight(read_in(true, said)))]

    return draw


def _session(true: str, said: str) -> Draw:
    def draw(world: World, rng: np.random.Generator) -> list[Event]:
        sheet = whole(world, rng, newcomer(world, rng, on=said))
        return [Send(sheet.change_all(read_in(true, said)))]

    return draw


for _true, _said in (
    ("kgf", "lbf"), ("N", "lbf"), ("ozf", "lbf"), ("lbf", "kgf"), ("N", "kgf"), ("kgf", "N"),
    ("lbf", "N"), ("lbf", "ozf"),
):  # fmt: skip
    kind(f"{WORDS[_true]} in one set, said {WORDS[_said]}", Group.UNITS)(_one_set(_true, _said))
for _true, _said in (("kgf", "lbf"), ("N", "lbf"), ("lbf", "kgf"), ("lbf", "N")):
    kind(f"{WORDS[_true]} in the straight line, said {WORDS[_said]}", Group.UNITS)(
        _straight(_true, _said)
    )
for _true, _said in (("kgf", "lbf"), ("lbf", "kgf"), ("N", "lbf"), ("lbf", "N"), ("kgf", "N")):
    kind(f"{WORDS[_true]} throughout, said {WORDS[_said]}", Group.UNITS)(_session(_true, _said))


@kind("kilograms in one set of a session of one join", Group.UNITS)
def only_set(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng, on="lbf")
    sheet = draw_sheet(world, rng, person, some_day(rng), joins=(world.favourite,))
    return [Send(sheet.change_joined(read_in("kgf", "lbf")))]


@kind("kilograms in one set, by a known tester", Group.UNITS)
def known_tester(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng, on="lbf")
    earlier, later = whole(world, rng, person), whole(world, rng, person)
    return [Send(earlier, judged=False), Send(_one_join_in_kilograms(world, later))]


@kind("kilograms in half of a set's pulls", Group.UNITS)
def half_of_a_set(world: World, rng: np.random.Generator) -> list[Event]:
    def some(values: Floats) -> Floats:
        changed = rng.permutation(values.size) < values.size // 2
        return np.where(changed, read_in("kgf", "lbf")(values), values)

    sheet = whole(world, rng, newcomer(world, rng, on="lbf"))
    return [Send(sheet.change_joined(some, world.favourite))]


@kind("newtons worked out twice: 9.81 in one set", Group.UNITS)
def worked_out_twice(world: World, rng: np.random.Generator) -> list[Event]:
    sheet = whole(world, rng, newcomer(world, rng, on="N"))
    return [Send(sheet.change_joined(lambda values: np.round(values * 9.81, 1), world.favourite))]


@kind("a decimal point lost in one set", Group.UNITS)
def decimal_point(world: World, rng: np.random.Generator) -> list[Event]:
    sheet = whole(world, rng, newcomer(world, rng))
    return [Send(sheet.change_joined(lambda values: values * 10, world.favourite))]


def _one_join_in_kilograms(world: World, sheet: Sheet) -> Sheet:
    return sheet.change_joined(read_in("kgf", "lbf"), world.favourite)

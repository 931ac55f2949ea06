"""Readings bent to move a figure, by one account or by several that belong together."""

from __future__ import annotations

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
from deploy.benchmarks.screening.sheets import Sheet, times
from deploy.benchmarks.screening.worlds import World, draw_sheet


def _bent(sheet: Sheet, factor: float, *joins: str) -> Sheet:
    return sheet.change_joined(times(sheet.rig, factor), *joins)


def _favourite(factor: float) -> Draw:
    return lambda world, rng: [
        Send(_bent(whole(world, rng, newcomer(world, rng)), factor, world.favourite))
    ]


def _rivals(factor: float) -> Draw:
    return lambda world, rng: [
        Send(_bent(whole(world, rng, newcomer(world, rng)), factor, *world.joins[1:]))
    ]


def _straight(factor: float) -> Draw:
    def draw(world: World, rng: np.random.Generator) -> list[Event]:
        sheet = whole(world, rng, newcomer(world, rng))
        return [Send(sheet.change_straight(times(sheet.rig, factor)))]

    return draw


def _linked(factor: float, sharing: str, accounts: int = 3) -> Draw:
    """Accounts of one person within a week, which share a spool, the rig's text, or nothing."""

    def draw(world: World, rng: np.random.Generator) -> list[Event]:
        day = some_day(rng)
        text = "over the bench, same hook"
        events: list[Event] = []
        for number in range(accounts):
            person = newcomer(world, rng, f"account {number}")
            if sharing == "rig text":
                person = replace(person, rig=replace(person.rig, load_path=text))
            sheet = draw_sheet(world, rng, person, day + int(rng.integers(7)))
            if "spool" in sharing:
                sheet = replace(sheet, spool="batch 7K2")
            if "joining day" in sharing:
                sheet = replace(sheet, account_day=day - 1)
            events.append(Send(_bent(sheet, factor, world.favourite)))
        return events

    return draw


for _percent in (20, 40, -30):
    kind(f"favourite {_percent:+d}", Group.FRAUD)(_favourite(1 + _percent / 100))
for _percent in (-40, -60):
    kind(f"rival joins {_percent:+d}", Group.FRAUD)(_rivals(1 + _percent / 100))
for _percent in (-10, -20):
    kind(f"straight line {_percent:+d}", Group.FRAUD)(_straight(1 + _percent / 100))
for _percent in (15, 30, -30):
    for _sharing in ("spool", "spool and joining day", "rig text", "nothing"):
        kind(f"three accounts {_percent:+d}, sharing {_sharing}", Group.FRAUD)(
            _linked(1 + _percent / 100, _sharing)
        )
kind("two accounts +20, sharing nothing", Group.FRAUD)(_linked(1.2, "nothing", accounts=2))


@kind("straight line -10 and favourite +10", Group.FRAUD)
def both(world: World, rng: np.random.Generator) -> list[Event]:
    sheet = whole(world, rng, newcomer(world, rng))
    weaker = sheet.change_straight(times(sheet.rig, 0.9))
    return [Send(_bent(weaker, 1.1, world.favourite))]


@kind("favourite +40 after three honest sessions", Group.FRAUD)
def sleeper(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    honest = [draw_sheet(world, rng, person, day) for day in (30, 60, 90)]
    last = whole(world, rng, person)
    return [
        *(Send(sheet, judged=False) for sheet in honest),
        Send(_bent(replace(last, day=175), 1.4, world.favourite)),
    ]


@kind("slow shift up over 8 uploads", Group.FRAUD)
def slow_shift_up(world: World, rng: np.random.Generator) -> list[Event]:
    return _slow_shift(world, rng, 0.03)


@kind("slow shift down over 8 uploads", Group.FRAUD)
def slow_shift_down(world: World, rng: np.random.Generator) -> list[Event]:
    return _slow_shift(world, rng, -0.03)


@kind("eight sessions of favourite +15", Group.FRAUD)
def many_sessions(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    return [
        Send(_bent(draw_sheet(world, rng, person, 20 * number), 1.15, world.favourite))
        for number in range(1, 9)
    ]


def _slow_shift(world: World, rng: np.random.Generator, each: float) -> list[Event]:
    person = newcomer(world, rng)
    return [
        Send(
            _bent(
                draw_sheet(world, rng, person, 20 * number),
                float(np.exp(each * number)),
                world.favourite,
            )
        )
        for number in range(1, 9)
    ]

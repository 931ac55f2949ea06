"""Somebody does wrong and somebody honest is judged: victims of copies, and of vandals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from deploy.benchmarks.screening.copies import (
    Theft,
    shuffled_and_jittered,
    theft,
)
from deploy.benchmarks.screening.invented import random_sets
from deploy.benchmarks.screening.kinds import (
    Calibrate,
    Event,
    Group,
    JudgePool,
    Reject,
    Send,
    Withdraw,
    kind,
    newcomer,
    whole,
)
from deploy.benchmarks.screening.sheets import Sheet, times
from deploy.benchmarks.screening.worlds import World, draw_sheet


def _stolen(case: Theft) -> Sheet:
    """The thief's session with every set of the victim's."""
    return replace(case.thief, joined=case.victim.joined)


@kind("victim calibrates, the copy was rejected", Group.VICTIM)
def copy_rejected(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    return [Send(case.victim), Send(_stolen(case), judged=False), Reject("thief"), _calibrates()]


@kind("victim calibrates, the copy waits", Group.VICTIM)
def copy_waits(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    return [Send(case.victim), Send(_stolen(case), judged=False), _calibrates()]


@kind("victim calibrates, the copy was withdrawn", Group.VICTIM)
def copy_withdrawn(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    return [Send(case.victim), Send(_stolen(case), judged=False), Withdraw("thief"), _calibrates()]


@kind("victim calibrates, the copy was shuffled and changed", Group.VICTIM)
def copy_disguised(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    sheet = case.thief
    for one in case.victim.joined:
        sheet = sheet.with_pulls(one.join, shuffled_and_jittered(rng, case, one.pulls))
    return [Send(case.victim), Send(sheet, judged=False), _calibrates()]


@kind("victim sends another session after the copy", Group.VICTIM)
def victim_goes_on(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    owner = replace(newcomer(world, rng, "victim"), rig=case.victim.rig)
    later = draw_sheet(world, rng, owner, 175, joins=world.joins)
    return [Send(case.victim), Send(_stolen(case), judged=False), Send(later)]


@kind("victim corrects the session after the copy", Group.VICTIM)
def victim_corrects(world: World, rng: np.random.Generator) -> list[Event]:
    case = theft(world, rng)
    better = case.victim.with_pulls(
        world.favourite, case.victim.of(world.favourite).take(np.arange(7))
    )
    return [
        Send(case.victim, judged=False),
        Send(_stolen(case), judged=False),
        Send(better, corrects=True),
    ]


@kind("vandal's random sets as the fourth tester", Group.VANDAL, as_fourth=True)
def random_fourth(world: World, rng: np.random.Generator) -> list[Event]:
    vandal = random_sets(world, rng, newcomer(world, rng, "vandal"))
    return [
        Send(vandal, judged=False),
        Send(whole(world, rng, newcomer(world, rng))),
        JudgePool(),
    ]


@kind("vandal's random sets beside all others", Group.VANDAL)
def random_among_all(world: World, rng: np.random.Generator) -> list[Event]:
    vandal = newcomer(world, rng, "vandal")
    return [
        *(Send(random_sets(world, rng, vandal), judged=False) for _ in range(3)),
        Send(whole(world, rng, newcomer(world, rng))),
        JudgePool(),
    ]


@kind("vandal without scatter as the fourth tester", Group.VANDAL, as_fourth=True)
def constant_fourth(world: World, rng: np.random.Generator) -> list[Event]:
    vandal = newcomer(world, rng, "vandal")
    constant = whole(world, rng, vandal).change_all(
        lambda values: vandal.rig.on_scale(np.full(values.size, values.mean()))
    )
    return [
        Send(constant, judged=False),
        Send(whole(world, rng, newcomer(world, rng))),
        JudgePool(),
    ]


@kind("vandal's weak sets as the fourth tester", Group.VANDAL, as_fourth=True)
def weak_fourth(world: World, rng: np.random.Generator) -> list[Event]:
    vandal = newcomer(world, rng, "vandal")
    weak = whole(world, rng, vandal).change_joined(times(vandal.rig, 0.5))
    return [Send(weak, judged=False), Send(whole(world, rng, newcomer(world, rng))), JudgePool()]


@kind("two vandals' straight line at 2.2 times", Group.VANDAL, as_fourth=True)
def straight_line_of_two(world: World, rng: np.random.Generator) -> list[Event]:
    events: list[Event] = []
    for name in ("vandal", "second vandal"):
        vandal = newcomer(world, rng, name)
        more = times(vandal.rig, 2.2)
        events.append(Send(whole(world, rng, vandal).change_all(more), judged=False))
    return [*events, Send(whole(world, rng, newcomer(world, rng))), JudgePool()]


@kind("vandal's set of every reading there is", Group.VANDAL)
def every_reading(world: World, rng: np.random.Generator) -> list[Event]:
    """Copies in advance: 200 readings from low to high, so that the next one resembles some."""
    honest = newcomer(world, rng)
    sheet = whole(world, rng, honest, pulls=8)
    vandal = replace(newcomer(world, rng, "vandal"), rig=replace(honest.rig, name="vandal's"))
    base = whole(world, rng, vandal, pulls=200)
    spread = base.change_joined(
        lambda values: honest.rig.on_scale(values.mean() + honest.rig.step * np.arange(-100, 100))
    )
    return [Send(replace(spread, day=10), judged=False), Send(sheet), JudgePool()]


@kind("vandal with an honest newcomer's rig text", Group.VANDAL)
def same_rig_text(world: World, rng: np.random.Generator) -> list[Event]:
    honest = newcomer(world, rng)
    vandal = replace(newcomer(world, rng, "vandal"), rig=honest.rig)
    more = whole(world, rng, vandal).change_joined(times(vandal.rig, 1.3), world.favourite)
    return [Send(more, judged=False), Send(whole(world, rng, honest)), JudgePool()]


def _calibrates() -> Calibrate:
    return Calibrate("victim")

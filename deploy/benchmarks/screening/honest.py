"""Honest people and their oddities: none of them should be held."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from deploy.benchmarks.screening.kinds import (
    Event,
    Group,
    Send,
    kind,
    newcomer,
    on_tenths_of_pounds,
    several,
    some_day,
    whole,
)
from deploy.benchmarks.screening.sheets import Floats, Pulls, Rig, Sheet, rounded_to
from deploy.benchmarks.screening.worlds import Person, World, draw_sheet


@kind("plain newcomer", Group.HONEST)
def plain_newcomer(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(draw_sheet(world, rng, newcomer(world, rng), some_day(rng)))]


@kind("plain newcomer, all joins", Group.HONEST)
def plain_with_all_joins(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, newcomer(world, rng)))]


@kind("known tester, another session", Group.HONEST)
def known_tester(world: World, rng: np.random.Generator) -> list[Event]:
    person = world.people[int(rng.integers(3))]
    return [Send(draw_sheet(world, rng, person, int(rng.integers(151, 180))))]


@kind("eight honest sessions", Group.HONEST)
def eight_sessions(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    days = np.sort(rng.choice(np.arange(20, 180), 8, replace=False))
    return [Send(draw_sheet(world, rng, person, int(day))) for day in days]


@kind("whole pounds on a 0.1 lb scale", Group.HONEST)
def whole_pounds(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(_long(world, rng, on_tenths_of_pounds(world, rng)).change_all(rounded_to(1.0)))]


@kind("half pounds on a 0.1 lb scale", Group.HONEST)
def half_pounds(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(_long(world, rng, on_tenths_of_pounds(world, rng)).change_all(rounded_to(0.5)))]


@kind("half kilograms on a 0.05 kg scale", Group.HONEST)
def half_kilograms(world: World, rng: np.random.Generator) -> list[Event]:
    person = _on(newcomer(world, rng, on="kgf"), 0.05)
    return [Send(_long(world, rng, person).change_all(rounded_to(0.5)))]


@kind("display steps of 0.2 entered as 0.1", Group.HONEST)
def steps_of_two(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(_long(world, rng, on_tenths_of_pounds(world, rng)).change_all(rounded_to(0.2)))]


@kind("display steps of 0.05 entered as 0.01", Group.HONEST)
def steps_of_five(world: World, rng: np.random.Generator) -> list[Event]:
    person = _on(newcomer(world, rng, on="kgf"), 0.01)
    return [Send(_long(world, rng, person).change_all(rounded_to(0.05)))]


@kind("dial read at 0 and 5", Group.HONEST)
def dial_at_0_and_5(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, _dial(world, rng, several(rng))).change_all(rounded_to(0.5)))]


@kind("dial mostly read at 0 and 5", Group.HONEST)
def dial_mostly_at_0_and_5(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, _dial(world, rng, several(rng))).change_all(_mostly(rng, 0.5)))]


@kind("dial read at even marks", Group.HONEST)
def dial_at_even_marks(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, _dial(world, rng, several(rng))).change_all(_mostly(rng, 0.2)))]


@kind("joins in whole pounds, straight line in tenths", Group.HONEST)
def joins_rounded(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(_long(world, rng, on_tenths_of_pounds(world, rng)).change_joined(rounded_to(1.0)))]


@kind("rounds from the second session on", Group.HONEST)
def rounds_later(world: World, rng: np.random.Generator) -> list[Event]:
    person = on_tenths_of_pounds(world, rng)
    first, second = (_long(world, rng, person) for _ in range(2))
    return [Send(first), Send(second.change_all(rounded_to(0.5)))]


@kind("straight spool 35 percent weak", Group.HONEST)
def weak_spool(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    return [Send(draw_sheet(world, rng, person, some_day(rng), joins=world.joins, spool=0.65))]


@kind("straight spool 35 percent strong", Group.HONEST)
def strong_spool(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    return [Send(draw_sheet(world, rng, person, some_day(rng), joins=world.joins, spool=1.35))]


@kind("session of 200 pulls", Group.HONEST)
def long_session(world: World, rng: np.random.Generator) -> list[Event]:
    parts = len(world.joins) + len(world.lines)
    return [Send(whole(world, rng, newcomer(world, rng), pulls=200 // parts))]


@kind("sets of 200 pulls", Group.HONEST)
def long_sets(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    joins = (world.favourite,)
    return [Send(draw_sheet(world, rng, person, some_day(rng), joins=joins, pulls=200))]


@kind("three pulls a set", Group.HONEST)
def short_sets(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, newcomer(world, rng), pulls=3))]


@kind("very steady tyer", Group.HONEST)
def steady_tyer(world: World, rng: np.random.Generator) -> list[Event]:
    person = replace(newcomer(world, rng), scatter=0.4, effect=0.04, pulls=several(rng))
    return [Send(whole(world, rng, person))]


@kind("uneven tyer", Group.HONEST)
def uneven_tyer(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, replace(newcomer(world, rng), scatter=2.5)))]


@kind("weak tyer", Group.HONEST)
def weak_tyer(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, replace(newcomer(world, rng), scatter=1.5, effect=-0.25)))]


@kind("strong tyer", Group.HONEST)
def strong_tyer(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, replace(newcomer(world, rng), effect=0.1)))]


@kind("pulley rig reading 30 percent low", Group.HONEST)
def pulley_rig(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, _reading(newcomer(world, rng), 0.7)))]


@kind("rig reading 12 percent high", Group.HONEST)
def high_rig(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, _reading(newcomer(world, rng), 1.12)))]


@kind("zero off by 3 percent of the line", Group.HONEST)
def zero_off(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    offset = float(
        person.rig.on_scale(np.array(0.03 * person.rig.shown(rng, np.array(world.strengths_N[0]))))
    )
    offset *= float(rng.choice([-1.0, 1.0]))
    return [Send(whole(world, rng, _with_rig(person, offset=offset, calibrated=False)))]


@kind("scale that drifts through the session", Group.HONEST)
def drifting_scale(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)

    def drift(values: Floats) -> Floats:
        return person.rig.on_scale(values * np.linspace(1.0, 0.96, values.size))

    return [Send(whole(world, rng, person).change_all(drift))]


@kind("coarse scale, a step of 6 percent", Group.HONEST)
def coarse_scale(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng, on="lbf")
    mean = float(person.rig.shown(rng, np.array(0.06 * world.weakest_N)))
    step = min((0.2, 0.5, 1.0, 2.0, 2.5, 5.0), key=lambda each: abs(each - mean))
    return [Send(whole(world, rng, _on(person, step)))]


@kind("load cell of a thousandth", Group.HONEST)
def fine_scale(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, _on(newcomer(world, rng, on="kgf"), 0.001)))]


@kind("grip breaks in four pulls of ten", Group.HONEST)
def grip_breaks(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)

    def at_grip(pulls: Pulls) -> Pulls:
        grip = rng.random(len(pulls)) < 0.4
        grip[:2] = False
        lower = person.rig.on_scale(pulls.values * rng.uniform(0.8, 1.0, len(pulls)))
        modes = np.where(grip, "grip", pulls.modes)
        return Pulls(np.where(grip, lower, pulls.values), tuple(modes.tolist()))

    return [Send(_each_join(whole(world, rng, person), at_grip))]


@kind("readings sorted by size", Group.HONEST)
def sorted_readings(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(whole(world, rng, newcomer(world, rng)).change_all(np.sort))]


@kind("one mistyped digit", Group.HONEST)
def mistyped_digit(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)

    def mistype(values: Floats) -> Floats:
        typed = values.copy()
        typed[rng.integers(values.size)] *= float(rng.choice([0.85, 1.12]))
        return person.rig.on_scale(typed)

    return [Send(whole(world, rng, person).change_joined(mistype, world.favourite))]


@kind("corrected version of a session", Group.HONEST)
def corrected_session(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    sheet = whole(world, rng, person, pulls=several(rng))
    mistyped = sheet.change_joined(
        lambda values: np.append(values[:-1], values[-1] * 10), world.favourite
    )
    return [Send(mistyped, judged=False), Send(sheet, corrects=True)]


@kind("other scale in the second session", Group.HONEST)
def other_scale(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng, on="lbf")
    other = replace(newcomer(world, rng, on="kgf").rig, name="other bench")
    first, second = whole(world, rng, person), whole(world, rng, replace(person, rig=other))
    return [Send(first), Send(second)]


@kind("one set in another unit, and said so", Group.HONEST)
def set_in_another_unit(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng, on="lbf")
    sheet = whole(world, rng, person)
    joined = tuple(
        replace(
            one,
            unit="kgf",
            pulls=one.pulls.change(lambda values: np.round(values * 0.45359237, 2)),
        )
        if one.join == world.favourite
        else one
        for one in sheet.joined
    )
    return [Send(replace(sheet, joined=joined))]


@kind("soaked line, the first of its pool", Group.HONEST)
def soaked_line(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    return [
        Send(draw_sheet(world, rng, person, some_day(rng), spool=0.87, state="soaked", pulls=6))
    ]


@kind("three of a club on one day, one spool and one rig", Group.HONEST)
def club_day(world: World, rng: np.random.Generator) -> list[Event]:
    day, rig = some_day(rng), newcomer(world, rng).rig
    people = [replace(newcomer(world, rng, f"club {n}"), rig=rig) for n in range(3)]
    return [
        Send(replace(draw_sheet(world, rng, person, day), spool="the club's")) for person in people
    ]


@kind("three newcomers who read the same instructions", Group.HONEST)
def same_instructions(world: World, rng: np.random.Generator) -> list[Event]:
    people = [newcomer(world, rng, f"reader {n}") for n in range(3)]
    return [
        Send(whole(world, rng, _with_rig(person, load_path="as in the instructions")))
        for person in people
    ]


def _long(world: World, rng: np.random.Generator, person: Person) -> Sheet:
    """A session long enough for its digits to be looked at: eight to twelve pulls a series."""
    return whole(world, rng, person, pulls=several(rng))


def _on(person: Person, step: float) -> Person:
    return _with_rig(person, step=step, noise=0.3 * step)


def _dial(world: World, rng: np.random.Generator, pulls: int) -> Person:
    person = replace(on_tenths_of_pounds(world, rng), pulls=pulls, straight_pulls=pulls)
    return _with_rig(person, indicator="dial scale")


def _reading(person: Person, gain: float) -> Person:
    return _with_rig(person, gain=person.rig.gain * gain, calibrated=False)


def _with_rig(person: Person, **changes: object) -> Person:
    rig: Rig = replace(person.rig, **changes)  # type: ignore[arg-type]  # fields by their names
    return replace(person, rig=rig)


def _mostly(rng: np.random.Generator, step: float) -> Callable[[Floats], Floats]:
    """A reader who sees marks of ``step`` in seven readings of ten, and all marks in the rest."""

    def read(values: Floats) -> Floats:
        return np.where(rng.random(values.size) < 0.7, rounded_to(step)(values), values)

    return read


def _each_join(sheet: Sheet, by: Callable[[Pulls], Pulls]) -> Sheet:
    return replace(sheet, joined=tuple(replace(one, pulls=by(one.pulls)) for one in sheet.joined))

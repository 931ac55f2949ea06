"""Readings that no one pulled, or that were chosen from those that were."""

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
    whole,
)
from deploy.benchmarks.screening.sheets import Floats, Pulls, Sheet
from deploy.benchmarks.screening.worlds import Person, World


@kind("all random sets", Group.FRAUD)
def all_random(world: World, rng: np.random.Generator) -> list[Event]:
    return [Send(random_sets(world, rng, newcomer(world, rng)))]


@kind("random joins, true straight line", Group.FRAUD)
def random_joins(world: World, rng: np.random.Generator) -> list[Event]:
    person = newcomer(world, rng)
    sheet = whole(world, rng, person)
    return [Send(sheet.change_joined(_between(rng, person, sheet, 0.3, 1.1)))]


@kind("invented around one value", Group.FRAUD)
def invented(world: World, rng: np.random.Generator) -> list[Event]:
    person = replace(newcomer(world, rng), pulls=several(rng), straight_pulls=8)
    return [Send(_written(world, rng, person, lambda n: 0.008 * rng.standard_normal(n)))]


@kind("the same reading throughout", Group.FRAUD)
def all_alike(world: World, rng: np.random.Generator) -> list[Event]:
    person = replace(newcomer(world, rng), pulls=several(rng), straight_pulls=8)
    return [Send(_written(world, rng, person, np.zeros))]


@kind("invented, evenly spaced", Group.FRAUD)
def evenly_spaced(world: World, rng: np.random.Generator) -> list[Event]:
    person = replace(_finer(world, rng), pulls=several(rng), straight_pulls=10)
    return [
        Send(
            _written(
                world, rng, person, lambda n: 0.08 * rng.permutation(np.linspace(-1.0, 1.0, n))
            )
        )
    ]


@kind("invented, every last digit as often", Group.FRAUD)
def uniform_digits(world: World, rng: np.random.Generator) -> list[Event]:
    person = replace(on_tenths_of_pounds(world, rng), pulls=10, straight_pulls=10)

    def digits(values: Floats) -> Floats:
        wholes = np.floor(np.mean(values) + rng.integers(-2, 3, values.size))
        return np.maximum(wholes, 1) + rng.permutation(10)[: values.size] / 10

    return [Send(whole(world, rng, person, pulls=10).change_all(digits))]


@kind("invented, favourite last digits 3 and 7", Group.FRAUD)
def favourite_digits(world: World, rng: np.random.Generator) -> list[Event]:
    person = on_tenths_of_pounds(world, rng)

    def digits(values: Floats) -> Floats:
        favoured = rng.random(values.size) < 0.8
        last = rng.choice([0.3, 0.7], values.size)
        return np.where(favoured, np.floor(values) + last, values)

    return [Send(whole(world, rng, person, pulls=12).change_all(digits))]


@kind("invented with honest scatter, favourite +15", Group.FRAUD)
def well_invented(world: World, rng: np.random.Generator) -> list[Event]:
    person = replace(newcomer(world, rng), effect=0.14)
    return [Send(whole(world, rng, person))]


@kind("only the best of three pulls kept", Group.FRAUD)
def best_of_three(world: World, rng: np.random.Generator) -> list[Event]:
    sheet = whole(world, rng, newcomer(world, rng), pulls=21)
    return [Send(_keep(rng, sheet, world.favourite, np.max))]


@kind("only the worst of three pulls kept of the rivals", Group.FRAUD)
def worst_of_three(world: World, rng: np.random.Generator) -> list[Event]:
    sheet = whole(world, rng, newcomer(world, rng), pulls=21)
    for rival in world.joins[1:]:
        sheet = _keep(rng, sheet, rival, np.min)
    return [Send(sheet)]


def random_sets(world: World, rng: np.random.Generator, person: Person) -> Sheet:
    """Anything between a fifth and all of the line, straight line as well."""
    sheet = whole(world, rng, person)
    return sheet.change_all(_between(rng, person, sheet, 0.2, 1.0))


def _between(
    rng: np.random.Generator, person: Person, sheet: Sheet, low: float, high: float
) -> Callable[[Floats], Floats]:
    """Readings spread evenly over shares of the straight line."""
    straight = float(np.mean(sheet.straight[0].pulls.values))
    return lambda values: person.rig.on_scale(straight * rng.uniform(low, high, values.size))


def _written(
    world: World,
    rng: np.random.Generator,
    person: Person,
    around: Callable[[int], Floats],
) -> Sheet:
    """Each series as its mean with deviations that somebody thought of, as shares of it."""
    return whole(world, rng, person).change_all(
        lambda values: person.rig.on_scale(np.mean(values) * (1 + around(values.size)))
    )


def _finer(world: World, rng: np.random.Generator) -> Person:
    person = newcomer(world, rng, on="kgf")
    return replace(person, rig=replace(person.rig, step=0.01, noise=0.003))


def _keep(rng: np.random.Generator, sheet: Sheet, join: str, best: Callable[..., Floats]) -> Sheet:
    """A third of the pulls of a join: of each three the one that suits."""
    pulls = sheet.of(join)
    kept = best(rng.permutation(pulls.values).reshape(-1, 3), axis=1)
    return sheet.with_pulls(join, Pulls(kept, ("join",) * kept.size))

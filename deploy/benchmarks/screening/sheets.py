"""What a tester writes down: readings of straight line and of joins, in the unit of the scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NEWTONS = {"N": 1.0, "lbf": 4.4482216152605, "kgf": 9.80665, "ozf": 4.4482216152605 / 16}
"""International pound (1959) and kilogram at standard gravity (CGPM 1901)."""


@dataclass(frozen=True)
class Rig:
    """A rig and its scale: ``offset`` and ``noise`` are in ``unit``, as is ``step``."""

    unit: str
    step: float
    gain: float = 1.0
    offset: float = 0.0
    noise: float = 0.0
    calibrated: bool = False
    name: str = "bench"
    indicator: str = "digital scale"
    load_path: str = ""
    capacity: float | None = None

    def shown(self, rng: np.random.Generator, forces_N: Floats) -> Floats:
        """What the scale shows under these forces, in steps of the scale."""
        true = forces_N / NEWTONS[self.unit]
        raw = self.offset + self.gain * true + self.noise * rng.standard_normal(true.shape)
        return self.on_scale(raw)

    def on_scale(self, values: Floats) -> Floats:
        """The nearest values that the scale can show, one step at least."""
        return np.maximum(np.rint(values / self.step), 1) * self.step


@dataclass(frozen=True)
class Pulls:
    """Readings in the order they were written, and how each pull ended."""

    values: Floats
    modes: tuple[str, ...]

    def __len__(self) -> int:
        return self.values.size

    def change(self, by: Callable[[Floats], Floats]) -> Pulls:
        """The same pulls with other readings."""
        return replace(self, values=by(self.values))

    def take(self, rows: NDArray[np.intp]) -> Pulls:
        """Some of the pulls, in the order of ``rows``."""
        return Pulls(self.values[rows], tuple(self.modes[row] for row in rows))


@dataclass(frozen=True)
class Straight:
    """Straight pulls of a line of the world, by its name."""

    line: str
    pulls: Pulls


@dataclass(frozen=True)
class Joined:
    """Pulls of one join; ``unit`` where the set is said to be in another than the scale's."""

    join: str
    pulls: Pulls
    unit: str = ""


@dataclass(frozen=True)
class Sheet:
    """One session as it is sent. ``day`` counts from the first day of the winter.

    ``account_day`` is when the account was made: on the eve of its first session if None.
    """

    person: str
    rig: Rig
    day: int
    straight: tuple[Straight, ...]
    joined: tuple[Joined, ...]
    spool: str = ""
    state: str = "dry"
    account_day: int | None = None

    def change_straight(self, by: Callable[[Floats], Floats]) -> Sheet:
        """The same session with other readings of straight line."""
        return replace(
            self, straight=tuple(replace(one, pulls=one.pulls.change(by)) for one in self.straight)
        )

    def change_joined(self, by: Callable[[Floats], Floats], *joins: str) -> Sheet:
        """The same session with other readings of these joins, or of all."""
        return replace(
            self,
            joined=tuple(
                replace(one, pulls=one.pulls.change(by)) if one.join in joins or not joins else one
                for one in self.joined
            ),
        )

    def change_all(self, by: Callable[[Floats], Floats]) -> Sheet:
        """The same session with other readings throughout."""
        return self.change_straight(by).change_joined(by)

    def of(self, join: str) -> Pulls:
        """The pulls of one join."""
        return next(one.pulls for one in self.joined if one.join == join)

    def with_pulls(self, join: str, pulls: Pulls) -> Sheet:
        """The same session with other pulls of one join."""
        return replace(
            self,
            joined=tuple(
                replace(one, pulls=pulls) if one.join == join else one for one in self.joined
            ),
        )


def rounded_to(step: float) -> Callable[[Floats], Floats]:
    """A reader who writes the nearest multiple of ``step``, and at least one."""
    return lambda values: np.maximum(np.rint(values / step), 1) * step


def times(rig: Rig, factor: float) -> Callable[[Floats], Floats]:
    """Readings ``factor`` times as high, as the scale would show them."""
    return lambda values: rig.on_scale(values * factor)

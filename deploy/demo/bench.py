"""One tester at the bench: what a pull gives and what the scale shows of it.

A lognormal "around" a value has that value as its mean, so that a ratio of means recovers an
efficiency without bias.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from deploy.demo.scenario import LINES, Document, Target
from rigs.metrology.units import FORCE_UNITS

Forces = NDArray[np.float64]

GRIP_FACTOR = (0.80, 0.98)
SLIP_FACTOR = (0.5, 0.9)
ENDS = (("join", ""), ("line", "main"), ("line", "leader"), ("grip", ""))


@dataclass(frozen=True)
class Bench:
    """A tester of the scenario with a random state; `strengths` are the lines' of this day."""

    rng: np.random.Generator
    tester: Document
    strengths: dict[str, float]

    def read(self, force_N: Forces) -> list[float]:
        """What the scale shows, in its own unit and steps."""
        tester = self.tester
        noise = self.rng.normal(0.0, tester["noise_N"], force_N.size)
        shown = (tester["gain"] * force_N + tester["offset_N"] + noise) / FORCE_UNITS[
            tester["unit"]
        ]
        steps = np.maximum(np.rint(shown / tester["step"]), 1)
        return [round(float(reading), 3) for reading in steps * tester["step"]]

    def straight_pulls(self, line: str, n: int) -> list[Document]:
        """Pulls of straight line, which part in the free length or at a weak grip."""
        free = self._free_length(line, n)
        grip = self._grip(free)
        readings = self.read(np.minimum(free, grip))
        return [
            {"reading": reading, "failure_mode": "grip" if at_grip else "line"}
            for reading, at_grip in zip(readings, grip < free, strict=True)
        ]

    def ties(self, mean_N: float, cv: float, n: int, discarded: int) -> Forces:
        """Own strengths of n ties; those that looked worst, a doubtful sign, were thrown away."""
        own = lognormal(self.rng, mean_N, cv, n + discarded)
        looks = np.log(own) + self.rng.normal(0.0, cv, own.size)
        return own[np.sort(np.argsort(looks)[discarded:])]

    def joined_pulls(self, target: Target, own_N: Forces, slip_share: float) -> list[Document]:
        """Each pull parts at the weakest of join, main, leader and grip."""
        n = own_N.size
        slips = self.rng.random(n) < slip_share
        join = np.where(slips, own_N * self.rng.uniform(*SLIP_FACTOR, n), own_N)
        main = self._free_length(target.main, n)
        leader = self._free_length(target.leader, n) if target.leader else np.full(n, np.inf)
        parts = np.stack([join, main, leader, self._grip(np.minimum(main, leader))])
        pulls = []
        for reading, weakest, slipped in zip(
            self.read(parts.min(axis=0)), parts.argmin(axis=0), slips, strict=True
        ):
            mode, place = ("slip", "") if slipped and weakest == 0 else ENDS[weakest]
            pulls.append({"reading": reading, "failure_mode": mode, "place": place})
        return pulls

    def _free_length(self, line: str, n: int) -> Forces:
        return lognormal(self.rng, self.strengths[line], LINES[line]["cv_line"], n)

    def _grip(self, line_N: Forces) -> Forces:
        weak = self.rng.random(line_N.size) < self.tester["grip_break_rate"]
        return np.where(weak, self.rng.uniform(*GRIP_FACTOR, line_N.size) * line_N, np.inf)


def lognormal(rng: np.random.Generator, mean: float, cv: float, n: int) -> Forces:
    variance = np.log1p(cv**2)
    return np.asarray(rng.lognormal(np.log(mean) - variance / 2, np.sqrt(variance), n))

"""A simulated rig that records force over time: a whole session, with the truth beside it.

A winch takes up slack and stretches the line, which grows stiffer; each turn of the crank is a
little uneven. A join slips by letting line through, and force falls with the stretch. At its
strength the specimen parts within milliseconds, and the load cell swings; a specimen that outlasts
the rig is held, creeps and is let down. The load cell's zero wanders and remembers the last load,
its amplifier filters and adds noise that is alike for two milliseconds, and the logger's counts end
at its capacity. What a trade rig does: common practice, no source.

    python -m deploy.demo.recorder FOLDER --hertz 80 --seed 1
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from rigs.metrology.units import FORCE_UNITS

Column = NDArray[np.float64]

STRAIGHT, JOINED = "straight", "joined"
SLACK_s = 0.6
SWING_Hz, SWING_s = 28.0, 0.07
PARTS_s = 0.002
NOISE_ALIKE_s = 0.002
REMEMBERS_s = 30.0


@dataclass(frozen=True)
class Logger:
    """A load cell with its logger; noise, drift and step in newtons but for ``step``."""

    hertz: float = 80.0
    unit: str = "N"
    step: float = 0.05
    capacity_N: float = 500.0
    noise_N: float = 0.1
    drift_N_per_h: float = 3.0
    filter_s: float = 0.0005
    clock_step_s: float = 0.001
    swing: float = 0.12
    """Of the peak: how far the load cell swings after a break."""


@dataclass(frozen=True)
class Specimen:
    """What is pulled: its strength, how fast, and how often it slips before."""

    kind: str
    strength_N: float
    rate_N_per_s: float
    slips: int = 0
    ends: str = "break"
    """'break', 'slide' (the join comes undone) or 'hold' (it outlasts the rig)."""


@dataclass(frozen=True)
class TruePull:
    """What happened: the highest force on the specimen, before zero, noise and capacity."""

    kind: str
    ends: str
    begins_s: float
    peak_at_s: float
    peak_N: float
    slips: int
    is_saturated: bool


@dataclass(frozen=True)
class SimulatedRecording:
    """Samples as the logger prints them, and the truth; ``reading`` is in the logger's unit."""

    logger: Logger
    time_s: Column
    reading: Column
    truth: tuple[TruePull, ...]

    def as_csv(self) -> bytes:
        clock = max(0, round(-np.log10(self.logger.clock_step_s)))
        decimals = max(0, int(np.ceil(-np.log10(self.logger.step) - 1e-9)))
        rows = [f"time_s,force ({self.logger.unit})"]
        rows += [
            f"{time:.{clock}f},{force:.{decimals}f}"
            for time, force in zip(self.time_s.tolist(), self.reading.tolist(), strict=True)
        ]
        return ("\n".join(rows) + "\n").encode()


class _Pull:
    """Force on one specimen at any time since its winch began to turn."""

    def __init__(self, rng: np.random.Generator, specimen: Specimen) -> None:
        self.specimen = specimen
        self.uneven, self.crank_Hz = rng.uniform(0.0, 0.25), rng.uniform(0.6, 1.2)
        self.phase = rng.uniform(0, 2 * np.pi)
        self.stiffer = rng.uniform(0.0, 0.5)
        self.swing_phase = rng.uniform(0, 2 * np.pi)
        self.holds_s, self.let_down_s = rng.uniform(1.5, 4), rng.uniform(1, 2.5)
        shares = np.sort(rng.uniform(0.2, 0.85, specimen.slips))
        self.slips = [
            (float(share * specimen.strength_N), float(rng.uniform(0.08, 0.35))) for share in shares
        ]
        self._find_events()

    def _stretch(self, time: Column) -> Column:
        """What the winch has taken up, in newtons of a spring that grows no stiffer."""
        turned = 2 * np.pi * self.crank_Hz * time
        ripple = self.uneven * (np.sin(turned + self.phase) - np.sin(self.phase))
        taken = time - SLACK_s + ripple / (2 * np.pi * self.crank_Hz)
        return np.asarray(self.specimen.rate_N_per_s * np.maximum(taken, 0.0), float)

    def _force(self, stretch: Column) -> Column:
        full = self.specimen.strength_N
        stiffness = (1 + self.stiffer * np.clip(stretch / full, 0, 2)) / (1 + self.stiffer)
        return np.asarray(stretch * stiffness, float)

    def _find_events(self) -> None:
        """When each slip and the end come, to a tenth of a millisecond."""
        longest = SLACK_s + 3 * self.specimen.strength_N / self.specimen.rate_N_per_s + 5
        grid = np.arange(0, longest, 1e-4)
        stretch = self._stretch(grid)
        self.released: list[tuple[float, float]] = []
        for at_N, share in self.slips:
            at = int(np.argmax(self._force(stretch) >= at_N))
            amount = share * float(stretch[at])
            self.released.append((float(grid[at]), amount))
            stretch = stretch - amount * np.clip((grid - grid[at]) / 0.03, 0, 1)
        end = int(np.argmax(self._force(stretch) >= self.specimen.strength_N))
        self.ends_s = float(grid[end])

    def at(self, time: Column, swing: float) -> Column:
        stretch = self._stretch(np.minimum(time, self.ends_s))
        for at_s, amount in self.released:
            stretch = stretch - amount * np.clip(
                (np.minimum(time, self.ends_s) - at_s) / 0.03, 0, 1
            )
        force = self._force(np.maximum(stretch, 0.0))
        after = time - self.ends_s
        return np.where(after <= 0, force, self._after(np.maximum(after, 0.0), swing))

    def _after(self, after: Column, swing: float) -> Column:
        full = self.specimen.strength_N
        if self.specimen.ends == "slide":
            return full * (0.6 * np.exp(-after / 0.02) + 0.4 * np.exp(-after / 0.5))
        if self.specimen.ends == "hold":
            held = full * (1 - 0.012 * np.log10(1 + after / 0.1))
            return held * np.clip(1 - (after - self.holds_s) / self.let_down_s, 0, 1)
        falls = full * np.clip(1 - after / PARTS_s, 0, 1)
        swings = np.sin(2 * np.pi * SWING_Hz * after + self.swing_phase)
        return falls + swing * full * swings * np.exp(-after / SWING_s) * (after > PARTS_s)

    @property
    def lasts_s(self) -> float:
        more = self.holds_s + self.let_down_s if self.specimen.ends == "hold" else 3.0
        return self.ends_s + more


def record(
    rng: np.random.Generator, logger: Logger, specimens: Sequence[Specimen]
) -> SimulatedRecording:
    """One recording of all specimens, with the time between for taking up the next."""
    begins, at = [], float(rng.uniform(3, 8))
    pulls = [_Pull(rng, specimen) for specimen in specimens]
    for pull in pulls:
        begins.append(at)
        at += pull.lasts_s + float(rng.uniform(6, 20))
    times = _sampled(rng, logger, at)
    forces = _smoothed(times, logger, pulls, begins) + _handling(rng, times, pulls, begins)
    zero = _zero(rng, times, logger, pulls, begins)
    truth = tuple(
        TruePull(
            pull.specimen.kind, pull.specimen.ends, begin + SLACK_s, begin + pull.ends_s,
            pull.specimen.strength_N, pull.specimen.slips,
            pull.specimen.strength_N > logger.capacity_N,
        )
        for pull, begin in zip(pulls, begins, strict=True)
    )  # fmt: skip
    seen = np.clip(forces + zero + _noise(rng, times, logger), None, logger.capacity_N)
    counts = np.round(seen / FORCE_UNITS[logger.unit] / logger.step)
    written = np.round(times / logger.clock_step_s) * logger.clock_step_s
    return SimulatedRecording(logger, np.round(written, 9), counts * logger.step + 0.0, truth)


def _sampled(rng: np.random.Generator, logger: Logger, until_s: float) -> Column:
    interval = 1 / logger.hertz
    times = np.arange(rng.uniform(0, interval), until_s, interval)
    return np.asarray(times + rng.uniform(0, 0.02, times.size) * interval, float)


def _smoothed(
    times: Column, logger: Logger, pulls: Sequence[_Pull], begins: Sequence[float]
) -> Column:
    """Force through the filter: its mean over the filter's time before each sample."""
    forces = np.zeros_like(times)
    for pull, begin in zip(pulls, begins, strict=True):
        first, last = np.searchsorted(times, [begin, begin + pull.lasts_s + 1])
        since = times[first:last] - begin
        back = np.linspace(0, 2 * logger.filter_s, 9)
        seen = [pull.at(np.maximum(since - each, 0.0), logger.swing) for each in back]
        forces[first:last] += np.mean(seen, axis=0)
    return forces


def _handling(
    rng: np.random.Generator, times: Column, pulls: Sequence[_Pull], begins: Sequence[float]
) -> Column:
    """A tug or two at the line while the next specimen is mounted."""
    forces = np.zeros_like(times)
    for pull, begin in zip(pulls, begins, strict=True):
        if rng.random() < 0.5:
            at, lasts = begin + pull.lasts_s + rng.uniform(1, 3), rng.uniform(0.4, 1.5)
            within = np.clip((times - at) / lasts, 0, 1)
            forces += rng.uniform(0.5, 3.0) * np.sin(np.pi * within)
    return forces


def _zero(
    rng: np.random.Generator, times: Column, logger: Logger,
    pulls: Sequence[_Pull], begins: Sequence[float],
) -> Column:  # fmt: skip
    """An offset that drifts and wanders, and what is left for a while of the last load."""
    hours = times / 3600
    wander = np.cumsum(rng.normal(0, 1, times.size)) * np.sqrt(1 / logger.hertz)
    zero = rng.normal(0, 0.3) + logger.drift_N_per_h * hours + 0.01 * wander
    for pull, begin in zip(pulls, begins, strict=True):
        after = np.maximum(times - begin - pull.ends_s, 0.0)
        zero += 0.0005 * pull.specimen.strength_N * np.exp(-after / REMEMBERS_s) * (after > 0)
    return np.asarray(zero, float)


def _noise(rng: np.random.Generator, times: Column, logger: Logger) -> Column:
    """White noise through the amplifier: alike over two milliseconds, of this deviation."""
    keep = float(np.exp(-1 / logger.hertz / NOISE_ALIKE_s))
    fresh = rng.normal(0, logger.noise_N, times.size)
    if keep < 0.01:
        return fresh
    noise = np.empty_like(fresh)
    last = 0.0
    for index, value in enumerate(fresh.tolist()):
        last = keep * last + np.sqrt(1 - keep**2) * value if index else value
        noise[index] = last
    return noise


def session(rng: np.random.Generator, pulls: int = 20) -> list[Specimen]:
    """Straight line first, then joins: some slip, some come undone, some outlast the rig."""
    specimens = []
    rate = float(rng.uniform(6, 20))
    for number in range(pulls):
        is_straight = number < pulls * 0.3
        mean, cv = (92.0, 0.025) if is_straight else (68.0, 0.08)
        strength = float(mean * np.exp(rng.normal(0, cv)))
        slips = 0 if is_straight else int(rng.choice([0, 0, 0, 1, 2]))
        ends = "break" if is_straight else str(rng.choice(["break"] * 8 + ["slide", "hold"]))
        kind = STRAIGHT if is_straight else JOINED
        pace = rate * float(np.exp(rng.normal(0, 0.1)))
        specimens.append(Specimen(kind, strength, pace, slips, ends))
    return specimens


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--hertz", type=float, default=80.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    clock = 1e-6 if given.hertz > 200 else 1e-3
    drawn = record(rng, Logger(hertz=given.hertz, clock_step_s=clock), session(rng))
    given.folder.mkdir(parents=True, exist_ok=True)
    (given.folder / "recording.csv").write_bytes(drawn.as_csv())
    truth = json.dumps([asdict(pull) for pull in drawn.truth], indent=1)
    (given.folder / "truth.json").write_text(truth)


if __name__ == "__main__":
    main()

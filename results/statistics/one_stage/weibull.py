"""Groups of pulls whose load is Weibull: ln load is smallest extreme value, z = (y - eta)/s.

ln f = z - exp(z) - ln s where exact and ln S = -exp(z) where only 'at least'. Of a group's loads
the likelihood needs no more than three sums, whatever the level. Beside the rest's normal it is
brought back to a normal by its mean and variance, summed over a grid that spans it.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from results.statistics.censored_newton import LOG_SQRT_2PI
from results.statistics.errors import NotEstimable
from results.statistics.nesting import Codes
from results.statistics.one_stage.groups import (
    LEAST_PRECISION,
    Booleans,
    Floats,
    Normals,
    State,
)

NEWTON_STEPS = 12
FARTHEST = 2.0  # step down, in scales; from above, Newton's may go too far
BEYOND = 600.0  # exp() of more is beyond all numbers
DROP, WIDENINGS, WIDER = 18.0, 6, 1.6  # of ln likelihood at a grid's ends, and the search for them
OF_WIDTH, OF_SCALE = 0.75, 0.5
"""Greatest distance of a grid's points; sums over it then err by less than 1e-8 of the whole."""
FEWEST, MOST = 16, 400
AT_ONCE = 500
"""Groups whose grids are in memory at once: more of them don't stay in a processor's cache."""


@dataclass(frozen=True)
class _Grids:
    """Levels (g, points) of each group, how likely each of them is, ln of the whole probability."""

    at: Floats
    share: Floats
    log_probability: Floats

    @property
    def moments(self) -> Normals:
        mean = np.einsum("gn,gn->g", self.share, self.at)
        return mean, np.einsum("gn,gn->g", self.share, (self.at - mean[:, None]) ** 2)


@dataclass(frozen=True)
class WeibullPulls:
    """ln loads y (n,) from each group's highest, `top` (g,), lying together by group.

    `starts` (g,) are their first rows; `number` and `total` (g,) count and sum the exact ones.
    """

    y: Floats
    starts: Codes
    top: Floats
    number: Floats
    total: Floats

    @property
    def pulls(self) -> int:
        return self.y.size

    def start(self, scale: float) -> State:
        """Around each group's highest load."""
        return np.maximum(self.number, 0.1) / scale**2, np.zeros(self.number.size)

    def site(self, _scale: float, state: State) -> Normals:
        return self.top + state[1] / state[0], 1 / state[0]

    def renewed(
        self, scale: float, state: State, cavity: Normals, share: float
    ) -> tuple[State, float]:
        level, variance = self._moments(scale, cavity)
        precision = np.maximum(1 / variance - 1 / cavity[1], LEAST_PRECISION / scale**2)
        middle = cavity[0] - self.top
        lean = level * (precision + 1 / cavity[1]) - middle / cavity[1]
        change = precision - state[0], lean - state[1]
        far = max(np.abs(change[0]).max() * scale**2, np.abs(change[1]).max() * scale)
        return (state[0] + share * change[0], state[1] + share * change[1]), float(far)

    def outcome(self, scale: float, state: State, cavity: Normals) -> tuple[Floats, Floats]:
        found = [
            block._outcome(
                scale, (state[0][some], state[1][some]), (cavity[0][some], cavity[1][some])
            )
            for some, block in self._blocks
        ]
        value, slope = zip(*found, strict=True)
        return np.concatenate(value), np.concatenate(slope)

    def _moments(self, scale: float, cavity: Normals) -> Normals:
        found = [
            block._grids(scale, (cavity[0][some], cavity[1][some])).moments
            for some, block in self._blocks
        ]
        mean, variance = zip(*found, strict=True)
        return np.concatenate(mean), np.concatenate(variance)

    @cached_property
    def _blocks(self) -> list[tuple[slice, "WeibullPulls"]]:
        """The groups, some at once; the pulls of each block lie together."""
        groups = self.top.size
        if groups <= AT_ONCE:
            return [(slice(None), self)]
        ends = np.append(self.starts, self.y.size)
        found = []
        for first in range(0, groups, AT_ONCE):
            some = slice(first, min(first + AT_ONCE, groups))
            rows = slice(int(ends[some.start]), int(ends[some.stop]))
            found.append(
                (
                    some,
                    WeibullPulls(
                        self.y[rows],
                        self.starts[some] - ends[some.start],
                        self.top[some],
                        self.number[some],
                        self.total[some],
                    ),
                )
            )
        return found

    def _outcome(self, scale: float, state: State, cavity: Normals) -> tuple[Floats, Floats]:
        grids = self._grids(scale, cavity)
        apart = self.top + state[1] / state[0] - cavity[0]
        total = cavity[1] + 1 / state[0]
        value = grids.log_probability + LOG_SQRT_2PI + (np.log(total) + apart**2 / total) / 2
        whole, lever = self._sums(scale)
        down = -grids.at / scale
        of_all = np.exp(np.minimum(down, BEYOND)) * (lever[:, None] + down * whole[:, None])
        z = (self.total - self.number * grids.moments[0]) / scale
        slope = np.einsum("gn,gn->g", of_all, grids.share) - z - self.number
        return value, slope

    def _sums(self, scale: float) -> tuple[Floats, Floats]:
        """Sums of exp(x) and of x exp(x), x = y in scales."""
        x = self.y / scale
        grown = np.exp(x)
        return np.add.reduceat(grown, self.starts), np.add.reduceat(x * grown, self.starts)

    def _grids(self, scale: float, cavity: Normals) -> _Grids:
        whole, _ = self._sums(scale)
        middle, spread = cavity[0] - self.top, cavity[1]

        def ln(at: Floats) -> Floats:
            """ln of likelihood times the rest's density, less constants, at (points, g)."""
            grown = whole * np.exp(np.minimum(-at / scale, BEYOND))
            return np.asarray(
                (self.total - self.number * at) / scale - grown - (at - middle) ** 2 / (2 * spread)
            )

        mode, width = self._mode(scale, whole, middle, spread)
        highest = ln(mode)
        ends = []
        for sign in (-1, 1):
            reach = 6 * width
            for _ in range(WIDENINGS):
                short = ln(mode + sign * reach) > highest - DROP
                if not short.any():
                    break
                reach = np.where(short, WIDER * reach, reach)
            ends.append(mode + sign * reach)
        low, high = ends
        finest = np.minimum(OF_WIDTH * width, OF_SCALE * scale)
        if not np.isfinite((high - low) / finest).all():
            raise NotEstimable("the pulls' loads are too far apart for a likelihood")
        points = int(np.clip(np.ceil(((high - low) / finest).max()), FEWEST, MOST))
        at = low + np.linspace(0, 1, points + 1)[:, None] * (high - low)
        share = np.exp(ln(at) - highest)
        sum_ = share.sum(axis=0)
        log_probability = (
            highest
            + np.log(sum_ * (high - low) / points)
            - self.number * np.log(scale)
            - LOG_SQRT_2PI
            - np.log(spread) / 2
        )
        return _Grids(at.T, (share / sum_).T, log_probability)

    def _mode(
        self, scale: float, whole: Floats, middle: Floats, spread: Floats
    ) -> tuple[Floats, Floats]:
        """The most likely level of each group, and one over the root of the curvature there.

        The slope is convex and falls, so that Newton's steps never go past the root from its left.
        """
        at = np.maximum(middle - self.number * spread / scale, -scale)
        for _ in range(NEWTON_STEPS):
            grown = whole * np.exp(np.minimum(-at / scale, BEYOND))
            bend = grown / scale**2 + 1 / spread
            slope = (grown - self.number) / scale - (at - middle) / spread
            step = np.maximum(slope / bend, -FARTHEST * scale)
            at = at + step
            if (np.abs(step) < 0.01 / np.sqrt(bend)).all():
                break
        return at, 1 / np.sqrt(bend)


def weibull_pulls(y: Floats, exact: Booleans, group: Codes, groups: int) -> WeibullPulls:
    """ln loads y (n,) with flags and group numbers (n,); each group has a pull."""
    order = np.argsort(group, kind="stable")
    y, exact, group = y[order], exact[order], group[order]
    starts = np.searchsorted(group, np.arange(groups))
    top = np.maximum.reduceat(y, starts)
    off = y - top[group]
    number = np.add.reduceat(exact.astype(np.float64), starts)
    return WeibullPulls(
        off, starts, top, number, np.add.reduceat(np.where(exact, off, 0.0), starts)
    )

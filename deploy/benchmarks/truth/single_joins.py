"""The strength of one join alone, half its pulls parting in the line: is its estimate true?"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import gamma

from deploy.benchmarks.truth.worlds import CV_JOIN, CV_LINE, LINE_N
from results.statistics.join_strength import join_strength

WEIBULL_SCALE = CV_JOIN * np.sqrt(6.0) / np.pi
"""Scale of the log of a Weibull strength whose log scatters as much as the lognormal's."""


@dataclass(frozen=True)
class JoinWorld:
    """So many pulls of one join whose own strength has the median of the line's."""

    name: Literal["lognormal join", "Weibull join"]
    pulls: int


def join_worlds() -> list[JoinWorld]:
    """Every join world the benchmark judges."""
    counts = (6, 8, 12, 20)
    lognormal = [JoinWorld("lognormal join", pulls) for pulls in counts]
    return [*lognormal, *(JoinWorld("Weibull join", pulls) for pulls in counts)]


def judge_join(world: JoinWorld, random: np.random.Generator) -> Iterator[tuple[str, float]]:
    """Measures of one set: covered or not, and the bias of the mean in percent."""
    line = LINE_N * np.exp(CV_LINE * random.normal(size=world.pulls))
    uniform = random.random(world.pulls)
    if world.name == "lognormal join":
        own = LINE_N * np.exp(CV_JOIN * random.normal(size=world.pulls))
        mean, tail = LINE_N * np.exp(CV_JOIN**2 / 2), LINE_N * np.exp(-1.6448536 * CV_JOIN)
    else:
        own = LINE_N * (-np.log(uniform) / np.log(2.0)) ** WEIBULL_SCALE
        mean = LINE_N * np.log(2.0) ** -WEIBULL_SCALE * gamma(1.0 + WEIBULL_SCALE)
        tail = LINE_N * (-np.log(0.95) / np.log(2.0)) ** WEIBULL_SCALE
    found = join_strength(np.minimum(own, line), line < own)
    share = float((own > line).mean())
    yield "parted in the line", share
    yield "given an estimate", float(found.estimate is not None)
    yield "outlasting share's bound", float(found.outlasting_share_low <= 0.5)
    if found.estimate is None:
        return
    yield "bias of the mean, percent", 100.0 * (found.estimate.mean_N / mean - 1.0)
    answer = found.estimate.median_low_N <= LINE_N <= found.estimate.median_high_N
    yield "median, profile", float(answer)
    yield "bound of 95 in 100 ties", float(found.estimate.held.lower_bound_N <= tail)
    yield "better fit is the true family", float(found.estimate.held.family in world.name.lower())

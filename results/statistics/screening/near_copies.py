"""Readings that are another series' but for scale, order or a few steps: how likely by chance.

Of n normal readings the direction from their mean is uniform on a sphere of n - 2 dimensions, so
that a series lies within an angle of another one by chance as often as a cap is part of that
sphere: the one-sided test of a correlation. In any order there are n! caps, which bounds the chance
for sorted readings. Both hold for any factor and offset. Readings are rounded, and a cap is never
believed smaller than the steps make it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaln, gammaln
from scipy.stats import chi2

from results.statistics.screening.check import Check, Level
from results.statistics.screening.rounding import ROUNDED_TO, heaping

Floats = NDArray[np.float64]

LEAST_PULLS = 5
LEAST_TO_HOLD = 8
SHIFTED_STEPS = 3.0
MOST_TOLERANCE = 0.4
FAR_OFF = 2.0
LEAST_SHARE = 0.1
"""Of readings that are rounded to a step, below which it is chance that they end so."""

LEAST_LOG_CHANCE = -1000.0
"""Chances below this are no different: steps too small to be a scale's make them as small as one
likes."""
ALPHA = 0.001
SOURCE = "cap of a sphere, by n! for any order (exact for normal readings); Fisher (1932)"


@dataclass(frozen=True)
class Shape:
    """Least, greatest and middle reading of ``pulls`` in standard deviations from their mean.

    ``tolerance`` is how far a few steps of the scale may move each.
    """

    pulls: int
    lowest: float
    highest: float
    middle: float
    tolerance: float


def shape_of(readings: ArrayLike, step: float = 0.0) -> Shape | None:
    """The shape of readings (n,), which scaling and shuffling leave; ``step`` is in their unit.

    None below five readings or where all are the same.
    """
    x = np.sort(np.asarray(readings, dtype=float))
    sd = float(x.std()) if x.size else 0.0
    if x.size < LEAST_PULLS or not sd > 0 or not math.isfinite(sd):
        return None
    z = (x - x.mean()) / sd
    tolerance = min(MOST_TOLERANCE, max(1e-6, SHIFTED_STEPS * step / sd))
    return Shape(x.size, float(z[0]), float(z[-1]), float(z[x.size // 2]), tolerance)


def log_chance_alike(one: ArrayLike, other: ArrayLike, step: float, other_step: float) -> float:
    """Log of the chance that readings (n,) lie as near to others (n,) as these do, in some way.

    In their own order, reversed, or in any order. Where one reading lies far off in both, it has
    to be small without that one as well: they are alike by that alone. 0 for different numbers,
    below five, or without scatter; never below ``LEAST_LOG_CHANCE``. The steps are those that each
    is written to, in its own unit.
    """
    x, y = np.asarray(one, dtype=float), np.asarray(other, dtype=float)
    if x.size != y.size or x.size < LEAST_PULLS or np.ptp(x) == 0 or np.ptp(y) == 0:
        return 0.0
    steps = step**2, other_step**2
    orders = [_log_both(x, y, steps), _log_both(x, y[::-1], steps)]
    anyhow = _log_both(np.sort(x), np.sort(y), steps, shuffled=True)
    return max(LEAST_LOG_CHANCE, min(0.0, math.log(3) + min(*orders, anyhow)))


def written_step(steps: ArrayLike) -> float:
    """Root of the mean square step that readings (n,), in steps of the scale, are written to."""
    weights = heaping(steps).weights
    kept = np.where(weights >= LEAST_SHARE, weights, 0.0)
    return math.sqrt(float((kept * ROUNDED_TO**2).sum() / kept.sum())) if kept.any() else 1.0


def near_copy(
    applies_to: str,
    found: Sequence[tuple[str, float, int]],
    pulls: int,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether a series is another's but for scale, order or a few steps.

    ``found`` are (series, log chance, how many it was looked for among). None without one. Below
    eight pulls it only marks: those of a session are judged together.
    """
    if not found:
        return None
    name, log_chance, compared = min(found, key=lambda one: one[1] + math.log(one[2]))
    chance = math.exp(min(0.0, log_chance + math.log(compared)))
    return Check(
        "alike but for scale, order or a few steps",
        applies_to,
        math.log10(max(chance, 1e-300)),
        math.log10(alpha),
        None,
        (Level.HOLD if pulls >= LEAST_TO_HOLD else Level.MARK) if chance <= alpha else Level.NONE,
        f"These {pulls} readings are those of {name} but for a factor, their order or a few steps "
        f"of the scale; among all it was compared with, chance alone would do that in "
        f"{_of_hundred(chance)} of 100 cases.",
        SOURCE,
    )


def near_session(
    applies_to: str,
    log_chances: ArrayLike,
    series: int,
    pulls: int,
    compared: int,
    name: str,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether a session's series are another session's, by Fisher's sum over all ``series``.

    ``log_chances`` (m,) are those of the series that have a like one there, each for any of its
    series; ``pulls`` is how many readings these have together, ``compared`` how many sessions there
    are. None below two such series or eight pulls.
    """
    found = np.asarray(log_chances, dtype=float)
    if found.size < 2 or pulls < LEAST_TO_HOLD:
        return None
    chance = min(1.0, compared * float(chi2.sf(-2 * found.sum(), 2 * series)))
    return Check(
        "session alike but for scale, order or a few steps",
        applies_to,
        math.log10(max(chance, 1e-300)),
        math.log10(alpha),
        None,
        Level.HOLD if chance <= alpha else Level.NONE,
        f"{found.size} of {series} series of this session are those of {name} but for a factor, "
        f"their order or a few steps of the scale; chance alone would do that in "
        f"{_of_hundred(chance)} of 100 cases.",
        SOURCE,
    )


def _of_hundred(chance: float) -> str:
    return f"{100 * chance:.2g}" if chance > 1e-12 else "less than 1e-10"


def _log_both(x: Floats, y: Floats, steps: tuple[float, float], *, shuffled: bool = False) -> float:
    """The log chance; the larger of that and the one without a reading far off in both."""
    off = np.minimum(np.abs(x - x.mean()) / x.std(), np.abs(y - y.mean()) / y.std())
    farthest, with_all = int(np.argmax(off)), _log_cap(x, y, steps, shuffled=shuffled)
    if off[farthest] < FAR_OFF:
        return with_all
    rest = np.delete(x, farthest), np.delete(y, farthest)
    return max(with_all, _log_cap(*rest, steps, shuffled=shuffled))


def _log_cap(x: Floats, y: Floats, steps: tuple[float, float], *, shuffled: bool) -> float:
    """Log of the cap's share of the sphere, times n! where ``shuffled``."""
    u, v = x - x.mean(), y - y.mean()
    uu, vv, uv = float(u @ u), float(v @ v), float(u @ v)
    if uu <= 0 or vv <= 0 or uv <= 0:
        return 0.0
    rounding = x.size / 12 * (steps[0] / uu + steps[1] / vv)
    sine = max(0.0, 1 - uv**2 / (uu * vv)) + rounding
    if not 0 < sine < 1:
        return 0.0 if sine > 0 else -math.inf
    a = (x.size - 2) / 2
    # The incomplete beta function I_x(a, 1/2) is at most x^a / (a B(a, 1/2) sqrt(1 - x)).
    log = a * math.log(sine) - 0.5 * math.log1p(-sine) - math.log(2 * a) - float(betaln(a, 0.5))
    return min(0.0, log + (float(gammaln(x.size + 1)) if shuffled else 0.0))

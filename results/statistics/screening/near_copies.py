"""Readings that are another series' but for scale, order or a few steps: how likely by chance.

Readings (n,) come within r of another series by chance as often as a ball of that radius is wide,
times the density of their law there. Over all normal laws that is at most the greatest likelihood
of the other series, (2 pi e s^2)^(-n/2) with its standard deviation s. But for a factor, the ball
has n - 1 dimensions, across the line of its multiples. But for factor and offset, the direction of
normal readings from their mean is uniform on a sphere of n - 2 dimensions, and the chance is a
cap's share of it: the one-sided test of a correlation. Where two normal laws fit better than one,
as with a reading far off in both, each chance is larger by as much as they do. In any order there
are as many balls as the other series has distinct orders, and the sum of their chances is a bound
(Boole). In the order sent, a habit of testers, who tire or whose first pull comes out low, makes a
chance larger: one in ten is taken to have one, by as much as it fits the other series better.
No law is believed narrower than the ball. Below eight pulls only caps are looked at.
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
LOOKED_AT = 3
"""Ways to be near in each order: as it stands, but for a factor, but for a factor and offset."""
LEAST_OF_A_LAW = 3
TINY = 1e-9
"""Of the readings: less is no scatter, and no step of a scale."""

LEAST_SHARE = 0.1
"""Of readings that are rounded to a step, below which it is chance that they end so."""

SAME_FACTOR = 0.0015
"""Relative; what writing a converted reading to three or four digits may change; no source."""

SHARE_WITH_A_HABIT = 0.1
"""Of testers, by which their readings follow the turn of the pulls; ours, no source."""

LEAST_LOG_CHANCE = -1000.0
"""Chances below this are no different: steps too small to be a scale's make them as small as one
likes."""
ALPHA = 0.001
SOURCE = "greatest density times volume of a ball, or cap of a sphere, by orders; Fisher (1932)"


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


def log_chances_alike(own: ArrayLike, others: ArrayLike, step: float) -> Floats:
    """Log of the chance that readings (n,) lie as near to each of others (m, n) as they do.

    In their own order, reversed, or in any order; as they stand, but for a factor, or for a factor
    and an offset. 0 below five readings, or without scatter; never below ``LEAST_LOG_CHANCE``.
    ``step`` is what the own readings are written to, in their unit.
    """
    x, y = np.asarray(own, dtype=float), np.asarray(others, dtype=float)
    chances = np.zeros(y.shape[0])
    if x.size < LEAST_PULLS or not y.size or not np.ptp(x) > TINY * np.abs(x).max():
        return chances
    scatters = np.ptp(y, axis=1) > TINY * np.abs(np.concatenate((x, y.ravel()))).max()
    if not scatters.any():
        return chances
    unit = float(np.abs(x).max())
    x, y, step = x / unit, y[scatters] / unit, max(step / unit, TINY)
    in_order = np.sort(y, axis=1)
    law, orders = _Law(in_order), _log_orders(in_order)
    # A tester who sorts their readings has one order of them all, and a habit prefers some as well.
    in_turn = _is_sorted(x[None]) | _is_sorted(y)
    as_sent = np.where(in_turn, orders, np.minimum(orders, _log_gain_of_a_habit(y)))
    found = [
        _log_nearest(x, y, step, law) + as_sent,
        _log_nearest(x[::-1], y, step, law) + as_sent,
        _log_nearest(np.sort(x), in_order, step, law) + orders,
    ]
    ways = math.log(len(found) * LOOKED_AT)
    chances[scatters] = np.clip(ways + np.min(found, axis=0), LEAST_LOG_CHANCE, 0.0)
    return chances


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


def session_times_a_factor(
    applies_to: str,
    pairs: Sequence[tuple[ArrayLike, ArrayLike]],
    compared: int,
    name: str,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether a session's readings are another one's, in their order, times one factor for all.

    ``pairs`` are series of this session (n,) each with one of the other (n,); ``compared`` is how
    many sessions there are. Independent readings of whatever law, as coarse as it may be, come in
    the order seen with a chance of at most prod (k/n)^k, where k are how often each of the values
    came: the greatest likelihood of a multinomial law. One reading is spent on the factor. None
    where no series is another's but for a factor, or those that are have fewer than eight pulls.
    """
    alike = [
        (factor, x)
        for own, other in pairs
        for x, y in [(np.asarray(own, dtype=float), np.asarray(other, dtype=float))]
        for factor in [_factor_between(x, y)]
        if factor is not None
    ]
    if not alike:
        return None
    best = min(alike, key=lambda one: _log_greatest_likelihood(one[1]))[0]
    series = {tuple(x): x for factor, x in alike if abs(factor / best - 1) <= SAME_FACTOR}
    longest, *rest = sorted(series.values(), key=len, reverse=True)
    pulls = sum(map(len, series.values()))
    if pulls < LEAST_TO_HOLD:
        return None
    log_chance = sum(map(_log_greatest_likelihood, (longest[1:], *rest)))
    chance = min(1.0, compared * math.exp(log_chance))
    return Check(
        "session that is another times a factor",
        applies_to,
        math.log10(max(chance, 1e-300)),
        math.log10(alpha),
        None,
        Level.HOLD if chance <= alpha else Level.NONE,
        f"{pulls} readings of this session are those of {name} times {best:.3g}, in their order; "
        f"chance alone would do that in {_of_hundred(chance)} of 100 cases.",
        "greatest likelihood of a multinomial law, prod (k/n)^k",
    )


def _factor_between(own: Floats, other: Floats) -> float | None:
    """The factor between two series of as many readings, None where there isn't one."""
    if own.size != other.size or not own.size or not (own > 0).all() or not (other > 0).all():
        return None
    with np.errstate(over="ignore", under="ignore"):
        factors = own / other
    middle = float(np.median(factors))
    if not (0 < middle < math.inf and np.isfinite(factors).all()):
        return None
    return middle if (np.abs(factors / middle - 1) <= SAME_FACTOR).all() else None


def _log_greatest_likelihood(readings: Floats) -> float:
    """Log of prod (k/n)^k of readings (n,) by value; a trend in their order makes it larger."""
    values = np.sort(readings)
    groups = np.concatenate(([0], np.cumsum(np.diff(values) > 2 * SAME_FACTOR * values[-1])))
    counts = np.bincount(groups)
    if counts.size < 2:
        return 0.0
    grouped = groups[np.searchsorted(values, readings)].astype(float)[None]
    orders = float(_log_orders(np.sort(grouped, axis=1))[0])
    gain = orders if _is_sorted(grouped)[0] else float(_log_gain_of_a_trend(grouped)[0])
    return min(0.0, float((counts * np.log(counts / readings.size)).sum()) + min(orders, gain))


def _of_hundred(chance: float) -> str:
    return f"{100 * chance:.2g}" if chance > 1e-12 else "less than 1e-10"


class _Law:
    """The greatest likelihood of series (m, n), each in ascending order, by one or two normal laws.

    Each reading belongs to one of the two laws, which share a standard deviation or have their own;
    a standard deviation of its own takes ``LEAST_OF_A_LAW`` readings.
    """

    def __init__(self, in_order: Floats) -> None:
        self.n = in_order.shape[1]
        x = in_order - in_order.mean(axis=1, keepdims=True)
        low = np.arange(1, self.n)
        self.low, self.high = low, self.n - low
        sums, squares = np.cumsum(x, axis=1)[:, :-1], np.cumsum(x**2, axis=1)
        self.squares = squares[:, -1]
        self.squares_low = np.maximum(squares[:, :-1] - sums**2 / low, 0.0)
        rest = self.squares[:, None] - squares[:, :-1] - sums**2 / self.high
        self.squares_high = np.maximum(rest, 0.0)

    def logs(self, variance: Floats) -> tuple[Floats, Floats]:
        """By one law, and by the better of one and two; of no less ``variance`` (m,) than given."""
        one = _log_likelihood(self.n, self.squares, variance)
        shares = self.low * np.log(self.low / self.n) + self.high * np.log(self.high / self.n)
        least = variance[:, None]
        within = _log_likelihood(self.n, self.squares_low + self.squares_high, least)
        apart = _log_likelihood(self.low, self.squares_low, least) + _log_likelihood(
            self.high, self.squares_high, least
        )
        enough = np.minimum(self.low, self.high) >= LEAST_OF_A_LAW
        two = shares + np.maximum(within, np.where(enough, apart, -np.inf))
        return one, np.maximum(one, two.max(axis=1))


def _log_likelihood(n: NDArray[np.int_] | int, squares: Floats, least: Floats) -> Floats:
    """Of n readings by a normal law with their mean and variance, or with the ``least`` one."""
    variance = np.maximum(squares / n, least)
    return np.asarray(-n / 2 * np.log(2 * math.pi * variance) - squares / (2 * variance))


def _log_nearest(x: Floats, y: Floats, step: float, law: _Law) -> Floats:
    """The least log chance (m,) of the ``LOOKED_AT`` ways to be near, in this order."""
    n, rounding = x.size, x.size * step**2 / 12
    u, v = x - x.mean(), y - y.mean(axis=1, keepdims=True)
    agree, uu = v @ u, float(u @ u)
    # Of few pulls the steps of both count, and only the direction: their law is hardly known.
    both = rounding * (1 / uu + (1 / law.squares if n < LEAST_TO_HOLD else 0.0))
    sine = np.maximum(1 - agree**2 / (uu * law.squares), 0.0) + both
    fits = (agree > 0) & (sine < 1)
    sine = np.where(fits, sine, 0.5)
    one, either = law.logs(sine * law.squares / (n + 2))
    in_cap = np.where(fits, _log_cap(n, sine) + either - one, 0.0)
    if n < LEAST_TO_HOLD:
        return np.asarray(in_cap)
    apart = ((x - y) ** 2).sum(axis=1) + rounding
    _, either = law.logs(apart / (n + 2))
    in_ball = _log_ball(n, apart) + either
    # Along the line of multiples, with the factor that brings the other series nearest.
    factor = (y @ x) / (y**2).sum(axis=1)
    across = np.maximum(x @ x - factor * (y @ x), 0.0) + rounding
    along = factor > 0
    factor = np.where(along, factor, 1.0)
    one, either = law.logs(across / factor**2 / (n + 2))
    in_tube = (
        _log_ball(n - 1, across)
        + _log_likelihood(n - 1, law.squares, np.zeros(1))
        - (n - 1) * np.log(factor)
        + either
        - one
    )
    return np.asarray(np.min([in_ball, np.where(along, in_tube, 0.0), in_cap], axis=0))


def _log_ball(n: int, squared_radius: Floats) -> Floats:
    """Log of the volume of a ball of n dimensions."""
    return np.asarray(n / 2 * np.log(math.pi * squared_radius) - float(gammaln(n / 2 + 1)))


def _log_cap(n: int, sine: Floats) -> Floats:
    """Log of a cap's share of the sphere of n - 2 dimensions, by the square of its ``sine``.

    The incomplete beta function I_x(a, 1/2) is at most x^a / (a B(a, 1/2) sqrt(1 - x)).
    """
    a = (n - 2) / 2
    of_sphere = math.log(2 * a) + float(betaln(a, 0.5))
    return np.asarray(a * np.log(sine) - 0.5 * np.log1p(-sine) - of_sphere)


def _log_orders(in_order: Floats) -> Floats:
    """Log of the number of distinct orders of series (m, n), each in ascending order."""
    ties, run = np.zeros(in_order.shape[0]), np.ones(in_order.shape[0])
    for tied in (np.diff(in_order, axis=1) == 0).T:
        run = np.where(tied, run + 1, 1.0)
        ties += np.log(run)
    return np.asarray(float(gammaln(in_order.shape[1] + 1)) - ties)


def _log_gain_of_a_habit(series: Floats) -> Floats:
    """By how much series (m, n) are likelier if some testers' readings follow their turn.

    By a normal law around a straight trend with a first and a last pull apart from it, which a
    ``SHARE_WITH_A_HABIT`` of testers has, and without for the others.
    """
    n = series.shape[1]
    turn = np.arange(n)
    habits = np.stack([turn, turn == 0, turn == n - 1], axis=1).astype(float)
    across, _ = np.linalg.qr(habits - habits.mean(axis=0))
    v = series - series.mean(axis=1, keepdims=True)
    explained = ((v @ across) ** 2).sum(axis=1) / (v**2).sum(axis=1)
    likelier = np.maximum(1 - explained, TINY) ** (-n / 2)
    return np.asarray(np.log1p(SHARE_WITH_A_HABIT * (likelier - 1)))


def _log_gain_of_a_trend(series: Floats) -> Floats:
    """By how much a normal law with a straight trend is likelier for series (m, n) than without."""
    n = series.shape[1]
    turn = np.arange(n) - (n - 1) / 2
    v = series - series.mean(axis=1, keepdims=True)
    explained = (v @ turn) ** 2 / (float(turn @ turn) * (v**2).sum(axis=1))
    return np.asarray(-n / 2 * np.log(np.maximum(1 - explained, TINY)))


def _is_sorted(series: Floats) -> NDArray[np.bool_]:
    """Whether each of the series (m, n) only rises or only falls."""
    by = np.diff(series, axis=1)
    return np.asarray((by >= 0).all(axis=1) | (by <= 0).all(axis=1))

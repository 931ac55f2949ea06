"""Newton's method for many right-censored likelihoods at once, each over its own rows.

A likelihood is the sum over its rows of ln f(z) where failed and ln S(z) where not, z = b y - a,
plus (failures) ln b. It is concave in (a, b) for the families here (Burridge 1981, JRSS B 43:41),
so that Newton steps with halving reach the one maximum from anywhere.

Rows (n,) lie together by group, and `starts` (g,) holds the first row of each. Every sum of a group
runs over its own rows in their order, so that what a group comes to doesn't depend, to the last
digit, on which others are reckoned with it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]
Rows = NDArray[np.intp]
Family = Literal["normal", "lognormal", "weibull"]
Terms = tuple[Floats, Floats, Floats]
TermsOf = Callable[[Floats, Booleans], Terms]

LOG_SQRT_2PI = 0.5 * np.log(2.0 * np.pi)
STEPS = 100
HALVINGS = 60
RISE = 1e-4  # share of the gain promised by the slope that a step must bring
FLAT = 1e-12  # gain below which rounding hides whether a step rises
CLOSE = 1e-20  # gain of the last step


def normal(z: Floats, failed: Booleans) -> Terms:
    """Each row's log density or log survival, with its first and second derivative in z."""
    survival = log_ndtr(-z)
    hazard = np.exp(-0.5 * z * z - LOG_SQRT_2PI - survival)
    value = np.where(failed, -0.5 * z * z - LOG_SQRT_2PI, survival)
    slope = np.where(failed, -z, -hazard)
    curvature = np.where(failed, -1.0, -hazard * (hazard - z))
    return value, slope, curvature


def smallest_extreme_value(z: Floats, failed: Booleans) -> Terms:
    """As `normal`, for the log of a Weibull strength."""
    with np.errstate(over="ignore"):
        grown = np.exp(z)
    return np.where(failed, z - grown, -grown), np.where(failed, 1.0 - grown, -grown), -grown


def terms_of(family: Family) -> TermsOf:
    """Value, first and second derivative in z of each row's log-likelihood, less ln scale."""
    return smallest_extreme_value if family == "weibull" else normal


@dataclass(frozen=True)
class Maxima:
    """a, b (g,) of most likelihood; the observed information's entries aa, ab, bb (g,).

    `found` (g,) tells where the maximum was reached.
    """

    a: Floats
    b: Floats
    aa: Floats
    ab: Floats
    bb: Floats
    found: Booleans


def sums(rows: Floats, starts: Rows) -> Floats:
    """Sums by group over the last axis of rows (..., n)."""
    return np.asarray(np.add.reduceat(rows, starts, axis=-1))


def maxima(y: Floats, failed: Booleans, starts: Rows, terms: TermsOf) -> Maxima:
    """The maximum of every group from a = 0, b = 1, which suits y of mean 0 and scatter 1."""
    sizes = np.diff(np.append(starts, y.size))
    a, b = np.zeros(starts.size), np.ones(starts.size)
    information = np.zeros((3, starts.size))
    found = np.zeros(starts.size, dtype=bool)
    going = np.arange(starts.size)
    these = _Groups(y, failed, sizes, terms)
    here = these.at(a, b)
    for _ in range(STEPS):
        information[:, going] = here[3:]
        step, gain = _step(here)
        a[going], b[going], here, climbed = these.climb(a[going], b[going], here, step, gain)
        done = climbed & (gain < CLOSE)
        found[going[done]] = True
        left = climbed & ~done
        if not left.any():
            break
        if not left.all():
            these, here, going = these.only(left), here[:, left], going[left]
    aa, ab, bb = information
    return Maxima(a, b, aa, ab, bb, found)


def _step(here: Floats) -> tuple[Floats, Floats]:
    """Newton's step (2, g) and the gain (g,) that it promises."""
    _, slope_a, slope_b, aa, ab, bb = here
    determinant = aa * bb - ab * ab
    step = np.stack((bb * slope_a - ab * slope_b, aa * slope_b - ab * slope_a)) / determinant
    return step, step[0] * slope_a + step[1] * slope_b


class _Groups:
    """Some of the groups with their rows."""

    def __init__(self, y: Floats, failed: Booleans, sizes: Rows, terms: TermsOf) -> None:
        self.y, self.failed, self.sizes, self.terms = y, failed, sizes, terms
        self.starts = np.cumsum(sizes) - sizes
        self.failures = sums(failed.astype(float), self.starts)

    def only(self, kept: Booleans) -> "_Groups":
        rows = np.repeat(kept, self.sizes)
        return _Groups(self.y[rows], self.failed[rows], self.sizes[kept], self.terms)

    def at(self, a: Floats, b: Floats) -> Floats:
        """Level, its slopes in a and b, and the information aa, ab, bb there, (6, g)."""
        y = self.y
        z = np.repeat(b, self.sizes) * y - np.repeat(a, self.sizes)
        value, slope, curvature = self.terms(z, self.failed)
        bent = curvature * y
        level, slope_a, slope_b, aa, ab, bb = sums(
            np.stack((value, slope, slope * y, curvature, bent, bent * y)), self.starts
        )
        failures = self.failures
        return np.stack(
            (
                level + failures * np.log(b),
                -slope_a,
                slope_b + failures / b,
                -aa,
                ab,
                failures / b**2 - bb,
            )
        )

    def climb(
        self, a: Floats, b: Floats, here: Floats, step: Floats, gain: Floats
    ) -> tuple[Floats, Floats, Floats, Booleans]:
        """Where each group gets to, halving its step until it rises, and which of them rose."""
        a, b, here = a.copy(), b.copy(), here.copy()
        waiting = np.arange(a.size)
        these, shrink = self, 1.0
        for _ in range(HALVINGS):
            next_a = a[waiting] + shrink * step[0, waiting]
            next_b = b[waiting] + shrink * step[1, waiting]
            inside = next_b > 0
            there = these.at(next_a, np.where(inside, next_b, 1.0))
            enough = here[0, waiting] + RISE * shrink * gain[waiting]
            rose = inside & ((there[0] >= enough) | (gain[waiting] < FLAT))
            a[waiting[rose]], b[waiting[rose]] = next_a[rose], next_b[rose]
            here[:, waiting[rose]] = there[:, rose]
            if rose.all():
                waiting = waiting[:0]
                break
            these, waiting, shrink = these.only(~rose), waiting[~rose], shrink / 2.0
        climbed = np.ones(a.size, dtype=bool)
        climbed[waiting] = False
        return a, b, here, climbed

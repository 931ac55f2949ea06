"""Last digits of readings, counted in steps of the scale.

Mosimann, Wiseman & Edelman (1995), Accountability in Research 4:31-55: people who invent figures
do not spread last digits evenly. Even spread is expected only where readings scatter over several
steps: for normal readings with a standard deviation of s steps the first harmonic of the last
digit is 2 exp(-2 pi^2 s^2/100), 0.014 at s = 5.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import binom, chi2

from results.statistics.screening.check import Check, Level

LEAST_READINGS = 30
LEAST_SCATTER_STEPS = 5.0
ALPHA = 0.001
"""Thirty readings, five steps and p < 0.001: Mosimann et al. (1995, 2002)."""

ALIKE = ((1, 3, 7, 9), (2, 4, 6, 8))
LEAST_OF_FOUR = 20
"""Five of each expected, as a chi-square takes (Cochran 1954, Biometrics 10:417)."""

SOURCE = (
    "Mosimann, Wiseman & Edelman (1995); US Office of Research Integrity, statistical forensics"
)
BY_EYE = "common practice, no source: scales read by eye heap at 0 and 5"


def digit_counts(steps: ArrayLike) -> NDArray[np.int64]:
    """How often each last digit 0 to 9 occurs among readings in whole steps of the scale."""
    digits = np.asarray(steps, dtype=np.int64) % 10
    return np.bincount(digits, minlength=10)


def digit_chi_square(counts: ArrayLike) -> tuple[float, float]:
    """Chi-square of counts (k,) against an even spread, and its p value on k - 1 df."""
    observed = np.asarray(counts, dtype=float)
    expected = observed.sum() / observed.size
    statistic = float(((observed - expected) ** 2).sum() / expected)
    return statistic, float(chi2.sf(statistic, observed.size - 1))


def terminal_digits(
    applies_to: str, steps: ArrayLike, scatter_steps: float, alpha: float = ALPHA
) -> Check | None:
    """Whether last digits spread evenly among those that rounding treats alike.

    Rounding to 2, 5 or 10 steps prefers 0, or 5, or even digits, and none of 1, 3, 7 and 9 to
    another, nor of 2, 4, 6 and 8: only within these two fours are digits compared, and a four
    that has fewer than twenty is left out. None below 30 readings, 5 steps of scatter, or without
    such a four.
    """
    counts = digit_counts(steps)
    n = int(counts.sum())
    if n < LEAST_READINGS or scatter_steps < LEAST_SCATTER_STEPS:
        return None
    fours = [list(four) for four in ALIKE if counts[list(four)].sum() >= LEAST_OF_FOUR]
    if not fours:
        return None
    found = [digit_chi_square(counts[four])[0] for four in fours]
    worst = fours[int(np.argmax(found))]
    commonest = max(worst, key=lambda digit: int(counts[digit]))
    statistic, freedom = sum(found), 3 * len(fours)
    return Check(
        "terminal digits",
        applies_to,
        statistic,
        float(chi2.isf(alpha, freedom)),
        float(chi2.sf(statistic, freedom)),
        Level.NONE,
        f"{counts[commonest]} of {n} readings end in the digit {commonest} of the scale's steps; "
        f"of {', '.join(map(str, worst))}, which rounding treats alike, chance gives each about "
        f"{counts[worst].mean():.0f}.",
        SOURCE,
        alpha=alpha,
    )


def heaped_digits(
    applies_to: str, steps: ArrayLike, scatter_steps: float, alpha: float = ALPHA
) -> Check | None:
    """Whether 0 and 5 end more readings than a fifth: reading by eye, so it only marks."""
    counts = digit_counts(steps)
    n, heaped = int(counts.sum()), int(counts[0] + counts[5])
    if n < LEAST_READINGS or scatter_steps < LEAST_SCATTER_STEPS:
        return None
    return Check(
        "heaping at 0 and 5",
        applies_to,
        heaped / n,
        float(binom.isf(alpha, n, 0.2)) / n,
        float(binom.sf(heaped - 1, n, 0.2)),
        Level.NONE,
        f"{heaped} of {n} readings end in 0 or 5 of the scale's steps; chance alone gives about "
        f"{n / 5:.0f}. A scale read by eye often does this.",
        BY_EYE,
        at_most=Level.MARK,
        alpha=alpha,
    )

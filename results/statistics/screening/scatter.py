"""Scatter that is too small to be true, scatter above everyone else's, and a pull far off its set.

The coefficient of variation of sets on a log-normal strength follows, nearly, CV^2 df/true CV^2 ~
chi-square(df); sums over sets are again chi-square ('t Lam 2010, Analytica Chimica Acta 659:68-84,
for Cochran's test two-sided; Simonsohn 2013, Psychological Science 24:1875, for means and SDs too
alike). On a scale whose steps are wide beside that scatter a CV says little; there the steps that
a set spans are counted, and their law under honest scatter is drawn (a Monte Carlo test, Barnard
1963; Hope 1968, JRSS B 30:582-598).
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2
from scipy.stats import f as fisher

from results.statistics.screening.check import Check, Level

LEAST_SHARE = 0.5
"""A practised tyer on a good rig may show half the usual scatter: good joins have a CV of 4 to 8
percent, ordinary ones 8 to 12 (common practice, no source)."""

NO_HAND, NO_LINE = 0.4, 0.8
"""Of the usual scatter of joined and of straight line: below both, together, no honest figures lie.
A hand may be as steady as it likes, the line it pulls straight is everyone's (ours, measured on
simulated leagues; no source)."""

MOST_USUAL_CV = 0.12
"""What others scatter is believed up to here: uneven joins have a CV of 8 to 12 percent (common
practice, no source)."""

LEAST_FREEDOM = 4.0
ALPHA = 0.001

WIDE_STEP = 0.5
"""Of the least scatter that a practised tyer shows; narrower steps leave the CV as it is."""

DRAWS = 20_000
"""The smallest p they can give is 5e-5, which holds among up to two hundred checks."""

LITTLE = "'t Lam (2010); Simonsohn (2013); half the usual scatter: common practice, no source"
COARSE = "Monte Carlo test (Barnard 1963); half the usual scatter: common practice, no source"
COCHRAN = "ISO 5725-2, Cochran's test, as an F test for unequal numbers ('t Lam 2010)"


def too_little_scatter(
    applies_to: str,
    cv: ArrayLike,
    degrees_of_freedom: ArrayLike,
    usual_cv: ArrayLike,
    relative_resolution: ArrayLike,
    least_share: float = LEAST_SHARE,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether sets (k,) scatter less than ``least_share`` of the usual CV allows, added over sets.

    ``relative_resolution`` is the scale's step over the mean load: a CV is not believed below
    step/sqrt(12). A very steady hand does this, so it marks. None with fewer than four degrees of
    freedom.
    """
    freedom, usual = np.asarray(degrees_of_freedom, float), _believed(usual_cv)
    total = float(freedom.sum())
    if total < LEAST_FREEDOM:
        return None
    statistic = _squares(cv, freedom, least_share * usual, relative_resolution)
    shown, expected = _together(cv, freedom), _together(usual, freedom)
    limit = least_share * expected * float(np.sqrt(chi2.ppf(alpha, total) / total))
    return Check(
        "too little scatter",
        applies_to,
        shown,
        limit,
        float(chi2.cdf(statistic, total)),
        Level.NONE,
        f"The pulls differ by {100 * shown:.1f} percent among themselves; in other people's hands "
        f"such pulls differ by {100 * expected:.1f} percent. A very steady hand does this.",
        LITTLE,
        at_most=Level.MARK,
        alpha=alpha,
    )


@dataclass(frozen=True)
class Scatters:
    """CVs of sets (k,), their degrees of freedom, what is usual, and step over mean load."""

    cv: ArrayLike
    degrees_of_freedom: ArrayLike
    usual_cv: ArrayLike
    relative_resolution: ArrayLike


def scatter_of_no_hand(
    applies_to: str,
    joined: Scatters,
    straight: Scatters,
    joined_share: float = NO_HAND,
    straight_share: float = NO_LINE,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether joined and straight line together scatter less than any hand on any line.

    As `too_little_scatter`, with a share of the usual for each of the two. Honest reasons: readings
    that were averaged or rounded before they were sent, or a scale that shows coarser steps than
    its resolution says. None with fewer than four degrees of freedom of either.
    """
    parts = ((joined, joined_share), (straight, straight_share))
    freedom = [np.asarray(one.degrees_of_freedom, dtype=float) for one, _ in parts]
    if min(float(each.sum()) for each in freedom) < LEAST_FREEDOM:
        return None
    statistic = sum(
        _squares(one.cv, own, share * _believed(one.usual_cv), one.relative_resolution)
        for (one, share), own in zip(parts, freedom, strict=True)
    )
    total = float(sum(each.sum() for each in freedom))
    tied, pulled = (_together(one.cv, own) for (one, _), own in zip(parts, freedom, strict=True))
    usual = [
        _together(_believed(one.usual_cv), own)
        for (one, _), own in zip(parts, freedom, strict=True)
    ]
    return Check(
        "less scatter than any hand",
        applies_to,
        float(np.sqrt(statistic / total)),
        float(np.sqrt(chi2.ppf(alpha, total) / total)),
        float(chi2.cdf(statistic, total)),
        Level.NONE,
        f"Joined pulls differ by {100 * tied:.1f} percent among themselves and straight line by "
        f"{100 * pulled:.1f} percent; elsewhere they differ by {100 * usual[0]:.1f} and "
        f"{100 * usual[1]:.1f} percent. Averaged readings do this, and so does a scale whose steps "
        "are coarser than its resolution says: then give these steps as the resolution.",
        LITTLE,
        alpha=alpha,
    )


def _believed(usual_cv: ArrayLike) -> NDArray[np.float64]:
    usual = np.asarray(usual_cv, dtype=np.float64)
    return np.asarray(np.minimum(usual, MOST_USUAL_CV), dtype=np.float64)


def _squares(cv: ArrayLike, freedom: ArrayLike, least: ArrayLike, step: ArrayLike) -> float:
    """Sum of df CV^2 over the least CV squared, with no CV believed below the steps' own."""
    own = np.maximum(np.asarray(cv, float) ** 2, np.asarray(step, float) ** 2 / 12)
    return float((np.asarray(freedom) * own / np.asarray(least) ** 2).sum())


def _together(cv: ArrayLike, freedom: NDArray[np.float64]) -> float:
    return float(np.sqrt((freedom * np.asarray(cv, dtype=float) ** 2).sum() / freedom.sum()))


def few_steps_of_the_scale(
    applies_to: str,
    sets: Iterable[ArrayLike],
    usual_cv: Iterable[float],
    least_share: float = LEAST_SHARE,
    alpha: float = ALPHA,
) -> Check | None:
    """Whether sets on a coarse scale span fewer of its steps than the usual scatter makes them.

    ``sets`` are readings in steps, ``usual_cv`` that of each. The steps spanned are added over the
    sets; their law is that of readings around each set's mean which scatter by ``least_share`` of
    the usual CV and are rounded. A very steady hand does this, so it marks. Only sets of two
    readings or more count whose steps are wide beside that scatter; None without such a set.
    """
    pairs = ((np.asarray(steps, dtype=float), cv) for steps, cv in zip(sets, usual_cv, strict=True))
    rows = [
        (steps, least_share * cv * float(steps.mean())) for steps, cv in pairs if steps.size > 1
    ]
    coarse = [(steps, sd) for steps, sd in rows if WIDE_STEP * sd < 1]
    if not coarse:
        return None
    rng, drawn = np.random.default_rng(0), np.zeros(DRAWS)
    for steps, sd in coarse:
        readings = np.rint(steps.mean() + sd * rng.standard_normal((DRAWS, steps.size)))
        drawn += np.ptp(readings, axis=1)
    spanned = float(sum(np.ptp(steps) for steps, _ in coarse))
    return Check(
        "few steps of the scale",
        applies_to,
        spanned,
        float(np.quantile(drawn, alpha)),
        (1 + float((drawn <= spanned).sum())) / (1 + DRAWS),
        Level.NONE,
        f"From their lowest reading to their highest the sets of this session span "
        f"{spanned:.0f} steps of the scale together; half the usual scatter would span about "
        f"{np.median(drawn):.0f}. A very steady hand does this.",
        COARSE,
        at_most=Level.MARK,
        alpha=alpha,
    )


def more_scatter(
    applies_to: str,
    cv: float,
    degrees_of_freedom: float,
    others_cv: float,
    others_degrees_of_freedom: float,
    sets: int,
    alpha: float = 0.01,
) -> Check | None:
    """Whether a set scatters more than the other sets of its pool; ``sets`` counts them all.

    Mandel's k against the others, p by F, times the number of sets as in Cochran's test, which
    picks the largest. Uneven tying is honest, so it only marks. None without other sets.
    """
    if others_degrees_of_freedom <= 0 or others_cv <= 0 or degrees_of_freedom <= 0:
        return None
    k = cv / others_cv
    limit = fisher.isf(alpha / sets, degrees_of_freedom, others_degrees_of_freedom)
    p = sets * float(fisher.sf(k**2, degrees_of_freedom, others_degrees_of_freedom))
    return Check(
        "more scatter than the pool",
        applies_to,
        k,
        float(np.sqrt(limit)),
        min(1.0, p),
        Level.NONE,
        f"These pulls differ by {100 * cv:.1f} percent among themselves, {k:.1f} times as much as "
        f"the other sets of this join. Uneven tying does this, and so does one mistyped reading.",
        COCHRAN,
        at_most=Level.MARK,
        alpha=alpha,
    )

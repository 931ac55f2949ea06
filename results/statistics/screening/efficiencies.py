"""Efficiencies that can't be right: above the line itself, or out of reach of the pool.

Below the pool is another matter: a weak tyer's pulls are valid data, so that side only marks.

Where a sentence says what a set held it says ``efficiency``, the ratio of means that everything
else shows of the set, with as many decimals (`_shown`). The tests take the log ratio, whose
small-sample correction moves it by a percent or two.
"""

import math

from scipy.stats import t as student

from results.statistics.screening.check import Check, Level

ASK_ABOVE = 1.15
LOOK_BELOW = 0.40
"""Efficiency: look below 40 percent, ask above 115 (common practice, no source)."""

TRADE = "common practice, no source"
RATIO = "one-sided t of the log ratio of means (Lajeunesse 2015)"
POOL = "t of the difference from the pool without this tester, heterogeneity included (Mandel's h)"


def _shown(ratio: float) -> str:
    """A ratio as every sentence of a check says it, and as pages do: ``82.6 percent``."""
    return f"{100 * ratio:.1f} percent"


def plausible_efficiency(
    applies_to: str,
    efficiency: float,
    ask_above: float = ASK_ABOVE,
    look_below: float = LOOK_BELOW,
) -> Check:
    """Held above ``ask_above``, marked below ``look_below``."""
    high = efficiency > ask_above
    low = efficiency < look_below
    return Check(
        "plausible efficiency",
        applies_to,
        efficiency,
        look_below if low else ask_above,
        None,
        Level.HOLD if high else Level.MARK if low else Level.NONE,
        f"The join held {_shown(efficiency)} of the straight line. Above "
        f"{100 * ask_above:.0f} percent it is usually the straight line that was pulled too weak: "
        "it slipped, broke at the grip, or came off another spool.",
        TRADE,
    )


def above_the_line(
    applies_to: str, log_ratio: float, se: float, degrees_of_freedom: float, alpha: float = 0.01
) -> Check:
    """Whether the join is stronger than the straight line beyond chance, which no join is."""
    p = float(student.sf(log_ratio / se, degrees_of_freedom))
    return Check(
        "stronger than the line",
        applies_to,
        math.exp(log_ratio),
        math.exp(float(student.isf(alpha, degrees_of_freedom)) * se),
        p,
        Level.NONE,
        "The join seems stronger than its line by more than chance explains. A join can outlast "
        "its line, but the pull then ends with the line, at 100 percent.",
        RATIO,
        alpha=alpha,
    )


def above_the_pool(
    applies_to: str,
    efficiency: float,
    log_ratio: float,
    pooled_log_ratio: float,
    prediction_sd: float,
    degrees_of_freedom: float,
    alpha: float = 0.01,
) -> Check:
    """Whether a set lies above where the pool, without its tester, expects a new tester's next.

    ``prediction_sd`` holds the scatter between testers, sessions and sets, the pool's own
    uncertainty and the set's sampling error.
    """
    t = (log_ratio - pooled_log_ratio) / prediction_sd
    return Check(
        "above the pool",
        applies_to,
        t,
        float(student.isf(alpha, degrees_of_freedom)),
        float(student.sf(t, degrees_of_freedom)),
        Level.NONE,
        _beside_the_pool(efficiency, pooled_log_ratio),
        POOL,
        alpha=alpha,
    )


def below_the_pool(
    applies_to: str,
    efficiency: float,
    log_ratio: float,
    pooled_log_ratio: float,
    prediction_sd: float,
    degrees_of_freedom: float,
    alpha: float = 0.01,
) -> Check:
    """As `above_the_pool`, for the other side: weak tying is what a pool measures, so it marks."""
    t = (log_ratio - pooled_log_ratio) / prediction_sd
    return Check(
        "below the pool",
        applies_to,
        t,
        float(student.ppf(alpha, degrees_of_freedom)),
        float(student.cdf(t, degrees_of_freedom)),
        Level.NONE,
        _beside_the_pool(efficiency, pooled_log_ratio) + " Weak tying is no fault of the record.",
        POOL,
        at_most=Level.MARK,
        alpha=alpha,
    )


def _beside_the_pool(efficiency: float, pooled_log_ratio: float) -> str:
    return (
        f"This join held {_shown(efficiency)} of its straight line; in the hands of other testers "
        f"it holds {_shown(math.exp(pooled_log_ratio))}."
    )

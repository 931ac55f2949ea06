"""Whether two straight lines, pulled in one session, part clearly apart.

Which of two equal lines parts lower in a session is chance, and to measure joins against that line
makes every efficiency too high: with four pulls at a CV of 6 and 10 percent by 1.7 and 2.8 percent
on average. So a session alone says which line is the weaker only where Welch's t test (1947,
Biometrika 34:28) on the logs of the two means, two-sided at 1 percent, says so too. At that level
what is left of the error is 0.05 to 0.08 percent; at 5 percent it would be 0.2 to 0.36.
"""

import numpy as np

from results.statistics.censored import Strength
from results.statistics.quantiles import t_quantile
from results.statistics.ratio import relative_variance

NEARLY_EQUAL = 0.05
"""Lines whose strengths differ by less are nearly equal; common practice, no source."""
LEVEL = 0.01
"""Two-sided level at which a session alone decides which line is the weaker."""


def clearly_apart(first: Strength, second: Strength) -> bool:
    """Whether the means differ by 5 percent or more, and by more than chance explains.

    Raises what `relative_variance` raises.
    """
    means = (first.mean_N, second.mean_N)
    if abs(means[0] - means[1]) < NEARLY_EQUAL * max(means):
        return False
    a, b = (relative_variance(each.cv, each.n_effective).item() for each in (first, second))
    if a + b == 0:
        return True
    share = a / (a + b)
    freedom = 1 / (
        share**2 / first.degrees_of_freedom + (1 - share) ** 2 / second.degrees_of_freedom
    )
    beyond = float(t_quantile(1 - LEVEL / 2, freedom)) * float(np.sqrt(a + b))
    return abs(float(np.log(means[0]) - np.log(means[1]))) > beyond

"""Named refusals of the statistics: each says what is missing, none comes with a number."""


class StatisticsError(ValueError):
    """The figures handed in do not allow the computation asked for."""


class TooFewTesters(StatisticsError):
    """A pooled figure was asked of fewer testers than it can rest on."""


class TooFewSets(StatisticsError):
    """There are not enough pull sets for what was asked."""


class TooFewPulls(StatisticsError):
    """There are not enough pulls (or not enough failures) for what was asked."""


class ShapeMismatch(StatisticsError):
    """Arrays that describe the same rows have different lengths."""


class NotFinite(StatisticsError):
    """A value is missing, not a number, or infinite."""


class NotPositive(StatisticsError):
    """A mean, load, variance or count that must be above zero is not."""


class NoScatter(StatisticsError):
    """All values are the same, so a scatter can be neither estimated nor divided by."""


class NotPositiveDefinite(StatisticsError):
    """A covariance matrix given for the errors is not symmetric positive definite."""


class NotNested(StatisticsError):
    """A baseline lies in two sessions, or a session in two testers."""


class Collinear(StatisticsError):
    """A covariate is constant or can be written by the others, so it has no coefficient."""


class TooManyCovariates(StatisticsError):
    """More covariates were given than the pool's sets can support."""


class Disconnected(StatisticsError):
    """Two joins are linked by no chain of contrasts, so they cannot be compared."""


class NotEstimable(StatisticsError):
    """The data hold too little of this figure: to rounding, its information is nothing."""


class TooExtreme(StatisticsError):
    """Values or variances so large, small or far apart that their sums would keep no digits."""


class NoConvergence(StatisticsError):
    """A search for a maximum or a root did not end."""

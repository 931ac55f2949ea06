"""What metrology refuses: each class names what is missing or wrong.

Every refusal is a `MetrologyError`, so that a caller answers all of them in one place.
"""


class MetrologyError(ValueError):
    """Base of every refusal of this package."""


class NotFinite(MetrologyError):
    """A value is NaN or infinite."""


class UnequalLengths(MetrologyError):
    """Two columns that belong together differ in length."""


class TooFewCheckWeights(MetrologyError):
    """Fewer than three different check weights: no line with an uncertainty."""


class AllTheSameMass(MetrologyError):
    """Every reading was taken with the same check weight: no slope."""


class ReadingFallsWithForce(MetrologyError):
    """The reading does not rise with the force: columns swapped, or a fault of the scale."""


class NotPositive(MetrologyError):
    """A quantity that must be above zero is not."""


class TooFewValues(MetrologyError):
    """Too few values for the statistic."""


class NotOnEarth(MetrologyError):
    """A latitude or height outside the range where people live."""


class OutsideTheFormula(MetrologyError):
    """A value outside the range for which the formula was made."""


class NoScatter(MetrologyError):
    """All values are alike, so that nothing can be said of their scatter."""


class TooFewSamples(MetrologyError):
    """A recording with too few samples for what is asked of it."""


class ClockRunsBack(MetrologyError):
    """A time before the one ahead of it."""


class NotATrace(MetrologyError):
    """Bytes that are no encoded trace, or a damaged one."""

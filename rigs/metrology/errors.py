"""What metrology refuses: each class names what is missing or wrong.

Every refusal is a `MetrologyError`, so that a caller answers all of them in one place.
"""


class MetrologyError(ValueError):
    """Base of every refusal of this package."""


class NotFinite(MetrologyError):
    """A value is NaN or infinite."""


class UnequalLengths(MetrologyError):
    """Two columns that belong together differ in length."""

"""Figures of which a part may be missing: the rest stands, and says why the part doesn't."""

from collections.abc import Callable
from typing import TypeVar

from results.statistics.errors import StatisticsError

Found = TypeVar("Found")


class Parts:
    """Collects parts of a figure, and why those that can't be computed are missing."""

    def __init__(self) -> None:
        self.not_estimable: dict[str, str] = {}

    def take(self, name: str, compute: Callable[[], Found], missing: Found) -> Found:
        """The part, or `missing` where it can't be computed."""
        try:
            return compute()
        except StatisticsError as error:
            self.not_estimable.setdefault(name, str(error))
            return missing

"""Intervals: ``{"low": ..., "high": ...}`` everywhere, whatever the two ends are called inside."""

from __future__ import annotations

import math
from typing import Any

from rest_framework import serializers

from api.serializers import AnyField, Shown


class FromLog(serializers.FloatField):
    """An efficiency that is kept as its logarithm."""

    def to_representation(self, value: Any) -> Any:
        return math.exp(value)


class Interval(Shown):
    """An interval; both ends are null where there is none.

    Of the columns ``<base>_low`` and ``<base>_high``, or of those that ``ends`` names.
    """

    def __init__(
        self,
        base: str = "interval",
        *,
        ends: tuple[str, str] | None = None,
        number: type[serializers.FloatField] = serializers.FloatField,
        **kwargs: Any,
    ) -> None:
        super().__init__(source="*", read_only=True, **kwargs)
        self.ends = ends or (f"{base}_low", f"{base}_high")
        self.number = number

    def get_fields(self) -> dict[str, AnyField]:
        return dict(zip(("low", "high"), map(self._end, ("low", "high"), self.ends), strict=True))

    def _end(self, name: str, source: str) -> AnyField:
        # A field that bears its source's name may not name it again.
        named: dict[str, Any] = {} if name == source else {"source": source}
        return self.number(allow_null=True, **named)

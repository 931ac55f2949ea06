"""The database's clock, so that processes need not agree on the time."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import DateTimeField, ExpressionWrapper, Value
from django.db.models.expressions import CombinedExpression
from django.db.models.functions import Now


def from_now(seconds: float) -> ExpressionWrapper[CombinedExpression]:
    """The moment ``seconds`` from now on the database's clock; negative for the past."""
    return ExpressionWrapper(
        Now() + Value(timedelta(seconds=seconds)), output_field=DateTimeField()
    )

"""Which operations and members are superseded, since when, and until when they answer.

Nothing of v1 is removed. What its successor leaves out is named here at least a year before: the
description marks it as deprecated, and its answers carry Deprecation (RFC 9745) and Sunset
(RFC 8594).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

LEAST_NOTICE = timedelta(days=365)


@dataclass(frozen=True)
class Notice:
    """When an operation was deprecated, and when it ends; both with a time zone."""

    since: datetime
    until: datetime

    def __post_init__(self) -> None:
        if self.until - self.since < LEAST_NOTICE:
            raise ValueError(f"an operation answers for {LEAST_NOTICE.days} days after its notice")


DEPRECATED: dict[str, Notice] = {}
"""By method and the name of the address, as ``"GET api:pools"``."""
RENAMED = {
    "ChangeDocument.lower": "interval.low",
    "ChangeDocument.upper": "interval.high",
    "ComparedDocument.told": "result",
    "ComparisonDocument.told": "detectable",
    "ComponentDocument.high": "interval.high",
    "ComponentDocument.low": "interval.low",
    "DifferenceDocument.ratio_high": "ratio_interval.high",
    "DifferenceDocument.ratio_low": "ratio_interval.low",
    "DifferenceDocument.shrunken_high": "shrunken_interval.high",
    "DifferenceDocument.shrunken_low": "shrunken_interval.low",
    "EquivalenceDocument.lower": "interval.low",
    "EquivalenceDocument.upper": "interval.high",
    "OthersDocument.interval_high": "interval.high",
    "OthersDocument.interval_low": "interval.low",
    "OthersDocument.prediction_high": "prediction.high",
    "OthersDocument.prediction_low": "prediction.low",
    "OwnStrength.interval_high": "interval.high",
    "OwnStrength.interval_low": "interval.low",
    "PreviewDocument.baselines": "baseline_count",
    "PreviewDocument.pull_sets": "pull_set_count",
    "ScatterDocument.ratio_high": "ratio_interval.high",
    "ScatterDocument.ratio_low": "ratio_interval.low",
}
"""Members of answers that have a better name beside them, by component. They stay as long as v1;
a client reads the better one. The header is of whole resources, so the document alone says it."""


def address_of(request: HttpRequest) -> str:
    """The page on which deprecated operations are marked."""
    return request.build_absolute_uri(reverse("api:docs"))


def mark_deprecated(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Mark them in the OpenAPI document."""
    paths = {
        f"{method.upper()} {path}": operation
        for path, operations in result["paths"].items()
        for method, operation in operations.items()
    }
    for name, notice in DEPRECATED.items():
        method, _, view = name.partition(" ")
        operation = paths[f"{method} {reverse(view)}"]
        operation["deprecated"] = True
        operation["description"] += f"\n\nGoes on {notice.until:%Y-%m-%d}."
    for name, better in RENAMED.items():
        component, _, member = name.partition(".")
        schema = result["components"]["schemas"][component]["properties"]
        schema[member] |= {"deprecated": True, "description": f"the same as {better}"}
    return result

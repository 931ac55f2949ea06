"""Which operations will go, since when they say so, and until when they answer.

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
    return result

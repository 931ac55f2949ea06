"""Names of the catalogue that a page's fields offer while one types."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import AnonymousUser, User

from results.catalogue import connections
from results.catalogue.selectors import lines_visible_to

LINES_OFFERED, JOINS_OFFERED = 300, 200


def catalogue_offered(user: User | AnonymousUser) -> dict[str, Any]:
    """Lines and joins for the lists behind a page's fields, and whether all lines are there."""
    joins = connections.connections_visible_to(user).prefetch_related(None)
    lines = list(lines_visible_to(user)[:LINES_OFFERED])
    return {
        "lines": lines,
        "lines_are_all": len(lines) < LINES_OFFERED,
        "joins": joins[:JOINS_OFFERED],
    }

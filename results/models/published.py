"""Pools as the public may read them: without their figures where these were taken down."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

from django.db import models
from django.db.models import Min, OuterRef, QuerySet, Subquery

from results.models.stale_pools import StalePool


@dataclass(frozen=True)
class Freshness:
    """Whether what a pool says is what its sets say: 'current', 'updating' or 'recomputing'.

    ``since`` is None where it is current; ``failed_at`` is when computing it last failed.
    """

    state: str
    since: datetime | None
    failed_at: datetime | None


class PublishedPools(models.QuerySet[Any]):
    """Pools; those from ``published`` show no figure that was taken down."""

    def published(self) -> Self:
        """With the current version, emptied where a set that counted was withdrawn, rejected or
        held since it was computed.

        Each pool says since when: ``taken_down_at``, and ``updating_since`` for any change.
        """
        return self.select_related("current").annotate(
            updating_since=_first_mark(), taken_down_at=_first_mark(takes_down=True)
        )

    def _fetch_all(self) -> None:
        fetched = self._result_cache is not None
        super()._fetch_all()
        if fetched:
            return
        for pool in self._result_cache or ():
            if getattr(pool, "taken_down_at", None) and pool.current is not None:
                pool.current.withhold(pool.taken_down_at)


def _first_mark(**kind: bool) -> Subquery:
    marks = StalePool.objects.filter(pool=OuterRef("pk"), **kind)
    first: QuerySet[Any, Any] = marks.order_by().values("pool").annotate(first=Min("marked_at"))
    return Subquery(first.values("first"))

"""What is new: the versions of pools, each beside the one before it."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from results.models import Pool, PoolMembership, PoolVersion
from results.pools.selectors import with_changes
from results.public.rows import public_pools
from rigs.models import Contributor


def news(pools: Q | None = None) -> QuerySet[PoolVersion]:
    """Versions of these public pools, or of all, the newest first.

    Each has how many sets it ``added`` and ``removed``, and the efficiency ``before`` it, which is
    null where the earlier version had none or there was none.
    """
    shown = Pool.objects.filter(public_pools(), pools or Q())
    earlier = PoolVersion.objects.filter(pool=OuterRef("pool"), number=OuterRef("number") - 1)
    versions = (
        PoolVersion.objects.filter(pool__in=shown)
        .select_related("pool__connection")
        .defer("figures", "findings", "inputs", "forest_light", "forest_dark")
        .order_by("-pk")
    )
    before = {"before": Subquery(earlier.values("efficiency"))}
    return with_changes(versions).annotate(**before)


def news_of_tester(contributor: Contributor) -> QuerySet[PoolVersion]:
    """Versions that a set of this contributor's came into or left."""
    theirs = PoolMembership.objects.filter(
        Q(since=OuterRef("pk")) | Q(until=OuterRef("pk")),
        pull_set__session__contributor=contributor,
    )
    return news().filter(Exists(theirs))

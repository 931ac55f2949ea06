"""Looking things up: what pages and API show of pools and sets. Nothing here changes a row."""

from __future__ import annotations

from django.db.models import F, QuerySet

from results.models import NormalisedSet, Pool, PoolMembership, PoolVersion


def pools() -> QuerySet[Pool]:
    """Pools that hold or held a set: line pair by line pair, the strongest join first.

    Those without a pooled figure come last in their line pair. Each has its connection and its
    current version at hand.
    """
    return (
        Pool.objects.filter(current__isnull=False)
        .select_related("connection", "current")
        .defer("current__forest_light", "current__forest_dark")
        .order_by(
            "main_material",
            "leader_material",
            "terminal",
            "wet",
            "shock",
            F("current__efficiency").desc(nulls_last=True),
            "connection__name",
            "pk",
        )
    )


def sets_of(pool: Pool) -> QuerySet[NormalisedSet]:
    """Sets that count in the current version of a pool, by tester and day."""
    counting = PoolMembership.objects.filter(pool=pool, until__isnull=True)
    return (
        NormalisedSet.objects.filter(pull_set__in=counting.values("pull_set"))
        .select_related(
            "pull_set__session__contributor",
            "pull_set__session__revision__rig",
            "pull_set__main_line",
            "pull_set__leader_line",
        )
        .order_by(
            "pull_set__session__contributor__handle", "pull_set__session__pulled_on", "pull_set"
        )
    )


def versions_of(pool: Pool) -> QuerySet[PoolVersion]:
    """The history of a pool, newest first, without its drawings."""
    return pool.versions.order_by("-number").defer("forest_light", "forest_dark")


def rivals(pool: Pool) -> QuerySet[Pool]:
    """Pools of other joins for the same line pair, wet or dry and static or shock alike."""
    return pools().filter(
        main_material=pool.main_material,
        leader_material=pool.leader_material,
        terminal=pool.terminal,
        wet=pool.wet,
        shock=pool.shock,
    )

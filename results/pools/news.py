"""What is new: the versions of pools, each beside the one before it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from django.db.models import Case, Exists, F, OuterRef, Q, QuerySet, Subquery, When

from results.jobs.database_clock import from_now
from results.models import LINE_PAIR, Follow, Pool, PoolMembership, PoolVersion, StalePool
from results.pools.selectors import with_changes
from results.public.rows import public_pools
from rigs.models import Contributor

SETTLED_AFTER = timedelta(minutes=5)
"""No transaction that writes a version takes so long, so that no lower id comes after this."""
Subject = Follow.Subject


def news(pools: Q | None = None) -> QuerySet[PoolVersion]:
    """Versions of these public pools, or of all, the newest first.

    Each has how many sets it ``added`` and ``removed``, and the efficiency ``before`` it, which is
    null where the earlier version had none or there was none. The current version of a pool whose
    figure was taken down says since when: ``taken_down_at``.
    """
    shown = Pool.objects.filter(public_pools(), pools or Q())
    earlier = PoolVersion.objects.filter(pool=OuterRef("pool"), number=OuterRef("number") - 1)
    versions = (
        PoolVersion.objects.filter(pool__in=shown)
        .select_related("pool__connection")
        .defer("figures", "findings", "inputs", "forest_light", "forest_dark")
        .order_by("-pk")
    )
    marks = StalePool.objects.filter(pool=OuterRef("pool"), takes_down=True).order_by("marked_at")
    first_mark = Subquery(marks.values("marked_at")[:1])
    found = {
        "before": Subquery(earlier.values("efficiency")),
        "taken_down_at": Case(When(pk=F("pool__current"), then=first_mark)),
    }
    return with_changes(versions).annotate(**found)


def news_of_tester(contributor: Contributor) -> QuerySet[PoolVersion]:
    """Versions that a set of this contributor's came into or left."""
    return news().filter(_with_sets_of([contributor.pk]))


def news_followed(follows: Iterable[Follow]) -> QuerySet[PoolVersion]:
    """Versions of anything that is followed. Testers are followed while they show their sets."""
    of = {subject: [f.number for f in follows if f.subject == subject] for subject in Subject}
    if of[Subject.EVERYTHING]:
        return news()
    pairs = Pool.objects.filter(pk__in=of[Subject.LINE_PAIR]).values(*LINE_PAIR)
    wanted = Q(pool__in=of[Subject.POOL]) | Q(pool__connection__in=of[Subject.JOIN])
    for pair in pairs:
        wanted |= Q(**{f"pool__{name}": value for name, value in pair.items()})
    testers = Contributor.objects.filter(pk__in=of[Subject.TESTER], shows_sets=True)
    if shown := list(testers.values_list("pk", flat=True)):
        wanted |= Q(_with_sets_of(shown))
    return news().filter(wanted)


def newest_settled() -> int:
    """The last version before which no other can still appear; 0 before the first."""
    settled = PoolVersion.objects.filter(computed_at__lte=from_now(-SETTLED_AFTER.total_seconds()))
    return int(settled.order_by("-pk").values_list("pk", flat=True).first() or 0)


def line_pair_number(pool: Pool) -> int:
    """What names a pool's line pair: the least id of its pools, which are never deleted."""
    alike = Pool.objects.filter(**{name: getattr(pool, name) for name in LINE_PAIR})
    return int(min(alike.values_list("pk", flat=True)))


def _with_sets_of(contributors: list[int]) -> Exists:
    theirs = PoolMembership.objects.filter(
        Q(since=OuterRef("pk")) | Q(until=OuterRef("pk")),
        pull_set__session__contributor__in=contributors,
    )
    return Exists(theirs)

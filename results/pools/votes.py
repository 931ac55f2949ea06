"""Joins that readers ask for: one vote an account, and a list until the pool has its figure."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction
from django.db.models import Count, Exists, Min, OuterRef, QuerySet
from django.utils.translation import gettext

from results.http_cache.cache_marks import next_edition
from results.models import Connection, Edition, Pool, Vote
from results.pools.selectors import pools
from rigs.locks import lock_contributor
from rigs.models import Contributor
from rigs.refusals import Conflict

JOIN = ("connection", "main_material", "leader_material")

ENDS: dict[str, bool] = {
    Connection.Kind.LINE_TO_LINE: True,
    Connection.Kind.LINE_TO_TERMINAL: False,
}
"""Whether the other end of a kind of join is a line."""


@dataclass(frozen=True)
class AskedFor:
    """A join on two materials, how many ask for it, and its pool where it has been pulled."""

    connection: Connection
    main_material: str
    leader_material: str
    votes: int
    pool: Pool | None


def vote(contributor: Contributor, connection: Connection, main: str, leader: str) -> None:
    """Ask for a join on these materials, in place of what the contributor asked for before.

    One transaction. Locks the contributor, then the edition. Raises Conflict where the join has a
    figure on them already or joins nothing of the kind, and AccountClosed.
    """
    if connection.kind in ENDS and ENDS[connection.kind] != bool(leader):
        raise Conflict(gettext("This join joins %(kind)s.") % {"kind": connection.kind})
    with transaction.atomic():
        locked = lock_contributor(contributor)
        asked = {"connection": connection, "main_material": main, "leader_material": leader}
        if _with_a_figure().filter(**asked).exists():
            raise Conflict(gettext("This join has a figure on these lines already."))
        Vote.objects.update_or_create(contributor=locked, defaults=asked)
        next_edition(Edition.Subject.VOTES)


def take_back(contributor: Contributor) -> None:
    """Ask for nothing any more. One transaction; locks the contributor, then the edition."""
    with transaction.atomic():
        Vote.objects.filter(contributor=lock_contributor(contributor)).delete()
        next_edition(Edition.Subject.VOTES)


def asked_for(most: int) -> list[AskedFor]:
    """Joins without a figure that were asked for, those of most votes first."""
    answered = _with_a_figure().filter(**{name: OuterRef(name) for name in JOIN})
    counted = (
        Vote.objects.filter(~Exists(answered), connection__accepted=True)
        .values(*JOIN)
        .annotate(votes=Count("pk"), first=Min("cast_at"))
        .order_by("-votes", "first")[:most]
    )
    joins = Connection.objects.in_bulk({each["connection"] for each in counted})
    begun = {
        (pool.connection_id, pool.main_material, pool.leader_material): pool
        for pool in pools().filter(connection__in=joins)
    }
    return [
        AskedFor(joins[join], main, leader, each["votes"], begun.get((join, main, leader)))
        for each in counted
        for join, main, leader in [tuple(each[name] for name in JOIN)]
    ]


def _with_a_figure() -> QuerySet[Pool]:
    return Pool.objects.published().filter(taken_down_at=None, current__efficiency__isnull=False)

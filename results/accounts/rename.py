"""Renaming: a contributor's handle changes wherever it is written, drawings and history too."""

from __future__ import annotations

from django.db import IntegrityError, transaction

from results.accounts.join import checked_handle, handle_taken
from results.http_cache.cache_marks import next_edition
from results.jobs import stale_marks
from results.models import Edition, Pool, PoolVersion
from rigs.locks import lock_contributor
from rigs.models import Contributor


def rename(contributor: Contributor, handle: str) -> None:
    """Give a contributor another handle. Raises Invalid, AccountClosed, Conflict where it is taken.

    One transaction; see `rewrite`.
    """
    new = checked_handle(handle)
    if new == contributor.handle:
        return
    try:
        with transaction.atomic():
            rewrite(lock_contributor(contributor), new)
            contributor.handle = new
    except IntegrityError:
        contributor.refresh_from_db()
        raise handle_taken(new) from None


def rewrite(contributor: Contributor, handle: str) -> None:
    """Write another handle, in the caller's transaction; nothing of the earlier one stays.

    Sentences that are kept name sessions by number. Drawings show the handle: these are erased,
    and the pools marked as stale, so that a worker draws them again. The caller has locked the
    contributor; locks the versions it changes.
    """
    contributor.handle = handle
    contributor.save(update_fields=["handle"])
    pools = set(
        Pool.objects.filter(normalised_sets__pull_set__session__contributor=contributor)
        .values_list("pk", flat=True)
        .distinct()
    ) | set(
        Pool.objects.filter(memberships__pull_set__session__contributor=contributor)
        .values_list("pk", flat=True)
        .distinct()
    )
    PoolVersion.objects.filter(pool__in=pools).update(forest_light="", forest_dark="")
    stale_marks.mark(pools, "a contributor goes by another name")
    next_edition(Edition.Subject.NAMES)
    next_edition(Edition.Subject.DRAWINGS)

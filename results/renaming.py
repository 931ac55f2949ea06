"""Renaming: a contributor's handle changes wherever it is written, drawings and history too."""

from __future__ import annotations

from collections.abc import Iterator

from django.db import IntegrityError, transaction

from results import stale
from results.editions import next_edition
from results.models import Edition, Pool, PoolVersion, StalePool
from rigs.joining import checked_handle, handle_taken
from rigs.locks import lock_contributor
from rigs.models import Contributor

BATCH = 500


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

    The reasons of pool versions name it, and drawings show it: these are erased, and the pools
    marked as stale, so that a worker draws them anew. The caller has locked the contributor;
    locks the versions it changes.
    """
    old = contributor.handle
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
    versions = PoolVersion.objects.filter(pool__in=pools)
    versions.update(forest_light="", forest_dark="")
    PoolVersion.objects.bulk_update(_renamed(versions, old, handle), ["why"], batch_size=BATCH)
    for mark in StalePool.objects.filter(pool__in=pools, why__contains=_signed(old)):
        StalePool.objects.filter(pk=mark.pk).update(
            why=mark.why.replace(_signed(old), _signed(handle))
        )
    stale.mark(pools, "a contributor goes by another name")
    next_edition(Edition.Subject.NAMES)
    next_edition(Edition.Subject.DRAWINGS)


def _renamed(versions: object, old: str, new: str) -> Iterator[PoolVersion]:
    for version in versions.only("pk", "why").iterator(BATCH):  # type: ignore[attr-defined]
        why = [reason.replace(_signed(old), _signed(new)) for reason in version.why]
        if why != version.why:
            version.why = why
            yield version


def _signed(handle: str) -> str:
    """A handle as the reasons have it: 'session 12 of sandgrain was added'."""
    return f" of {handle} was "

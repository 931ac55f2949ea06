"""Stale marks: on pools whose sets have changed since they were last computed."""

from __future__ import annotations

from collections.abc import Iterable

from results.jobs import notify
from results.jobs.after_commit import after_commit
from results.models import StalePool


def mark(pool_ids: Iterable[int], why: str, *, takes_down: bool = False) -> None:
    """Mark pools as stale in the caller's transaction, and wake a worker once it commits.

    ``takes_down`` where a set that counts was withdrawn, rejected or held: the pools have no
    public figure from that commit until they have been recomputed without it. Only inserts, so it
    takes no lock on a pool and never waits for a running recomputation.
    """
    pools = sorted(set(pool_ids))
    StalePool.objects.bulk_create(
        StalePool(pool_id=pool_id, why=why[:300], takes_down=takes_down) for pool_id in pools
    )
    for pool_id in pools:
        after_commit(notify.wake_pool, pool_id)

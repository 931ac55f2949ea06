"""Pooling: from the efficiencies of a pool's sets to its next version."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
import structlog
from django.db import transaction
from django.db.models import F
from django.db.models.functions import Now
from structlog.contextvars import bound_contextvars

from results.http_cache.cache_marks import next_edition
from results.jobs import notify, stale_marks
from results.jobs.after_commit import after_commit
from results.jobs.attempts import excuse, flush_deferred_writes, write_or_defer
from results.jobs.queue import finish_pooled_jobs, reopen_jobs_failed_by
from results.models import (
    Edition,
    Job,
    Pool,
    PoolMembership,
    PoolVersion,
    PullSet,
    Session,
    StalePool,
)
from results.models.among import among
from results.models.declared import Kept, kept_in
from results.models.lifecycle import State, move
from results.normalising.reprocess import enqueue_reprocessing
from results.pools.circumstances import Circumstances, circumstances_of
from results.pools.descriptives import Tie, describe, renew_kept, ties_of
from results.pools.differences import same
from results.pools.estimate import Outcome, efficiency_of, pooled_from
from results.pools.influence import renew_shifts
from results.pools.pool_data import Members, members_of
from results.pools.snapshots import columns, columns_before, inputs_of, snapshot_id
from results.statistics.pool_fit import LEAST_TESTERS
from results.statistics.pooling import Pooled

log = structlog.get_logger(__name__)


def refresh_pool(pool_id: int) -> None:
    """Recompute a pool until no mark says that it is stale, and ask for it to be completed.

    However many sessions marked it, each pass clears all the marks it read. Where another worker
    holds the pool, that one will see our marks, so there is nothing to do. Each attempt is counted
    with the pool until one succeeds, but for those that the database is to blame for, and the
    sweeper tries again a few times, and once after every later mark.
    """
    with bound_contextvars(pool=pool_id):
        flush_deferred_writes()
        try:
            while (version := _next_version(pool_id)) is not None:
                log.info("pool computed", version=version.number)
            # Also without another version: what waits may itself have been worked out again.
            _renew_shifts(pool_id)
        except Exception as error:
            log.exception("pool not computed")
            _record_failure(pool_id, error)
        else:
            after_commit(notify.wake_to_finish, pool_id)
    finish_pooled_jobs()


def _renew_shifts(pool_id: int) -> None:
    """What its open cases would change, which must not make the pool itself fail."""
    try:
        with transaction.atomic():
            renew_shifts(pool_id)
    except Exception:
        log.exception("shifts of open cases not computed")


def _record_failure(pool_id: int, error: Exception) -> None:
    """Record the failure, shown publicly, unless the database is to blame."""
    pool = Pool.objects.filter(pk=pool_id)
    write_or_defer(lambda: excuse(pool, "failures", error) or pool.update(failed_at=Now()))


def recompute_failed(pool_ids: Iterable[int] | None = None) -> int:
    """Give these of the pools that could not be computed, or all, their attempts again; how many.

    One transaction. Locks: the pools' rows, so it waits for an attempt that runs.
    """
    failed = Pool.objects.filter(failed_at__isnull=False)
    if pool_ids is not None:
        failed = failed.filter(pk__in=list(pool_ids))
    ids = sorted(failed.values_list("pk", flat=True))
    with transaction.atomic():
        stale_marks.mark(ids, "asked for after it had failed")
        Pool.objects.filter(pk__in=ids).update(failures=0, excused=0)
    return len(ids)


def _next_version(pool_id: int) -> PoolVersion | None:
    """One pass in one transaction; None where nothing is stale or another worker is at it.

    Locks: the pool's row, skipped where held, and not against rows that only point at it, so that
    no upload waits.
    """
    if not _count_try(pool_id):
        return None
    with transaction.atomic():
        locked = (
            Pool.objects.select_for_update(skip_locked=True, no_key=True).filter(pk=pool_id).first()
        )
        marks = list(StalePool.objects.filter(pool_id=pool_id)) if locked else []
        if not locked or not marks:
            return None
        renew_kept(pool_id)
        members = members_of(pool_id)
        version = _store(locked, members, pooled_from(members), [mark.why for mark in marks])
        StalePool.objects.filter(pk__in=[mark.pk for mark in marks]).delete()
        Pool.objects.filter(pk=pool_id).update(failures=0, excused=0, failed_at=None)
        if locked.failed_at is not None:
            reopen_jobs_failed_by(pool_id)
        # Also without another version: how many of its sets wait may have changed.
        next_edition(Edition.Subject.POOLS)
        return version


def _count_try(pool_id: int) -> bool:
    """Count a try before it begins; False where nothing is stale or another worker is at it.

    Committed by itself: a try that ends its process, or loses its connection, can't count itself
    afterwards.
    """
    marked = Pool.objects.filter(pk=pool_id, pk__in=StalePool.objects.values("pool_id"))
    with transaction.atomic():
        free = marked.select_for_update(skip_locked=True, no_key=True).values_list("pk", flat=True)
        counted = {"failures": F("failures") + 1, "attempted_at": Now()}
        return bool(Pool.objects.filter(pk__in=list(free)).update(**counted))


def _store(locked: Pool, members: Members, outcome: Outcome, why: list[str]) -> PoolVersion | None:
    """Store the next version; None if it would equal the latest."""
    latest = locked.versions.defer("forest_light", "forest_dark").order_by("-number").first()
    circumstances = circumstances_of(locked.pk, members)
    said = everything_said(members, outcome, ties_of(locked.pk, members), circumstances)
    inputs = inputs_of(members, said) | {"circumstances": circumstances.as_kept}
    version = PoolVersion(
        pool=locked,
        number=latest.number + 1 if latest else 1,
        why=sorted(set(why)),
        inputs=inputs,
        snapshot=snapshot_id(locked.pk, inputs, members),
        **said,
    )
    joined, left = _changes(locked, members)
    if latest and latest.snapshot == version.snapshot and same(said_by(latest, said), said):
        return None
    version.save()
    _change_members(version, joined, left)
    locked.current = version
    locked.save(update_fields=["current"])
    if version.testers > LEAST_TESTERS >= (latest.testers if latest else 0):
        _screen_again(members)
    return version


def _screen_again(members: Members) -> None:
    """Screen sets again that had too few other testers to compare with.

    From one tester more than a pooled figure takes, each can be compared with the others' figure.
    """
    enqueue_reprocessing(
        Session.objects.filter(
            pull_sets__in=among(members.pull_set.tolist()), screenings__isnull=False
        )
        .exclude(jobs__state=Job.State.QUEUED)
        .distinct()
    )


def everything_said(
    members: Members,
    outcome: Outcome,
    ties: Sequence[Tie],
    circumstances: Circumstances | None,
) -> dict[str, Any]:
    """Every column that a version computes: counts, figures and findings."""
    counts = {
        "testers": np.unique(members.tester).size,
        "sessions": np.unique(members.session).size,
        "sets": len(members),
        "pulls": int(members.pulls.sum()),
    }
    empty = dict.fromkeys(columns()) | {"figures": {}}
    described: dict[str, Any] = plain(describe(members, outcome, ties, circumstances))
    return empty | counts | columns_of(outcome) | described


def said_by(version: PoolVersion, said: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of ``said`` as they are stored, without those that were not known then.

    A version from before it kept which columns it knows left empty what it did not know.
    """
    kept = version.inputs.get("columns")
    known = kept or columns_before()
    stored = {name: getattr(version, name) for name in said if name in known}
    if kept is not None:
        return stored
    return {name: found for name, found in stored.items() if found is not None or not said[name]}


def columns_of(outcome: Outcome) -> dict[str, Any]:
    """The figures that readers sort and filter by, as efficiencies, and all of them as computed."""
    said: dict[str, Any] = {"no_figure": outcome.no_figure, "held_by_nine": outcome.held_by_nine}
    if outcome.ratios:
        said |= {"cv_join": outcome.ratios.cv_join, "cv_baseline": outcome.ratios.cv_baseline}
    if pooled := outcome.pooled:
        for each in kept_in(Kept.COLUMN):
            as_kept = efficiency_of if each.is_exponential else plain
            said |= {name: as_kept(getattr(pooled, of)) for name, of in each.sources.items()}
        said["figures"] = _figures(pooled)
    return said


def _figures(pooled: Pooled) -> dict[str, Any]:
    """All figures as computed; ``not_estimable`` and ``crossed`` only if there is any."""
    figures: dict[str, Any] = plain(asdict(pooled))
    for name in ("not_estimable", "crossed"):
        if not figures[name]:
            del figures[name]
    return figures


def _changes(locked: Pool, members: Members) -> tuple[set[int], set[int]]:
    """Ids of the sets that join the pool and of those that leave it."""
    now = set(members.pull_set.tolist())
    counted = locked.memberships.filter(until__isnull=True)
    before = set(counted.values_list("pull_set_id", flat=True))
    return now - before, before - now


def _change_members(version: PoolVersion, joined: set[int], left: set[int]) -> None:
    pool_id = version.pool_id
    PoolMembership.objects.filter(pool_id=pool_id, until__isnull=True, pull_set_id__in=left).update(
        until=version
    )
    PoolMembership.objects.bulk_create(
        PoolMembership(pool_id=pool_id, pull_set_id=pull_set_id, since=version)
        for pull_set_id in sorted(joined)
    )
    newly_pooled = PullSet.objects.filter(pk__in=joined, state=State.NORMALISED)
    move(newly_pooled, State.POOLED, reason=f"counted in version {version.number} of its pool")


def plain(value: Any) -> Any:
    """Figures as JSON: arrays as lists, non-finite numbers as null."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value

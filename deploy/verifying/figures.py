"""Figures against pulls: each current version once more, and the sets that count in it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from deploy.verifying.faults import Fault
from results.models import NormalisedSet, PoolVersion
from results.pools.pool_data import Members
from results.pools.reproduce import VERSIONS, Cause, in_batches, recomputed_together
from results.statistics.errors import StatisticsError

BATCH = 1000
TOLERANCE = 1e-9
COLUMNS = {
    **{name: name for name in ("mean_N", "cv", "baseline_mean_N", "baseline_cv")},
    "zero_of_pulls_log": "zero_of_pulls",
    "missed_peak_log": "missed_peak",
}
"""Of a set as it is stored, and as the members of its pool have it; empty ones are 0 there."""


def wrong_figures() -> Iterator[Fault]:
    """Pools whose figures don't follow from their pulls; those due to be computed are left out."""
    current = (
        PoolVersion.objects.defer("forest_light", "forest_dark")
        .filter(pk__in=_current_ids())
        .exclude(snapshot="")
        .order_by("pk")
    )
    for versions in in_batches(current.iterator(VERSIONS)):
        yield from _of_batch(versions)


def _current_ids() -> list[int]:
    fresh = PoolVersion.objects.filter(pool__stale_marks=None, pool__current__isnull=False)
    return [pk for pk, now in fresh.values_list("pk", "pool__current_id").iterator() if pk == now]


def _of_batch(versions: Sequence[PoolVersion]) -> Iterator[Fault]:
    try:
        found = recomputed_together(versions)
    except (StatisticsError, LookupError):
        if len(versions) == 1:
            yield Fault(_name(versions[0]), "can no longer be computed from its pulls")
            return
        # One of them, perhaps: by itself it is named, and the others are proven all the same.
        for version in versions:
            yield from _of_batch([version])
        return
    for again in found:
        for each in again.differences:
            if each.cause == Cause.DATA:
                where = _name(again.version)
                yield Fault(where, f"{each.figure} does not follow from its pulls")
    yield from _wrong_sets([again.members for again in found])


def _name(version: PoolVersion) -> str:
    return f"pool {version.pool_id}, version {version.number}"


def _wrong_sets(pools: Sequence[Members]) -> Iterator[Fault]:
    ids = [pk for members in pools for pk in members.pull_set.tolist()]
    again = zip(*(_column(pools, name) for name in COLUMNS.values()), strict=True)
    stored = {
        pk: figures
        for start in range(0, len(ids), BATCH)
        for pk, *figures in NormalisedSet.objects.filter(
            pk__in=ids[start : start + BATCH]
        ).values_list("pk", *COLUMNS)
    }
    for pk, figures in zip(ids, again, strict=True):
        for name, kept, figure in zip(COLUMNS, stored.get(pk, ()), figures, strict=False):
            if not math.isclose(kept or 0.0, figure, rel_tol=TOLERANCE, abs_tol=1e-12):
                yield Fault(f"pull set {pk}", f"{name} does not follow from its pulls")


def _column(pools: Sequence[Members], name: str) -> list[float]:
    return [figure for members in pools for figure in getattr(members, name).tolist()]
